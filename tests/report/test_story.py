"""The first page: kept or not, what happened, what to do."""

from dataclasses import replace

import pytest

from tests.fakes.month import EVENTS, PERIOD, SITE, SUBJECT, WATCHED, at, build_month, event, record, reported
from tests.fakes.record import FakeRecord
from wanwatch.core.model import Domain, EventKind, Span
from wanwatch.report.story import happened, headline, to_do
from wanwatch.report.subject import Subject
from wanwatch.report.words import PLACE, WHERE

AFTER = PERIOD.end_unix_ns
NO_CONTRACT = replace(SUBJECT, uplinks=tuple(replace(plan, contracts=()) for plan in SUBJECT.uplinks))


def only(number: int) -> Subject:
    """The office with a single clause of the fibre's contract."""
    fibre = SUBJECT.uplinks[0]
    (contract,) = fibre.contracts
    contract = replace(contract, promises=contract.promises[number : number + 1])
    return replace(SUBJECT, uplinks=(replace(fibre, contracts=(contract,)), SUBJECT.uplinks[1]))


def both(number: int) -> Subject:
    """The office with that clause in the contracts of both lines."""
    fibre, copper = only(number).uplinks
    return replace(SUBJECT, uplinks=(fibre, replace(copper, contracts=fibre.contracts)))


@pytest.mark.parametrize(
    ("subject", "now", "said"),
    [
        (SUBJECT, AFTER, "<bdi>fibre</bdi> broke its contract."),
        (only(1), AFTER, "<bdi>fibre</bdi> kept its contract."),
        (both(1), AFTER, "Every line kept its contract."),
        (both(0), AFTER, "<bdi>fibre</bdi> broke its contract."),
        (
            both(0),
            at("12 12:00:00"),
            "No breach is proved so far; <bdi>fibre</bdi> and <bdi>copper</bdi> cannot be decided yet.",
        ),
        (only(3), AFTER, "No breach is proved; <bdi>fibre</bdi> remains undecided."),
        (only(0), at("12 12:00:00"), "No breach is proved so far; <bdi>fibre</bdi> cannot be decided yet."),
        (NO_CONTRACT, AFTER, "No contract is on file. This is what the lines did."),
    ],
)
def test_the_headline_says_whether_the_contracts_were_kept(subject: Subject, now: int, said: str) -> None:
    """One sentence, which claims a breach only where one is proved."""
    assert headline(reported(subject, now)) == said


def test_the_headline_of_an_empty_record_claims_nothing() -> None:
    """Nobody watched."""
    assert headline(build_month(FakeRecord(SITE, [], [], []), SUBJECT, 2026, 10, AFTER)) == (
        "Nothing was observed in this month."
    )


def test_what_happened_is_told_line_by_line() -> None:
    """Outages with their total and the longest, bad hours, unobserved time, switches."""
    assert happened(reported()) == [
        (
            "<bdi>fibre</bdi> was down 4 times, for 56 min 12 s in all; "
            "the longest began on Tue 13 Oct at 14:03, on the access line."
        ),
        "<bdi>fibre</bdi> worked badly (impaired) for 2 h 10 min.",
        "<bdi>fibre</bdi> went unobserved for 47 min.",
        "<bdi>copper</bdi> was never seen down.",
        "<bdi>copper</bdi> went unobserved for 47 min.",
        "Traffic moved to another line twice; people were cut off for 16.4 s in all, 8.2 s at the longest.",
        "All this was 5 incidents: 1 of a stuck failover, 3 of a line down, 1 of a line that worked badly.",
    ]


def test_what_to_do_begins_with_the_claim() -> None:
    """Whom to ask for what, then what to look after oneself."""
    assert to_do(reported()) == [
        (
            "<strong>Claim from <bdi>Example Fibre</bdi> (<bdi>EX-0001</bdi>)</strong>: "
            "availability promised at least 99.9%, found 99.874%."
        ),
        (
            "Look at your own side: <bdi>fibre</bdi> broke there once, for 5 min in all "
            "(cable, port or address of this machine)."
        ),
        (
            "Take it up with the provider of <bdi>fibre</bdi>: it broke on their side 3 times, for 51 min 12 s in all "
            "(make a dossier of it)."
        ),
        "Keep the watching machine running: what went unobserved leaves 1 clause of <bdi>fibre</bdi> undecided.",
        "Check the gateway's failover: traffic stayed on a dead line once although another was up.",
    ]


