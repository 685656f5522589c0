"""The page: self-contained, harmless whatever the names are, the same bytes each time, and readable by machines."""

import re
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

import wanwatch.report
from tests.fakes.month import PERIOD, PROMISES, SITE, SUBJECT, TARGETS, at, build_month, event, reported
from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.model import EventKind, Kind, Role, Series
from wanwatch.report.html import render_html
from wanwatch.report.subject import Contract, Subject, TargetPlan, UplinkPlan

VOID = {"meta", "br", "hr", "img", "link", "input"}


class Page(HTMLParser):
    """What a page consists of: its elements in order, and whether each that opens closes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that opens."""
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that closes itself."""
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        """What closes must be what opened last."""
        assert self.open.pop() == tag

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of a name."""
        return [attrs for name, attrs in self.elements if name == tag]


@pytest.fixture(scope="module")
def text() -> str:
    """The invented month's page."""
    return render_html(reported())


def test_variation_and_voice_stand_on_the_page_with_their_methods(text: str) -> None:
    """Each figure has its own name, and the codec and the telephones' share of the delay are told."""
    cells = dict(re.findall(r'<td data-label="([^"]+)" class="figure">(.+?)</td>', text))
    assert re.fullmatch(r"<span>p95 [\d.]+ ms<small>p99 [\d.]+ ms</small></span>", cells["PDV"])
    assert re.fullmatch(r"[\d.]+ ms", cells["Mean of |IPDV|"])
    assert re.fullmatch(r"[\d.]+ ms", cells["Jitter"])
    assert re.fullmatch(r"<span>MOS 4\.\d\d<small>R \d\d\.\d</small></span>", cells["Voice"])
    assert re.search(r"longest \d+, mean \d\.\d", text)
    assert "G.711 with loss concealment (G.113: Ie 0, Bpl 25.1)" in text
    assert "20 ms for a packet (RFC 3551), and 40 ms for the de-jitter buffer" in text


