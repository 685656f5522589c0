"""Letters: what people read, and that no name can be anything but a name in them."""

import json
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.fakes.month import SITE, at, event
from wanwatch.config import load
from wanwatch.core.incident import Sign
from wanwatch.core.model import Bounds, Domain, Event, EventKind, Json
from wanwatch.core.notices import Attachment, Case, Kind, Letter, Notice, cases
from wanwatch.core.notices.case import CLOSING
from wanwatch.publish.letters import FIELDS, Office, office_of, write
from wanwatch.publish.letters.advice import AT_ONCE, BY_DOMAIN, CUT_OFF, NOTHING, PIN_LOST
from wanwatch.publish.letters.facts import MOST
from wanwatch.publish.letters.plain import clipped
from wanwatch.publish.letters.writing import LEADS, MOST_OF_SUBJECT

TO = "mailto:ops@example.net"
OFFICE = Office(SITE, ZoneInfo("Europe/London"), {"fibre": "Example Fibre, reference EX-0001"})
ROOT = Path(__file__).parents[3]
README = ROOT / "README.md"
EXAMPLE = ROOT / "tests" / "config" / "right.toml"
OUTAGE, FAILOVER, FAILBACK = EventKind.OUTAGE, EventKind.FAILOVER, EventKind.FAILBACK
DOWN = event(OUTAGE, "13 13:03:20", None, domain=Domain.ACCESS_LINE)
AWAY = event(FAILOVER, "13 13:03:28", "13 13:03:36", None, way=("fibre", "copper"), interruption_s=8.2)
BACK = event(FAILBACK, "13 13:35:30", "13 13:35:31", None, way=("copper", "fibre"), interruption_s=0.4)
UP = event(OUTAGE, "13 13:03:20", "13 13:34:24", domain=Domain.ACCESS_LINE)


def letter(kind: Kind, events: Sequence[Event], made: str = "13 13:03:40", office: Office = OFFICE) -> Letter:
    known = cases(events)
    lines = () if kind in CLOSING else ("fibre",)
    return write(Notice(SITE, TO, kind, known[0].id, made_unix_ns=at(made), lines=lines), known, office)


def test_a_letter_says_what_where_since_when_whose_side_what_to_do_and_how_long() -> None:
    """Instants with their bounds in the site's zone; the cautions where somebody may go and look."""
    told = letter(Kind.BEGAN, [DOWN, AWAY])
    assert told.subject == "harbour-lane: fibre is down on the access line"
    assert told.text == (
        "fibre is down on the access line; traffic moved to copper and has not come back;"
        " people were cut off for 8.2 s; still going on.\n"
        "\n"
        "Site: harbour-lane\n"
        "In trouble: fibre\n"
        "Began: 2026-10-13 14:03:20.0 +01:00 (surely between 14:03:19.200 and 14:03:20.000)\n"
        "Goes on: fibre: down on the access line, since 2026-10-13 14:03:20.0 +01:00"
        " (surely between 14:03:19.200 and 14:03:20.000), so far for 20.0 s\n"
        "People were cut off: for 8.2 s at least\n"
        "\n"
        "What to do:\n"
        "- Look at the lamps of the line's modem or terminal. Touch no fibre end, and never look into one.\n"
        "- Then tell Example Fibre, reference EX-0001.\n"
        "\n"
        "How it went:\n"
        "  14:03:20.0  fibre    down on the access line\n"
        "  14:03:28.0  traffic  moved from fibre to copper, silent for 8.2 s\n"
        "\n"
        "Id: incident-outage-fibre-13 13:03:20\n"
        "More, on the machine that watches: wanwatch events --incidents\n"
    )


def test_the_end_says_how_long_it_was_and_where_the_evidence_is() -> None:
    """What is to be typed is quoted for the shell."""
    told = letter(Kind.ENDED, [UP, AWAY, BACK], "13 13:38:00")
    assert told.subject == "harbour-lane: over: fibre was down on the access line for 31 min 04 s"
    for line in (
        "Over: 2026-10-13 14:35:31.0 +01:00 (surely between 14:35:30.800 and 14:35:31.000)",
        "Lasted: 32 min 11 s",
        "People were cut off: for 8.6 s at least",
        f"- {NOTHING}",
        "Evidence for a fault ticket: wanwatch dossier 'outage-fibre-13 13:03:20' --out ticket.html",
    ):
        assert line in told.text.splitlines()
    assert "In trouble" not in told.text