def test_a_quiet_office_has_nothing_to_do() -> None:
    """No advice where there is no need."""
    quiet = FakeRecord(SITE, [], [PERIOD], list(record().blocks(SITE, Span(at("14 00:00:00"), at("15 00:00:00")))))
    assert to_do(build_month(quiet, NO_CONTRACT, 2026, 10, AFTER)) == ["Nothing."]


def test_an_outage_of_nobody_knows_where_asks_for_more_to_be_asked() -> None:
    """Where the rungs are missing, the next outage should find them."""
    lost = FakeRecord(SITE, [event(EventKind.OUTAGE, "14 11:00:00", "14 11:05:00")], WATCHED, [])
    assert to_do(build_month(lost, NO_CONTRACT, 2026, 10, AFTER)) == [
        (
            "Let more be asked on the way out of <bdi>fibre</bdi>: it broke once, for 5 min in all, "
            "and nobody can tell where."
        )
    ]


def test_a_line_that_is_down_now_is_told_to_its_provider() -> None:
    """Only while the month runs: later the event's missing end says nothing of today."""
    events = [*EVENTS[:1], event(EventKind.OUTAGE, "14 11:00:00", None)]
    day = list(record().blocks(SITE, Span(at("14 00:00:00"), at("15 00:00:00"))))
    down = build_month(FakeRecord(SITE, events, WATCHED, day), NO_CONTRACT, 2026, 10, at("14 12:00:00"))
    assert to_do(down)[0] == "<bdi>fibre</bdi> is down since Wed 14 Oct at 12:00: tell its provider."


def test_a_needless_failover_asks_for_a_look_at_the_gateway() -> None:
    """Traffic left a line that was up."""
    needless = event(EventKind.NEEDLESS_FAILOVER, "14 11:00:00", "14 11:00:00", None, way=("fibre", "copper"))
    day = list(record().blocks(SITE, Span(at("14 00:00:00"), at("15 00:00:00"))))
    found = to_do(build_month(FakeRecord(SITE, [needless], [PERIOD], day), NO_CONTRACT, 2026, 10, AFTER))
    assert found == ["Check what makes the gateway switch: traffic left a line that was up (once)."]


def test_the_silence_of_a_blackout_is_counted_once() -> None:
    """Its restoration tells the same silence again."""
    away = event(EventKind.FAILOVER, "14 11:00:00", "14 11:00:05", None, way=("fibre", "copper"), interruption_s=5.0)
    dark = event(EventKind.BLACKOUT, "14 12:00:00", "14 12:01:00", None, way=("copper", None), interruption_s=60.0)
    back = event(EventKind.RESTORATION, "14 12:01:00", "14 12:01:00", None, way=(None, "fibre"), interruption_s=60.0)
    day = list(record().blocks(SITE, Span(at("14 00:00:00"), at("15 00:00:00"))))
    found = happened(build_month(FakeRecord(SITE, [away, dark, back], [PERIOD], day), NO_CONTRACT, 2026, 10, AFTER))
    assert found[-2:] == [
        "Traffic moved to another line once; people were cut off for 1 min 5 s in all, 1 min at the longest.",
        "All this was 1 incident, of no line carrying.",
    ]


def test_a_single_outage_is_not_the_longest_of_several() -> None:
    """One is one; and where it broke is said as people say it."""
    once = event(EventKind.OUTAGE, "14 11:00:00", "14 11:05:00", domain=Domain.OUR_SIDE)
    day = list(record().blocks(SITE, Span(at("14 00:00:00"), at("15 00:00:00"))))
    found = happened(build_month(FakeRecord(SITE, [once], [PERIOD], day), NO_CONTRACT, 2026, 10, AFTER))
    assert found[0] == (
        "<bdi>fibre</bdi> was down once, for 5 min in all; it began on Wed 14 Oct at 12:00, on your own side."
    )


def test_every_domain_can_be_said() -> None:
    """In a table and in a sentence."""
    assert WHERE.keys() == PLACE.keys() == set(Domain)