def test_the_page_is_well_formed_and_has_one_heading_of_the_first_order(text: str) -> None:
    """Every element that opens closes in order, and no level of heading is skipped."""
    page = Page(text)
    assert page.open == []
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_the_page_loads_nothing_and_runs_nothing(text: str) -> None:
    """One file: no script, no reference that leaves it, and a policy that would forbid both."""
    page = Page(text)
    assert not {"script", "link", "img", "iframe", "object", "form", "base"} & {tag for tag, _ in page.elements}
    for _, attrs in page.elements:
        assert not [name for name in attrs if name.startswith("on")]
        for name in ("href", "xlink:href", "src"):
            assert (attrs.get(name) or "#").startswith("#")
    assert not re.search(r"url\((?!#)", text)
    assert "@import" not in text
    policy = next(a for a in page.all("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy["content"] == "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def test_every_table_names_its_columns_and_every_chart_says_what_it_shows(text: str) -> None:
    """A reader who cannot see the page is told the same."""
    page = Page(text)
    assert {a.get("scope") for a in page.all("th")} == {"col", "row"}
    charts = [a for a in page.all("div") if a.get("role") == "img"]
    assert len(charts) == 8
    assert all(len(a.get("aria-label") or "") > 60 for a in charts)
    assert len(page.all("figure")) == len(page.all("figcaption")) == 6


def test_links_and_labels_point_at_something(text: str) -> None:
    """Each identifier is there once, where something refers to it."""
    page = Page(text)
    identifiers = [a["id"] for tag, a in page.elements if "id" in a and tag not in {"path", "clippath", "pattern"}]
    assert len(identifiers) == len(set(identifiers))
    pointed = {a["aria-labelledby"] for _, a in page.elements if "aria-labelledby" in a}
    pointed |= {(a["href"] or "").removeprefix("#") for a in page.all("a")}
    assert pointed <= set(identifiers)


def test_the_first_page_answers_before_the_evidence_begins(text: str) -> None:
    """Verdict, what happened, what to do: in this order, before any line's evidence."""
    places = [text.index(words) for words in ("broke its contract", "What happened", "What to do", "the evidence")]
    assert places == sorted(places)


def test_figures_stand_on_the_page(text: str) -> None:
    """Availability with its bounds, the seconds of each state, the bounds of an outage, the ladder."""
    for words in (
        "99.8741%",
        "99.7691%",
        "99.8743%",
        "3\u202f372.0",
        "Tue 13 Oct 14:03:20 +01:00",
        "14:03:19.2 to 14:03:20.0",
        "31\u00a0min 4\u00a0s".replace(" ", "\u00a0"),
        "first hop silent after 14:03:19.3",
        "? undecided",
    ):
        assert words in text


def test_the_same_report_gives_the_same_bytes(text: str) -> None:
    """Nothing in it says when or where it was made."""
    assert render_html(reported()) == text


NASTY = ["<script>alert(1)</script>", "\"'><img src=x onerror=alert(1)>", "שם שדה", "🦊" * 3, "x" * 200, "{{ 7 * 7 }}"]


@pytest.mark.parametrize("name", NASTY)
def test_no_name_can_break_the_page(name: str) -> None:
    """Markup, quotes, right-to-left letters, emoji and 200 letters stay text, set apart from what stands around it."""
    series = Series(name, name, Kind.ECHO, Role.LINE)
    minute = at("14 12:00:00") // MINUTE_NS
    blocks = [minute_block(series, minute, [0], [9000])]
    told = replace(event(EventKind.OUTAGE, "14 12:00:00", "14 12:00:10", name), site=name, detail={name: name})
    moved = event(EventKind.FAILOVER, "14 12:00:01", "14 12:00:02", None, way=(name, None))
    target = TargetPlan(name=name, every_ns=1, timeout_ns=1)
    line = UplinkPlan(name=name, contracts=(Contract(provider=name, reference=name),), targets=(target,))
    subject = Subject(site=SITE, timezone="UTC", uplinks=(line,), note=name)
    report = build_month(FakeRecord(SITE, [told, moved], [PERIOD], blocks), subject, 2026, 10, PERIOD.end_unix_ns)
    page = Page(render_html(report))
    assert page.open == []
    assert not {"script", "img"} & {tag for tag, _ in page.elements}
    assert not [a for _, attrs in page.elements for a in attrs if a.startswith("on")]
    assert "49" not in {text.strip() for text in render_html(report).split("bdi>")}
    assert render_html(report).count("<bdi>") >= 10


def test_a_running_month_says_so() -> None:
    """With the instant that it was made for, and what is still to come."""
    page = render_html(reported(SUBJECT, at("14 12:00:00")))
    assert "The month is not over: as of Wed 14 Oct 13:00:00 +01:00." in page
    assert "17\u00a0d\u00a012\u00a0h still to come" in page


def test_an_empty_record_makes_a_page_that_claims_nothing() -> None:
    """Nothing watched, nothing probed."""
    page = render_html(build_month(FakeRecord(SITE, [], [], []), SUBJECT, 2026, 10, PERIOD.end_unix_ns))
    assert "Nothing was observed in this month." in page
    assert "Contract kept" not in page
    assert "Contract broken" not in page


def test_the_note_stands_on_top() -> None:
    """A page of generated data says so before anything else."""
    page = render_html(replace(reported(), note="Generated for a demonstration."))
    assert 0 < page.index("Generated for a demonstration.") < page.index('id="answer"')


def contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2 (from memory)."""

    def luminance(colour: str) -> float:
        full = "".join(c * 2 for c in colour[1:]) if len(colour) == 4 else colour[1:]
        parts = [int(full[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_text_can_be_read_on_its_ground() -> None:
    """WCAG 2 asks for 4.5 to 1 (from memory): for each colour of text on each ground that it stands on."""
    style = (Path(wanwatch.report.__file__).parent / "page" / "month.css").read_text("utf-8")
    colours = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", style))
    for text_colour in ("ink", "quiet", "accent"):
        for ground in ("#ffffff", colours["wash"]):
            assert contrast(colours[text_colour], ground) >= 4.5, (text_colour, ground)
    for verdict in ("met", "breached", "undecided"):
        on_card = re.search(rf"\.card \.verdict\.{verdict} {{ background: (#[0-9a-f]{{6}})", style)
        assert on_card is not None
        for ground in (colours[f"{verdict}-wash"], on_card[1]):
            assert contrast(colours[verdict], ground) >= 4.5, (verdict, ground)


def test_targets_are_listed_as_the_configuration_lists_them(text: str) -> None:
    """Near before far, although the record sorts them otherwise."""
    assert [t.name for t in TARGETS] == ["near", "far"]
    assert text.index("<bdi>near</bdi> by the hour") < text.index("<bdi>far</bdi> by the hour")


def test_an_undecided_clause_leads_to_what_is_missing() -> None:
    """The invented month's 47 unobserved minutes leave a promise of 99.85 % open: it points at their table."""
    promise = replace(PROMISES[0], text="at least 99.85%", limit=Fraction("0.9985"))
    contract = Contract(provider="Example Fibre", promises=(promise,))
    page = render_html(
        reported(replace(SUBJECT, uplinks=(replace(SUBJECT.uplinks[0], contracts=(contract,)), *SUBJECT.uplinks[1:])))
    )
    assert '<a href="#line-1-unobserved">The unobserved time</a>' in page
    table = page[page.index('id="line-1-unobserved"') :].partition("</table>")[0]
    assert re.findall(r'class="when">(.+?)<', table) == ["Fri 16 Oct 03:00:00 +01:00", "Fri 16 Oct 03:47:00 +01:00"]
    assert "47\N{NO-BREAK SPACE}min" in table


def test_every_link_within_the_page_leads_somewhere(text: str) -> None:
    """Each fragment is the identifier of something on the page."""
    page = Page(text)
    there = {attrs.get("id") for _, attrs in page.elements}
    assert {link["href"] for link in page.all("a") if (link["href"] or "").startswith("#")} <= {
        f"#{one}" for one in there
    }
