"""What a drill's answers claim, and what they do not."""

import json
from dataclasses import replace

import pytest

from tests.core.drill.drills import START_UNIX_NS, Office, after, announced, event
from wanwatch.core.drill import (
    About,
    Answer,
    Drill,
    Evidence,
    Said,
    Tally,
    Verdict,
    answers,
    as_event,
    given_up,
    settled,
    speed,
)
from wanwatch.core.event_json import event_to_json
from wanwatch.core.model import NS_PER_S, EventKind, Json, Measurement, MeasurementKind, State

OUTAGE = event(EventKind.OUTAGE, 4, 20, uplink="fibre")
AWAY = event(EventKind.FAILOVER, 4, 6.5, from_uplink="fibre", to_uplink="copper", interruption_s=2.5)
HOME = event(EventKind.FAILBACK, 22, 22, from_uplink="copper", to_uplink="fibre", interruption_s=0.0)
ALL = (OUTAGE, AWAY, HOME)


def led(*, moves: bool = True, returns: bool = True) -> Drill:
    """A drill that was led to its end, where traffic moved or did not."""
    office = Office()
    drill = after(announced(office), office, 0, said=Said.YES)
    drill = after(drill, office, 3, said=Said.NOTHING)
    drill = after(drill, office, 1, fibre=State.DOWN)
    drill = after(drill, office, 10, carrying="copper" if moves else "fibre")
    drill = after(drill, office, 5)
    drill = after(drill, office, 1, fibre=State.UP)
    drill = after(drill, office, 10, carrying="fibre" if returns else office.carrying)
    return after(drill, office, 6)


def answer(about: About, drill: Drill, evidence: Evidence) -> Answer:
    return next(found for found in answers(drill, evidence) if found.about is about)


def speed_test(bps: float | None, *, counts: bool) -> Measurement:
    """A speed test of the second line, as the record keeps it; None: it came to nothing."""
    run: dict[str, Json] = {"goodput": None if bps is None else {"bps": bps}, "counts": counts}
    return Measurement(START_UNIX_NS, "copper", MeasurementKind.SPEED, {"down": run})


def test_a_good_drill_is_answered_with_figures_and_evidence() -> None:
    """Instants are those of the judge's events, not those of our looking."""
    moved, cut_off, *_, back = answers(led(), Evidence(events=ALL))
    assert (moved.verdict, moved.values) == (Verdict.YES, {"to": "copper", "after_s": 2.5})
    assert moved.evidence == (OUTAGE.id, AWAY.id)
    assert cut_off.verdict is Verdict.MEASURED
    assert cut_off.values == {"interruption_s": 2.5, "interruption_back_s": 0.0}
    assert cut_off.says == "2.5 s when it moved, not at all when it came back"
    assert (back.verdict, back.values) == (Verdict.YES, {"after_s": 2.0})


def test_without_evidence_nothing_is_a_yes_but_what_was_watched_live() -> None:
    """A question without evidence is not measured; that traffic moved and came back was seen."""
    said = {found.about: found.verdict for found in answers(led(), Evidence())}
    assert said == {
        About.MOVED: Verdict.YES,
        About.CUT_OFF: Verdict.NOT_MEASURED,
        About.NAMES: Verdict.NOT_MEASURED,
        About.CONNECTIONS: Verdict.NOT_MEASURED,
        About.HELD: Verdict.NOT_MEASURED,
        About.SPEED: Verdict.NOT_MEASURED,
        About.BACK: Verdict.YES,
    }


def test_traffic_that_did_not_move_is_a_no_with_how_long_it_was_waited_for() -> None:
    """And how long people were cut off is then the outage's own interruption."""
    outage = replace(OUTAGE, interruption_s=15.0)
    found = answers(led(moves=False), Evidence(events=(outage,)))
    assert found[0].verdict is Verdict.NO
    assert found[0].says == "not within 10.0 s: it stayed on fibre"
    assert found[1].values == {"interruption_s": 15.0}
    assert [later.verdict for later in found[2:]] == [Verdict.NOT_MEASURED] * 5


def test_where_nobody_could_tell_who_carries_no_move_is_denied() -> None:
    """Unknown is not no."""
    office = Office()
    drill = after(announced(office), office, 0, said=Said.YES)
    drill = after(drill, office, 3, said=Said.NOTHING)
    drill = after(drill, office, 1, fibre=State.DOWN)
    drill = after(drill, office, 10, known=False)
    assert answer(About.MOVED, drill, Evidence(events=ALL)).verdict is Verdict.NOT_MEASURED


