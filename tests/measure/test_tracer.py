"""When whole routes are traced, and what an outage is given of them; the helper process is played."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field, replace

import pytest

from wanwatch.clock import RealClock
from wanwatch.core.model import Bounds, Cause, Event, EventKind, Pace, Pin, PinChanged, State, StateChanged
from wanwatch.core.traced import TracedRoute, routes_of
from wanwatch.core.way import Nat
from wanwatch.measure import tracer
from wanwatch.measure.prover import Subject
from wanwatch.measure.route import Answer, Failed, Hop, Question, Trace, Traced
from wanwatch.measure.tracer import Tracer

FIBRE = Subject(Pin(sources=("10.20.0.11",)), "192.0.2.1", "10.20.0.1", flow=3)
WHOLE = Traced(
    (Hop(1, "10.20.0.1", 400_000), Hop(2), Hop(3, "192.0.2.1", 9_000_999)), reached=True, source="10.20.0.11"
)
CUT = Traced((Hop(1, "10.20.0.1", 500_000),), reached=False, source="10.20.0.11")
OUTAGE = Event("x", "harbour-lane", EventKind.OUTAGE, "fibre", Bounds(0, 0, 0))
UP, DOWN = StateChanged("fibre", State.UP, 0), StateChanged("fibre", State.DOWN, 0)
QUICK, SLOW = Pace("fibre", quick=True), Pace("fibre", quick=False)


@dataclass
class Ground:
    """A tracer whose helper answers as told, after a while, and all that came of it."""

    answer: Answer = WHOLE
    takes_s: float = 0.0
    asked: list[Question] = field(default_factory=list)
    told: list[Event] = field(default_factory=list)

    async def ask(self, questions: Sequence[Question]) -> list[Answer]:
        """Answer as the helper process would."""
        self.asked += questions
        await asyncio.sleep(self.takes_s)
        return [self.answer for _ in questions]


@pytest.fixture
def ground(monkeypatch: pytest.MonkeyPatch) -> Ground:
    """Everything happens a hundred times as quickly."""
    for name, seconds in (("_SURE_S", 0.02), ("_SETTLE_S", 0.02), ("_EVERY_S", 0.1), ("_APART_S", 0.0)):
        monkeypatch.setattr(tracer, name, seconds)
    return Ground()


@contextlib.asynccontextmanager
async def running(ground: Ground) -> AsyncIterator[Tracer]:
    made = Tracer(RealClock(), ground.told.append, asked=ground.ask)
    made.apply({"fibre": FIBRE})
    try:
        yield made
    finally:
        await made.close()


async def cut(ground: Ground, made: Tracer, answer: Answer = CUT) -> None:
    """The line was up long enough to be traced, and falls silent."""
    made.heed(UP)
    await asyncio.sleep(0.05)
    ground.answer = answer
    made.heed(QUICK)


async def test_an_outage_gets_the_route_before_it_and_the_route_in_it(ground: Ground) -> None:
    """The whole way as it was, and how far it still goes; the silent router between two others has its place."""
    async with running(ground) as made:
        await cut(ground, made)
        await asyncio.sleep(0.05)
        made.heed(DOWN)
        before, during = routes_of(made.evidence(OUTAGE))
    assert before is not None
    assert (before.hops, before.reached) == ((("10.20.0.1", 400), (None, None), ("192.0.2.1", 9000)), True)
    assert during is not None
    assert (during.hops, during.reached, during.last) == ((("10.20.0.1", 500),), False, 1)
    assert before.at_unix_ns < during.at_unix_ns
    assert ground.asked[0] == Trace("192.0.2.1", FIBRE.pin, most=30, flow=0x103)


async def test_there_is_one_trace_for_an_outage_however_long(ground: Ground) -> None:
    """Judged down, proving itself, relapsing: it is the same silence, and each trace costs a process."""
    async with running(ground) as made:
        await cut(ground, made)
        asked = len(ground.asked)
        for effect in (DOWN, QUICK, DOWN, QUICK):
            await asyncio.sleep(0.03)
            made.heed(effect)
        await asyncio.sleep(0.1)
    assert len(ground.asked) == asked + 1


async def test_an_outage_that_was_told_already_is_told_again_with_its_route(ground: Ground) -> None:
    """A trace may take longer than the judge; what goes on must have it all the same."""
    ground.takes_s = 0.03
    async with running(ground) as made:
        await cut(ground, made)
        first = made.evidence(OUTAGE)
        assert routes_of(first)[1] is None
        await asyncio.sleep(0.1)
        (again,) = ground.told
        assert again.id == OUTAGE.id
        assert routes_of(again)[1] is not None


async def test_an_outage_that_has_ended_is_not_told_again(ground: Ground) -> None:
    """Its end would be taken back."""
    ground.takes_s = 0.05
    async with running(ground) as made:
        await cut(ground, made)
        made.evidence(OUTAGE)
        made.evidence(replace(OUTAGE, end=Bounds(1, 1, 1)))
        await asyncio.sleep(0.15)
    assert ground.told == []


async def test_a_probe_lost_by_chance_starts_no_process(ground: Ground) -> None:
    """The next quick one is answered."""
    async with running(ground) as made:
        made.heed(QUICK)
        await asyncio.sleep(0)
        made.heed(SLOW)
        await asyncio.sleep(0.05)
    assert ground.asked == []


async def test_a_line_that_flaps_is_traced_so_often_and_no_more(
    ground: Ground, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fifty flaps within the time between two traces are one trace of each sort."""
    monkeypatch.setattr(tracer, "_APART_S", 10.0)
    ground.answer = CUT
    async with running(ground) as made:
        made.heed(UP)
        for _ in range(50):
            made.heed(QUICK)
            await asyncio.sleep(0.025)
            made.heed(SLOW)
            await asyncio.sleep(0.025)
    assert len(ground.asked) == 2