def test_each_line_in_trouble_says_since_when() -> None:
    """A line that works badly since this morning must not make an outage of a minute look like one of hours."""
    slow = event(EventKind.IMPAIRMENT, "13 07:00:00", None, "copper")
    lines = letter(Kind.WORSE, [slow, DOWN]).text.splitlines()
    going = [line for line in lines if line.startswith("Goes on: ")]
    assert [line.partition(", since ")[0] for line in going] == [
        "Goes on: copper: works badly", "Goes on: fibre: down on the access line",
    ]  # fmt: skip
    assert [line.rpartition("so far for ")[2] for line in going] == ["6 h 03 min", "20.0 s"]


def test_every_kind_of_notice_has_its_words() -> None:
    """A reminder must not read like a new alarm."""
    assert set(LEADS) == set(Kind) - {Kind.SEVERAL, Kind.REPORT, Kind.TEST}
    subjects = {kind: letter(kind, [DOWN]).subject for kind in LEADS}
    assert subjects[Kind.REMINDER] == "harbour-lane: still: fibre is down on the access line"
    assert len(set(subjects.values())) == len(LEADS)


def test_what_was_asked_for_can_be_over_while_the_incident_goes_on() -> None:
    """Who asked for outages is told that the outage is over, and not that all is well."""
    slow = event(EventKind.IMPAIRMENT, "13 13:00:00", None)
    text = letter(Kind.ENDED, [slow, UP], "13 13:38:00").text
    assert text.startswith("What you asked to be told of is over, though something of the incident goes on: ")


@pytest.mark.parametrize(
    ("made", "kind", "mark"),
    [
        ("13 13:30:00", Kind.BEGAN, "(in planned work)"),
        ("13 15:00:00", Kind.BEGAN, "(after planned work)"),
        ("13 15:00:00", Kind.PASSED, "(in planned work)"),
    ],
)
def test_planned_work_is_marked_in_the_subject_and_what_outlasts_it_is_an_alarm(
    made: str, kind: Kind, mark: str
) -> None:
    """Whoever sees the subject only knows whether to get up."""
    work = event(
        EventKind.PLANNED_WORK, "13 13:00:00", "13 14:00:00", detail={"why": "splitter", "announced": "beforehand"}
    )
    down = replace(DOWN if kind is Kind.BEGAN else UP, planned=True)
    known = [case for case in cases([work, down]) if not case.single]
    notice = Notice(SITE, TO, kind, known[0].id, made_unix_ns=at(made))
    assert write(notice, known, OFFICE).subject.endswith(mark)


@pytest.mark.parametrize(
    ("single", "said"),
    [
        (event(EventKind.PIN_LOST, "13 13:03:20", None, detail={"leaves_by": "copper"}), "the pin does not hold"),
        (event(EventKind.UNOBSERVED, "13 13:03:20", "13 13:04:00", None), "the site: nobody was looking"),
        (event(EventKind.CLOCK_STEP, "13 13:03:20", None, None, detail={"step_s": 4}), "stepped by 4 s"),
        (
            event(EventKind.PLANNED_WORK, "13 13:03:20", "13 14:03:20", detail={"why": "splitter"}),
            "Announced until: 2026-10-13 15:03:20.0 +01:00",
        ),
    ],
)
def test_what_belongs_to_no_incident_is_told_by_itself(single: Event, said: str) -> None:
    """The same form, and the event in the facts."""
    told = letter(Kind.BEGAN, [single])
    assert said in told.text
    assert told.facts["incident"] is None
    assert isinstance(told.facts["event"], dict)
    assert told.facts["event"]["kind"] == single.kind
    assert "How it went" not in told.text


def test_there_is_something_to_do_for_every_place_where_it_can_break() -> None:
    """Common practice, no published source; whose side it is decides."""
    assert set(BY_DOMAIN) == set(Domain)
    for domain in Domain:
        text = letter(Kind.BEGAN, [replace(DOWN, domain=domain)]).text
        assert BY_DOMAIN[domain] in text
        assert ("Then tell Example Fibre" in text) == (domain in {Domain.ACCESS_LINE, Domain.PROVIDER})