def test_traffic_that_did_not_come_back_is_a_no() -> None:
    """With where it still is."""
    found = answer(About.BACK, led(returns=False), Evidence(events=(OUTAGE, AWAY)))
    assert (found.verdict, found.says) == (Verdict.NO, "not within 10.0 s: it is still on copper")


@pytest.mark.parametrize(("answered", "asked", "verdict"), [(9, 10, Verdict.YES), (8, 10, Verdict.NO)])
def test_nine_of_ten_have_to_work(answered: int, asked: int, verdict: Verdict) -> None:
    """Common practice, no published source."""
    tally = Tally(answered, asked, ordinary=True)
    evidence = Evidence(events=ALL, names=tally, connections=tally)
    for about in (About.NAMES, About.CONNECTIONS):
        found = answer(about, led(), evidence)
        assert found.verdict is verdict
        assert f"{answered} of {asked}" in found.says


@pytest.mark.parametrize(
    ("needs", "found", "verdict"),
    [
        (None, 50e6, Verdict.NOT_MEASURED),
        (20_000_000, None, Verdict.NOT_MEASURED),
        (20_000_000, 20e6, Verdict.YES),
        (20_000_000, 19.9e6, Verdict.NO),
        (20_000_000, -19.9e6, Verdict.NOT_MEASURED),
    ],
)
def test_speed_is_enough_only_by_a_test_against_a_stated_need(
    needs: int | None, found: float | None, verdict: Verdict
) -> None:
    """Without either, never a pass; and no failure by a test (here: below zero) that not the line held up."""
    taken = None if found is None else speed([speed_test(abs(found), counts=found > 0), speed_test(None, counts=True)])
    evidence = Evidence(events=ALL, needs_bps=needs, speed=taken)
    assert answer(About.SPEED, led(), evidence).verdict is verdict


@pytest.mark.parametrize(
    ("survived", "verdict"), [(True, Verdict.MEASURED), (False, Verdict.MEASURED), (None, Verdict.NOT_MEASURED)]
)
def test_whether_an_open_connection_survived_is_a_fact_and_no_verdict(
    survived: bool | None,  # noqa: FBT001
    verdict: Verdict,
) -> None:
    """Most gateways with address translation break it; the judge says it of the switch."""
    away = replace(AWAY, detail={"interruption": {"held": {"survived": survived}}})
    assert answer(About.HELD, led(), Evidence(events=(OUTAGE, away, HOME))).verdict is verdict


def test_the_record_is_settled_once_the_judge_has_said_its_last_words() -> None:
    """The outage's end, and both switches."""
    drill = led()
    for missing in range(3):
        assert not settled(drill, [one for number, one in enumerate(ALL) if number != missing])
    assert not settled(drill, [replace(OUTAGE, end=None), AWAY, HOME])
    assert settled(drill, ALL)
    assert settled(led(moves=False), [OUTAGE])


def test_a_drill_is_one_event_from_the_yes_to_its_end() -> None:
    """The same id is told again; the answers are plain JSON and survive it."""
    drill = led()
    running = as_event(drill, "harbour-lane", START_UNIX_NS)
    assert (running.end, running.drill, dict(running.detail)) == (None, True, {})
    told = as_event(drill, "harbour-lane", START_UNIX_NS, START_UNIX_NS + NS_PER_S, answers(drill, Evidence()))
    assert told.id == running.id
    assert told.detail["outcome"] == "done"
    assert json.loads(json.dumps(event_to_json(told)))["detail"] == told.detail


def test_a_drill_whose_command_was_lost_gets_an_end_and_no_answers() -> None:
    """At the latest four hours after it began, however late that is noticed."""
    left = as_event(led(), "harbour-lane", START_UNIX_NS)
    ended = given_up(left, START_UNIX_NS + 90_000 * NS_PER_S, "its command ended without a word")
    assert ended.end is not None
    assert ended.end.estimate_unix_ns == START_UNIX_NS + 4 * 3600 * NS_PER_S
    assert dict(ended.detail) == {"outcome": "given-up", "why": "its command ended without a word"}
