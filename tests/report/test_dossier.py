"""The dossier: what one outage's evidence says, in words, as figures, as data and as a page."""

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest
from markupsafe import Markup

from tests.fakes.month import BEFORE, DURING, EVENTS, PERIOD, SITE, SUBJECT, WATCHED, at, event, record, rung
from tests.fakes.record import FakeRecord
from wanwatch.core.event_json import event_to_json
from wanwatch.core.model import NS_PER_S, Bounds, Domain, Event, EventKind, Json, Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LOST
from wanwatch.core.traced import TracedRoute
from wanwatch.report.dossier import EventIdError
from wanwatch.report.dossier.build import build
from wanwatch.report.dossier.chart import lane_chart
from wanwatch.report.dossier.data import COLUMNS, render_csv, render_json
from wanwatch.report.dossier.missing import missing
from wanwatch.report.dossier.page import Course, between, render_html
from wanwatch.report.dossier.routes import steps, words
from wanwatch.report.dossier.story import checks, headline, where
from wanwatch.report.dossier.values import Dossier, Lane, Trace
from wanwatch.report.pen import Pen
from wanwatch.report.subject import Contract

OUTAGE = "outage-fibre-13 13:03:20"
NEVER_SEEN = FakeRecord(SITE, [], [], [])


@cache
def made(event_id: str = OUTAGE) -> Dossier:
    """The dossier of one of the invented month's outages: 13:03:20 to 13:34:24 UTC, a probe every 10 s."""
    return build(record(), SUBJECT, event_id, now_unix_ns=PERIOD.end_unix_ns, clock_error_us=4200)


def of_event(one: Event, now_unix_ns: int = PERIOD.end_unix_ns, *others: Event) -> Dossier:
    """A dossier of an outage of which no probe is kept."""
    kept = FakeRecord(SITE, [one, *others], WATCHED, [])
    return build(kept, SUBJECT, one.id, now_unix_ns=now_unix_ns, clock_error_us=None)


def plain(dossier: Dossier) -> str:
    """The page's words."""
    return Markup(render_html(dossier)).striptags()  # noqa: S704 - nobody shows it


class Page(HTMLParser):
    """Which elements a page has, with their attributes, and what is open at its end."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that opens."""
        self.elements.append((tag, dict(attrs)))
        if tag != "meta":
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that closes itself."""
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        """What closes must be what opened last."""
        assert self.open.pop() == tag


def test_the_line_that_was_down_comes_first_and_every_line_is_shown() -> None:
    """A provider's desk looks at its own line, and needs the other one beside it."""
    assert [lane.name for lane in made().lanes] == ["fibre", "copper"]
    second = made("outage-fibre-25 00:50:00")
    assert second.lanes[0].name == "fibre"


def test_probes_are_counted_before_during_and_after() -> None:
    """Every 10 s from 12:58:20 to 13:03:10, from 13:03:20 to 13:34:20, and from 13:34:30 to 13:39:20."""
    fibre, copper = made().lanes
    near = next(trace for trace in fibre.traces if trace.series.target == "near")
    tallies = [near.tally(part) for part in made().parts()]
    assert [(t.asked, t.answered) for t in tallies] == [(30, 30), (187, 0), (30, 30)]
    assert [t.median_us is None for t in tallies] == [False, True, False]
    assert [t.answered for t in map(copper.traces[0].tally, made().parts())] == [30, 187, 30]