def test_when_nothing_carries_people_are_warned_of_calls() -> None:
    """Alarm lines, lift telephones and emergency calls go over the same lines."""
    nowhere = event(EventKind.BLACKOUT, "13 13:03:28", "13 13:03:28", None, way=("fibre", None))
    copper = replace(event(OUTAGE, "13 13:03:20", None, "copper"), detail={"at_once": ["copper", "fibre"]})
    assert CUT_OFF in letter(Kind.BEGAN, [DOWN, nowhere]).text
    both = letter(Kind.BEGAN, [DOWN, copper]).text
    assert CUT_OFF in both
    assert AT_ONCE in both
    assert CUT_OFF not in letter(Kind.BEGAN, [DOWN, AWAY]).text
    assert PIN_LOST in letter(Kind.BEGAN, [event(EventKind.PIN_LOST, "13 13:03:20", None)]).text


def test_several_notices_are_one_letter_with_each_in_it() -> None:
    """People see first how many, then each."""
    known = cases([DOWN, event(EventKind.PIN_LOST, "14 01:00:00", None, "copper")])
    parts = tuple(Notice(SITE, TO, Kind.BEGAN, case.id, made_unix_ns=at("14 02:00:00")) for case in known)
    told = write(Notice(SITE, TO, Kind.SEVERAL, "x", made_unix_ns=at("14 02:00:00"), parts=parts), known, OFFICE)
    assert told.subject == "harbour-lane: 2 notices: fibre is down on the access line, and more"
    assert told.text.startswith(
        "2 notices in one, as the hour's limit is reached:\n1. fibre is down on the access line\n2. "
    )
    assert told.text.count("What to do:") == 2
    assert isinstance(told.facts["notices"], list)
    assert [part["kind"] for part in told.facts["notices"] if isinstance(part, dict)] == ["began", "began"]


def test_a_report_goes_with_its_letter() -> None:
    """As an attachment for people, by name for machines."""
    attached = Attachment("/srv/reports/2026-10.html", "2026-10.html", "text/html")
    notice = Notice(SITE, TO, Kind.REPORT, "report-2026-10", made_unix_ns=at("31 00:20:00"))
    told = write(notice, [], OFFICE, {"2026-10": attached})
    assert (told.subject, told.attachment) == ("harbour-lane: report of 2026-10", attached)
    assert told.facts["report"] == {"name": "2026-10.html", "media_type": "text/html"}
    several = Notice(SITE, TO, Kind.SEVERAL, "x", made_unix_ns=at("31 00:20:00"), parts=(notice, notice))
    assert write(several, [], OFFICE, {"2026-10": attached}).attachment == attached


def test_a_test_says_that_nothing_has_happened() -> None:
    """Nobody must get up for it."""
    told = write(Notice(SITE, TO, Kind.TEST, "test-1", made_unix_ns=at("13 13:03:20")), [], OFFICE)
    assert told.subject == "harbour-lane: a test, nothing has happened"
    assert "Somebody asked at 2026-10-13 14:03:20+01:00 whether notices of harbour-lane arrive." in told.text