async def test_a_second_outage_does_not_get_the_first_ones_route(ground: Ground) -> None:
    """Between the two it lived; what is told at once has no route of its own yet."""
    async with running(ground) as made:
        await cut(ground, made)
        await asyncio.sleep(0.05)
        made.heed(SLOW)
        made.heed(UP)
        made.heed(QUICK)
        assert routes_of(made.evidence(replace(OUTAGE, id="y")))[1] is None


async def test_a_trace_that_gets_through_a_silent_line_is_made_again(ground: Ground) -> None:
    """It began before the line broke, after a probe lost by chance; the outage is told with the last one."""
    ground.takes_s = 0.02
    async with running(ground) as made:
        await cut(ground, made, WHOLE)
        made.evidence(OUTAGE)
        await asyncio.sleep(0.05)
        ground.answer = CUT
        await asyncio.sleep(0.06)
    during = routes_of(ground.told[-1])[1]
    assert during is not None
    assert not during.reached


async def test_a_lost_pin_is_not_traced(ground: Ground) -> None:
    """Its packets take another line."""
    ground.answer = CUT
    async with running(ground) as made:
        made.heed(PinChanged("fibre", False, Nat.ONCE))  # noqa: FBT003
        made.heed(UP)
        made.heed(QUICK)
        await asyncio.sleep(0.05)
        assert ground.asked == []
        made.heed(PinChanged("fibre", True, Nat.ONCE))  # noqa: FBT003
        await asyncio.sleep(0.05)
        assert len(ground.asked) == 1


async def test_the_route_while_up_is_looked_at_again_and_a_failure_does_not_hide_it(ground: Ground) -> None:
    """What was known is worth more than that nothing could be learnt just now."""
    async with running(ground) as made:
        made.heed(UP)
        await asyncio.sleep(0.05)
        ground.answer = Failed(Cause.ERROR, "the helper process did not end")
        await asyncio.sleep(0.2)
        assert len(ground.asked) >= 2
        before, _ = routes_of(made.evidence(OUTAGE))
    assert before is not None
    assert before.reached


async def test_what_keeps_us_from_tracing_is_in_the_evidence(ground: Ground) -> None:
    """A dossier has to say why there is no route."""
    async with running(ground) as made:
        await cut(ground, made, Failed(Cause.NOT_PERMITTED, "Operation not permitted"))
        await asyncio.sleep(0.05)
        _, during = routes_of(made.evidence(OUTAGE))
    assert during is not None
    assert (during.hops, during.failed) == ((), "Operation not permitted")


async def test_other_events_and_lines_that_are_gone_get_nothing(ground: Ground) -> None:
    """An impairment has no route; a line that left the configuration has no trace under way."""
    async with running(ground) as made:
        await cut(ground, made)
        impaired = replace(OUTAGE, kind=EventKind.IMPAIRMENT)
        assert made.evidence(impaired) is impaired
        asked = len(ground.asked)
        made.apply({})
        await asyncio.sleep(0.05)
        assert len(ground.asked) == asked
        assert made.evidence(OUTAGE) is OUTAGE


async def test_an_outage_of_an_earlier_run_keeps_what_that_run_knew(ground: Ground) -> None:
    """A restart in mid-outage must not put a later trace in the place of the one at its begin."""
    known = TracedRoute(5000, "192.0.2.1", (("10.20.0.1", 1),))
    resumed = replace(OUTAGE, detail={"routes": {"during": known.to_json()}, "may_be": []})
    async with running(ground) as made:
        await cut(ground, made)
        await asyncio.sleep(0.05)
        found = made.evidence(resumed)
    assert routes_of(found)[1] == known
    assert found.detail["may_be"] == []