def test_a_probe_between_the_bounds_is_counted_in_no_column() -> None:
    """Where an instant is known to lie between two others, what was sent in between is neither before nor during."""
    start = at("13 13:03:20")
    end = start + 60 * NS_PER_S
    wide = Event(
        "wide", SITE, EventKind.OUTAGE, "fibre", Bounds(start, start - 20 * NS_PER_S, start + 20 * NS_PER_S),
        end=Bounds(end, end - 20 * NS_PER_S, end + 20 * NS_PER_S),
    )  # fmt: skip
    found = replace(made(), outage=wide)
    assert [(part.start_unix_ns - start) // NS_PER_S for part in found.parts()[1:]] == [20, 80]
    assert found.parts()[0].end_unix_ns == start - 20 * NS_PER_S
    assert found.parts()[1].end_unix_ns == end - 20 * NS_PER_S


def test_it_is_said_how_long_the_line_was_down_and_where_it_broke() -> None:
    """In words that need no glossary."""
    assert headline(made()).striptags() == "fibre was down for 31 min 4 s, on the access line."
    assert where(made()).striptags() == (
        "The office's gateway answered, and the first router beyond it did not: the fault lies between the two, on the"
        " access line."
    )


def test_what_cannot_be_told_apart_is_said_to_be_so() -> None:
    """No domain is made up."""
    unsure = event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", detail={"may_be": ["gateway", "provider"]})
    assert where(of_event(unsure)).striptags() == (
        "From the office it cannot be told apart whether it broke at the office's gateway or in the provider's network."
    )
    blank = replace(unsure, detail={})
    assert where(of_event(blank)).striptags() == "From the office it cannot be told where it broke."


def of_routes(**routes: TracedRoute) -> Dossier:
    """A dossier of an outage with these routes."""
    kept: dict[str, Json] = {when: route.to_json() for when, route in routes.items()}
    return of_event(event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", detail={"routes": kept}))


def test_the_routes_before_and_during_stand_side_by_side() -> None:
    """Each distance has a row; beyond where the way stopped there is nothing in its second column."""
    found = steps(made())
    assert [(step.distance, step.before, step.during) for step in found][:3] == [
        (1, ("10.20.0.1", 412), ("10.20.0.1", 398)),
        (2, ("198.51.100.1", 3918), None),
        (3, (None, None), None),
    ]
    text = render_html(made())
    assert text.count('<tr><th scope="row" class="figure">') == 5
    assert "2026-10-13 12:41:07.000 UTC" in text
    routes = json.loads(render_json(made()))["routes"]
    assert [hop["address"] for hop in routes["before"]["hops"]] == [hop for hop, _ in BEFORE.hops]
    assert routes["during"] == DURING.to_json()


@pytest.mark.parametrize(
    ("routes", "said"),
    [
        (
            {"before": BEFORE, "during": DURING},
            (
                "During the outage the route stopped behind 10.20.0.1, at distance 1: 198.51.100.1, which had answered"
                " beyond it, was silent."
            ),
        ),
        ({"during": DURING}, "During the outage the route stopped behind 10.20.0.1, at distance 1."),
        ({"before": BEFORE}, "The route was not traced during this outage."),
        (
            {"before": BEFORE, "during": replace(DURING, hops=())},
            "Nobody on the way to the target answered any more, not even the nearest router.",
        ),
        ({"before": BEFORE, "during": BEFORE}, "The target 192.0.2.1 answered when its route was traced."),
        (
            {"before": BEFORE, "during": replace(DURING, hops=(), failed="Operation not permitted")},
            "During the outage the route could not be traced: Operation not permitted.",
        ),
        (
            {"before": replace(BEFORE, reached=False, hops=BEFORE.hops[:4]), "during": DURING},
            (
                "During the outage the route stopped behind 10.20.0.1, at distance 1: 198.51.100.1, which had answered"
                " beyond it, was silent. The target itself never answers traces, so its own silence here means nothing."
            ),
        ),
    ],
)
def test_it_is_said_where_the_route_stopped(routes: dict[str, TracedRoute], said: str) -> None:
    """A provider's desk looks for the last router that answered, and for the one that should have been next."""
    assert words(of_routes(**routes)).striptags() == said


def test_routes_that_cannot_be_read_are_none() -> None:
    """A record is read as it is."""
    bad: list[Json] = [None, 7, {"before": 3, "during": {"at": "soon", "target": "x", "hops": [], "reached": False}}]
    for routes in bad:
        outage = event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", detail={"routes": routes})
        assert words(of_event(outage)) == "The route was not traced during this outage."


def test_a_dossier_that_lacks_nothing_says_nothing_of_it() -> None:
    """Reference, ladder, routes, probes of two lines, a watch without gaps and a clock that was kept right."""
    assert missing(made()) == []
    assert "What this evidence lacks" not in render_html(made())
    assert json.loads(render_json(made()))["missing"] == []


def test_what_a_dossier_lacks_is_said() -> None:
    """Each thing by its name, and what would mend it."""
    rungs: list[Json] = [rung("interface", "answered"), rung("gateway", "unknown")]
    unkept: dict[str, Json] = {"synchronised": False, "max_error_s": None}
    bare = event(EventKind.OUTAGE, "16 01:59:00", "16 02:30:00", "copper", detail={"ladder": rungs, "clock": unkept})
    found = [what.striptags().split(":")[0] for what in missing(of_event(bare))]
    assert found == [
        "The circuit's reference",
        "The place where it broke",
        "The route as it was before",
        "The route during the outage",
        "A second line to compare with",
        "A watch without gaps",
        "A clock that is kept right",
    ]
    assert "nothing is known of the office&#39;s gateway; configure what to ask" in render_html(of_event(bare))


@pytest.mark.parametrize("domain", Domain)
def test_every_domain_has_its_sentence(domain: Domain) -> None:
    """A new place where it can break cannot be forgotten here."""
    assert where(of_event(event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", domain=domain)))


def test_the_incident_is_told_with_a_column_for_each_line() -> None:
    """Both lines side by side, in words for a provider's desk: the office's side is not the reader's own."""
    course = Course(made())
    assert course.columns == ["fibre", "copper", "unpinned"]
    assert [row and row[1] for row in course.rows] == [0, 2, 0, 2]
    text = plain(made())
    assert "traffic moved to copper and came back; people were cut off for 8.6 s." in text
    own = plain(made("outage-fibre-07 09:12:00"))
    assert "fibre was down on the office's own side for 5 min." in own
    assert "your own side" not in own


def test_what_is_told_in_the_incident_is_not_told_again() -> None:
    """What else happened is what does not belong to it."""
    unseen = event(EventKind.UNOBSERVED, "13 13:00:00", "13 13:01:00", None)
    step = event(EventKind.CLOCK_STEP, "13 13:10:00", "13 13:10:00", None)
    outage = event(EventKind.OUTAGE, "13 13:03:20", "13 13:34:24")
    text = plain(of_event(outage, PERIOD.end_unix_ns, unseen, step))
    assert text.count("the wall clock was stepped by") == 1
    assert "unobserved, 1 min" in text


def test_a_long_incident_leaves_out_the_middle_of_its_time_line() -> None:
    """A line that flaps all day must not bury the rest; JSON has every entry."""
    flaps = [event(EventKind.OUTAGE, f"13 {hour:02}:{minute:02}:00", f"13 {hour:02}:{minute:02}:09")
             for hour in (13, 14) for minute in range(0, 60, 6)]  # fmt: skip
    found = of_event(flaps[3], PERIOD.end_unix_ns, *flaps[:3], *flaps[4:])
    course = Course(found)
    assert (len(course.rows), course.left_out, course.rows[12]) == (25, 16, None)
    assert "… 16 entries more" in render_html(found)
    assert len(json.loads(render_json(found))["incident"]["timeline"]) == 40


def test_what_was_looked_at_on_the_office_s_side_is_told_with_its_evidence() -> None:
    """The other line's answers show that the machine itself was in order: 187 probes to each of two targets."""
    found = {check.name: (check.holds, check.words.striptags()) for check in checks(made())}
    assert [holds for holds, _ in found.values()] == [True, True, True, True]
    assert found["Gateway"][1] == "It answered while the targets beyond it were silent."
    assert found["Another line"][1] == (
        "Through copper the same machine got 374 answers to 374 probes meanwhile, so the machine itself was in order."
    )


def test_nothing_is_ruled_out_that_was_not_seen() -> None:
    """No ladder, no probes of another line, and nobody who watched to the end."""
    unseen = event(EventKind.OUTAGE, "16 01:59:00", "16 02:30:00")
    assert [(check.name, check.holds) for check in checks(of_event(unseen))] == [
        ("Measuring program", None),
        ("Interface", None),
        ("Gateway", None),
    ]


def test_each_rung_is_judged_by_its_own_word() -> None:
    """A gateway that was silent is not excused by the interface that was in order."""
    rungs: list[Json] = [rung("interface", "answered"), rung("gateway", "silent")]
    outage = event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", domain=Domain.GATEWAY, detail={"ladder": rungs})
    assert [(check.name, check.holds) for check in checks(of_event(outage))][1:] == [
        ("Interface", True),
        ("Gateway", False),
    ]


def test_a_pin_that_was_lost_is_told_against_ourselves() -> None:
    """Then the probes may not have taken the line at all."""
    outage = event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08")
    lost = event(EventKind.PIN_LOST, "22 03:59:00", "22 04:10:00")
    assert checks(of_event(outage, PERIOD.end_unix_ns, lost))[0].holds is False


def test_an_outage_that_goes_on_is_told_so_far() -> None:
    """It has no end and no longest length yet."""
    outage = event(EventKind.OUTAGE, "22 04:00:00", None)
    found = of_event(outage, at("22 04:10:00"))
    assert headline(found).striptags() == "fibre has been down for 10 min and still is."
    assert found.length_bounds_ns is None
    assert "still going on" in render_html(found)
    assert json.loads(render_json(found))["lasted_most_s"] is None


@pytest.mark.parametrize(
    ("given", "kept", "said"),
    [
        (
            "outage-fibre-07 09:12:01",
            record,
            "event 'outage-fibre-07 09:12:01': no event has this id; nearest: outage-fibre-07 09:12:00,",
        ),
        (
            "failover-None-13 13:03:28",
            record,
            "event 'failover-None-13 13:03:28': is of kind failover, and a dossier is made of an outage; nearest: ",
        ),
        (
            "x",
            lambda: NEVER_SEEN,
            "event 'x': no event has this id; the record holds no outage; all are listed by: wanwatch events --kind",
        ),
    ],
)
def test_an_id_that_is_no_outage_s_is_told_with_the_nearest(
    given: str, kept: Callable[[], FakeRecord], said: str
) -> None:
    """Thing, value, reason and mend."""
    with pytest.raises(EventIdError) as raised:
        build(kept(), SUBJECT, given, now_unix_ns=PERIOD.end_unix_ns, clock_error_us=None)
    assert str(raised.value).startswith(said)


def test_the_table_of_probes_has_every_probe_once() -> None:
    """Two lines of two targets, and a resolver asked each minute; lost ones without a time (RFC 4180)."""
    rows = list(csv.reader(io.StringIO(render_csv(made()))))
    assert tuple(rows[0]) == COLUMNS
    probes = [row for row in rows[1:] if row[1] == "near" and row[0] == "fibre"]
    assert len(probes) == 30 + 187 + 30
    assert probes[30] == ["fibre", "near", "echo", "line", "2026-10-13T13:03:20.000000Z", "lost", ""]
    assert probes[29][4:6] == ["2026-10-13T13:03:10.000000Z", "answered"]
    assert int(probes[29][6]) > 8_700
    hops = [row for row in rows[1:] if row[2] == "trace"]
    assert len(rows) - 1 - len(hops) == sum(len(trace.words) for lane in made().lanes for trace in lane.traces)
    assert len(hops) == len(BEFORE.hops) + len(DURING.hops)
    assert hops[0] == ["fibre", "10.20.0.1", "trace", "hop-1", "2026-10-13T12:41:07.000000Z", "answered", "412"]
    assert hops[2] == ["fibre", "", "trace", "hop-3", "2026-10-13T12:41:07.000000Z", "lost", ""]


def test_the_json_holds_the_event_the_circuit_and_the_probes() -> None:
    """The event as `wanwatch events --json` has it, and the same probes as the table."""
    found = json.loads(render_json(made()))
    assert found["event"] == event_to_json(made().outage)
    assert (found["provider"], found["reference"]) == ("Example Fibre", "EX-0001")
    assert (found["lasted_s"], found["lasted_least_s"], found["lasted_most_s"]) == (1864, 1863.8, 1864.8)
    near = next(one for one in found["series"] if (one["uplink"], one["target"]) == ("fibre", "near"))
    assert near["during"] == {"asked": 187, "answered": 0, "refused": 0, "median_us": None}
    assert near["samples"][30] == ["2026-10-13T13:03:20.000000Z", "lost", None]


def test_the_page_tells_instants_in_utc_with_bounds_and_by_the_site_s_clocks() -> None:
    """London is an hour ahead of UTC until 25 October 2026 (IANA time zone database)."""
    text = render_html(made())
    assert "2026-10-13 13:03:20.000 UTC" in text
    assert "between 13:03:19.200 and 13:03:20.000 UTC" in text
    assert "2026-10-13 14:03:20.000 +01:00 by the clocks of the site" in text
    assert "at least 1\u202f863.800 s, at most 1\u202f864.800 s" in text
    assert "within 4.20 ms of UTC" in text


def test_the_page_is_well_formed_and_loads_and_runs_nothing() -> None:
    """One file: no script, nothing from elsewhere, and a policy that would forbid both."""
    text = render_html(made())
    page = Page(text)
    assert page.open == []
    assert not {"script", "img", "link", "iframe", "object"} & {tag for tag, _ in page.elements}
    assert all("src" not in attrs and not (attrs.get("href") or "#").startswith("h") for _, attrs in page.elements)
    assert "default-src 'none'" in str([attrs for tag, attrs in page.elements if tag == "meta"])
    assert "@import" not in text
    assert "{{" not in text


def test_the_same_dossier_gives_the_same_bytes() -> None:
    """Evidence that can be made again."""
    assert render_html(made()) == render_html(made())


def test_names_cannot_become_markup() -> None:
    """Names come from a configuration, a reason from whoever announced the work."""
    bad = "<script>alert(1)</script>"
    work = event(EventKind.PLANNED_WORK, "22 03:59:00", "22 04:05:00", detail={"why": bad, "announced": "afterwards"})
    outage = replace(event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", bad), planned=True)
    found = replace(of_event(outage, PERIOD.end_unix_ns, work), site=bad)
    trace = replace(made().lanes[0].traces[0], series=Series(bad, bad, Kind.ECHO, Role.LINE))
    contract = Contract(provider=bad, reference=bad)
    lane = Lane(name=bad, traces=(trace,))
    text = render_html(replace(found, lanes=(lane,), plan=replace(found.plan, name=bad, contracts=(contract,))))
    assert bad not in text
    assert Page(text).open == []
    assert "announced <bdi>afterwards</bdi>" in text
    assert "It reaches into planned work" in text


def test_an_outage_without_probes_or_ladder_still_has_its_page() -> None:
    """Single probes are kept for 100 days, events for 25 months."""
    text = render_html(of_event(event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08")))
    assert "No single probes of that time are kept." in text
    assert "No evidence of the steps in between was kept" in text
    assert "nothing disciplined the clock" in text


@pytest.mark.parametrize(
    ("detail", "said"),
    [
        ({}, "How far it was off during the outage is not recorded."),
        ({"clock": {"synchronised": True, "max_error_s": 0.0042}}, "held its clock to be within 4.20 ms of UTC"),
        ({"clock": {"synchronised": False, "max_error_s": None}}, "its instants may be off, all alike"),
    ],
)
def test_how_good_the_clock_was_is_told_of_when_the_outage_was(detail: dict[str, Json], said: str) -> None:
    """The clock may be kept well today, and not have been then."""
    text = render_html(of_event(event(EventKind.OUTAGE, "22 04:00:00", "22 04:00:08", detail=detail)))
    assert said in text


def test_probes_that_are_no_longer_kept_are_told() -> None:
    """A page must not look complete when it is not."""
    start = at("22 04:00:00")
    bare = [
        block._replace(offsets=b"", rtts=b"")
        for block in record().blocks(SITE, Span(start - 600 * NS_PER_S, start + 600 * NS_PER_S))
    ]
    kept = FakeRecord(SITE, EVENTS, WATCHED, bare)
    found = build(kept, SUBJECT, "outage-fibre-22 04:00:00", now_unix_ns=PERIOD.end_unix_ns, clock_error_us=None)
    assert found.raw_gone
    assert "no longer kept" in render_html(found)


def test_a_long_outage_stays_a_small_chart() -> None:
    """A day of probes at five a second is drawn by the spots that they fall on."""
    sent = np.arange(0, 86_400_000_000, 200_000, dtype=np.int64)
    words = np.where(sent % 1_000_000 == 0, 9_000 + sent % 7_000, MARK_LOST).astype(np.uint32)
    lane = Lane(
        name="fibre", traces=(Trace(series=Series("fibre", "x", Kind.ECHO, Role.LINE), sent_us=sent, words=words),)
    )
    day = Span(0, 86_400 * NS_PER_S)
    drawn = lane_chart(lane, day, Span(3600 * NS_PER_S, 7200 * NS_PER_S), Pen())
    assert len(drawn) < 300_000
    assert ">12:00<" in drawn


def test_a_single_slow_answer_does_not_flatten_the_chart() -> None:
    """The scale of 1000 answers from 10 to 100 ms ends a little above 100 ms, although one took 3 s."""
    words = np.append(np.linspace(10_000, 100_000, 1000), 3_000_000).astype(np.uint32)
    trace = Trace(
        series=Series("fibre", "x", Kind.ECHO, Role.LINE), sent_us=np.arange(1001, dtype=np.int64) * 50_000, words=words
    )
    labels = re.findall(
        r">(\d+)<", lane_chart(Lane(name="fibre", traces=(trace,)), Span(0, 60 * NS_PER_S), Span(0, 1), Pen())
    )
    assert "100" in labels
    assert max(map(int, labels)) < 200


@pytest.mark.parametrize("probes", [0, 1])
def test_a_series_with_hardly_a_probe_can_be_drawn(probes: int) -> None:
    """The first minute of a new line."""
    series = Series("fibre", "x", Kind.ECHO, Role.LINE)
    trace = Trace(series=series, sent_us=np.arange(probes, dtype=np.int64), words=np.full(probes, 9_000, np.uint32))
    drawn = lane_chart(Lane(name="fibre", traces=(trace,)), Span(0, 60 * NS_PER_S), Span(0, NS_PER_S), Pen())
    assert drawn.startswith("<svg")
    assert not re.search(r"\bnan\b", drawn)


def test_bounds_that_are_printed_still_hold_the_truth() -> None:
    """The earliest is cut to the millisecond, the latest rounded up."""
    instant = at("13 13:03:20")
    assert between(Bounds(instant, instant - 1, instant + 1), Pen()) == "13:03:19.999 and 13:03:20.001"


def test_instants_and_lengths_are_written_to_the_millisecond() -> None:
    """Cut, as the rest of the program cuts instants."""
    assert SUBJECT.pen.exactly(at("13 13:03:20") + 999_999) == "2026-10-13 14:03:20.000 +01:00"
    assert SUBJECT.pen.milliseconds_of(1_864_123) == "1\u202f864.123 s"