@settings(deadline=None, max_examples=50)
@given(
    st.text(min_size=1, max_size=200), st.text(min_size=1, max_size=200), st.text(max_size=300),
    st.sampled_from(sorted(LEADS)),
)  # fmt: skip
@example("<script>alert(1)</script>", "a\r\nBcc: mallory@example.org", "\x00\x1b[2J", Kind.BEGAN)
@example("\u0645\u0643\u062a\u0628" * 50, "\U0001f1ec\U0001f1e7 line \u202e", "x" * 300, Kind.ENDED)
@example("\u0645" * 200, "\u05d0" * 200, "\u2028", Kind.BEGAN)
def test_no_name_can_be_anything_but_a_name(site: str, line: str, why: str, kind: Kind) -> None:
    """Nothing but our own newlines breaks a line, no control character survives, and mail carries it unchanged.

    Checked by the standard library's reader of internet mail (RFC 5322, RFC 2047), which knows nothing of ours.
    """
    down = replace(DOWN if kind not in CLOSING else UP, site=site, uplink=line, detail={"why": why})
    moved = replace(AWAY, to_uplink=line)
    work = event(EventKind.PLANNED_WORK, "13 13:00:00", "13 14:00:00", line, detail={"why": why})
    known = cases([down, moved, work])
    told = [
        write(Notice(site, TO, kind, case.id, made_unix_ns=at("13 13:40:00"), lines=(line,)), known, Office(site, UTC))
        for case in known
    ]
    for one in told:
        for text in (one.subject, *one.text.split("\n")):
            assert {unicodedata.category(c) for c in text if c not in "\u2068\u2069"}.isdisjoint(
                {"Cc", "Cf", "Zl", "Zp", "Cs"}
            )
            assert text.count("\u2068") == text.count("\u2069")
        assert len(one.subject) <= MOST_OF_SUBJECT
        sent = EmailMessage(policy=policy.SMTP)
        sent["Subject"] = one.subject
        sent.set_content(one.text)
        read = message_from_bytes(bytes(sent), policy=policy.default)
        # That reader and its writer lose a space now and then where a long line of other letters is folded.
        assert "".join(read["Subject"].split()) == "".join(one.subject.split())
        assert set(read.keys()) == {"Subject", "Content-Type", "Content-Transfer-Encoding", "MIME-Version"}
        assert read.get_content().replace("\r\n", "\n") == one.text
        assert json.loads(json.dumps(one.facts, allow_nan=False)) == one.facts


@given(st.text(alphabet="ab\u2068\u2069 ", max_size=40), st.integers(4, 30))
def test_a_clipped_text_is_short_and_leaves_nothing_open(text: str, most: int) -> None:
    """A mark that opens and is cut off would turn the rest of the page around."""
    whole = text.replace("\u2068", "").replace("\u2069", "")
    apart = f"\u2068{whole}\u2069"
    assert len(clipped(apart, most)) <= max(most, 0) or len(apart) <= most
    assert clipped(apart, most).count("\u2068") == clipped(apart, most).count("\u2069")


def test_the_facts_have_their_fields_and_the_readme_names_each() -> None:
    """What a webhook is given is public."""
    facts = letter(Kind.BEGAN, [DOWN, AWAY]).facts
    assert tuple(facts) == FIELDS
    told = README.read_text("utf-8")
    words = " ".join(told.split())
    assert f"`{', '.join(FIELDS)}`" in words
    assert f"`kind` is one of `{', '.join(Kind)}`" in words


def test_the_facts_tell_of_a_url_its_host_only() -> None:
    """What stands behind it may be somebody's key, and a webhook is somebody else's machine."""
    keyed: dict[str, Json] = {"servers": ["https://192.0.2.53/dns-query/key-7"]}
    told = letter(Kind.BEGAN, [replace(DOWN, detail=keyed)])
    assert "https://192.0.2.53" in json.dumps(told.facts)
    assert "key-7" not in json.dumps(told.facts) + told.text


def test_the_facts_of_very_many_events_stay_small() -> None:
    """A line that flaps for a week makes thousands."""
    many = [replace(UP, id=f"outage-{number}", start=_at(number), end=_at(number + 0.5)) for number in range(MOST + 50)]
    facts = letter(Kind.BEGAN, many).facts
    assert facts["left_out"] == 50
    assert isinstance(facts["incident"], dict)
    for field, length in (("events", MOST), ("timeline", MOST)):
        items = facts["incident"][field]
        assert isinstance(items, list)
        assert len(items) == length
    assert letter(Kind.BEGAN, many[:MOST]).facts["left_out"] == 0


def _at(minute: float) -> Bounds:
    instant = at("13 13:03:20") + round(minute * 60e9)
    return Bounds(instant, instant, instant)


def test_signs_of_what_goes_wrong_have_their_advice() -> None:
    """What a person can do at once comes first."""
    stuck = event(EventKind.STUCK_FAILOVER, "13 13:03:50", None)
    assert Sign.STUCK in Case(cases([DOWN, stuck])[0].incident).incident.signs
    assert "- Move traffic by hand at the gateway" in letter(Kind.BEGAN, [DOWN, stuck]).text


def test_providers_are_those_of_the_contracts() -> None:
    """With the reference by which they know the line."""
    office = office_of(load(EXAMPLE, {}))
    assert dict(office.providers) == {"fibre": "Example Fibre, reference EX-0001"}
    assert (office.name, office.zone) == ("harbour-lane", ZoneInfo("Europe/London"))
