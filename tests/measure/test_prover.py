"""When pins are proved, and what each round tells; the helper process is played."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from wanwatch.clock import RealClock
from wanwatch.config import load
from wanwatch.core.model import (
    NS_PER_S,
    CarryingChanged,
    Cause,
    Kind,
    LinkSeen,
    Observation,
    Outcome,
    Pin,
    PinChanged,
    PinsSeen,
    Role,
    RouteSeen,
    Sample,
    Series,
)
from wanwatch.core.routes import Routes
from wanwatch.core.way import Nat, Way
from wanwatch.measure import prover
from wanwatch.measure.prover import Prover, Subject
from wanwatch.measure.route import Answer, Failed, Hop, Question, Trace, Traced

FIBRE = Subject(Pin(sources=("10.20.0.11",)), "192.0.2.1", "10.20.0.1", flow=3)
TRACED = Traced((Hop(1, "10.20.0.1", 1), Hop(2, "198.51.100.1", 2), Hop(3, "192.0.2.1", 3)), reached=True, source="10.20.0.11")  # fmt: skip  # noqa: E501
LONG_NS = 3600 * NS_PER_S


@dataclass
class Ground:
    """A prover whose helper gives the same answer each time, and all that came of it."""

    answer: Answer = TRACED
    asked: list[Question] = field(default_factory=list)
    seen: list[Observation] = field(default_factory=list)
    learnt: list[dict[str, str]] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)

    async def ask(self, questions: Sequence[Question]) -> list[Answer]:
        """Answer as the helper process would."""
        self.asked += questions
        return [self.answer for _ in questions]

    async def learn(self, routes: Routes) -> None:
        """Take in what is known of the routes."""
        self.learnt.append(dict(routes.first_hops))

    def prover(self) -> Prover:
        """Make a prover on this ground."""
        return Prover(RealClock(), self.seen.append, self.learn, self.troubles.append, asked=self.ask)


@pytest.fixture
def ground(monkeypatch: pytest.MonkeyPatch) -> Ground:
    """Rounds that follow each other a hundred times as quickly."""
    for name, seconds in (("_SETTLE_S", 0.01), ("_APART_S", 0.05), ("_CLOSELY_S", 0.1)):
        monkeypatch.setattr(prover, name, seconds)
    return Ground()


@contextlib.asynccontextmanager
async def running(ground: Ground, every_ns: int = LONG_NS) -> AsyncIterator[Prover]:
    made = ground.prover()
    made.apply({"fibre": FIBRE}, every_ns)
    await asyncio.sleep(0.04)
    try:
        yield made
    finally:
        await made.close()


async def test_the_first_round_comes_at_start_and_tells_the_way(ground: Ground) -> None:
    """The target is no router, the gateway is on our side, and what was learnt is handed on once."""
    async with running(ground):
        assert ground.asked == [Trace("192.0.2.1", FIBRE.pin, most=4, flow=3)]
        (seen,) = ground.seen
        assert isinstance(seen, PinsSeen)
        assert seen.ways == {"fibre": Way("10.20.0.11", ("10.20.0.1", "198.51.100.1"), ours=1)}
        assert ground.learnt == [{"fibre": "198.51.100.1"}]


async def test_rounds_come_every_so_often_and_teach_only_what_is_new(ground: Ground) -> None:
    """The interval is the configured one, from beginning to beginning."""
    async with running(ground, NS_PER_S // 10):
        await asyncio.sleep(0.3)
    assert 3 <= len(ground.seen) <= 5
    assert len(ground.learnt) == 1


def address_told(address: str, kind: Kind = Kind.STUN) -> Sample:
    series = Series("fibre", "far", kind, Role.EGRESS)
    return Sample(series, 0, 0, 1, Outcome.ANSWERED, 1, facts={"address": address})


def test_every_uplink_s_traces_are_a_flow_of_their_own(tmp_path: Path) -> None:
    """A gateway that translates addresses takes two pins' probes to one target for one flow if nothing differs."""
    uplinks = "".join(f'[[uplink]]\nname = "line {n}"\npin = {{ dscp = {n} }}\n' for n in range(64))
    file = tmp_path / "wanwatch.toml"
    file.write_text(f'[site]\nname = "x"\ndata_dir = "data"\n{uplinks}[[target]]\nname = "near"\necho = "192.0.2.1"\n')
    flows = {subject.flow for subject in prover.subjects(load(file, {})).values()}
    assert flows == set(range(64))


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (address_told("198.51.100.10"), address_told("203.0.113.10")),
        (address_told("198.51.100.10", Kind.HTTP), address_told("203.0.113.10", Kind.HTTP)),
        (LinkSeen(0, 0, "fibre", True, True, "eth0"), LinkSeen(0, 0, "fibre", True, True, "eth1")),  # noqa: FBT003
        (RouteSeen(0, 0, "fibre"), RouteSeen(0, 0, "copper")),
    ],
    ids=["public address by STUN", "public address by HTTP", "link", "route"],
)
async def test_a_change_calls_for_a_proof_and_sameness_does_not(
    ground: Ground, before: Observation, after: Observation
) -> None:
    """A proof does not outlive what it rested on; what is seen again and again is no change."""
    made = ground.prover()
    made.watch(before)
    made.apply({"fibre": FIBRE}, LONG_NS)
    await asyncio.sleep(0.1)
    for _ in range(5):
        made.watch(before)
    await asyncio.sleep(0.1)
    assert len(ground.seen) == 1
    made.watch(after)
    await asyncio.sleep(0.1)
    assert len(ground.seen) == 2
    await made.close()


async def test_a_switch_calls_for_a_proof_but_not_for_one_each(ground: Ground) -> None:
    """Traffic that flaps must not start a process at each turn."""
    async with running(ground) as made:
        for _ in range(50):
            made.heed(CarryingChanged("copper", known=True))
            await asyncio.sleep(0.002)
        await asyncio.sleep(0.1)
    assert 2 <= len(ground.seen) <= 5


async def test_a_lost_pin_is_looked_at_closely_and_teaches_nothing(ground: Ground) -> None:
    """Its routers are another line's; its mending should not wait for the usual interval."""
    made = ground.prover()
    made.heed(PinChanged("fibre", False, Nat.ONCE))  # noqa: FBT003
    made.apply({"fibre": FIBRE}, LONG_NS)
    await asyncio.sleep(0.35)
    assert len(ground.seen) >= 3
    assert ground.learnt == []
    made.heed(PinChanged("fibre", True, Nat.ONCE))  # noqa: FBT003
    await asyncio.sleep(0.15)
    assert ground.learnt == [{"fibre": "198.51.100.1"}]
    await made.close()


async def test_what_keeps_us_from_tracing_is_told_once(ground: Ground) -> None:
    """A line that is down is no trouble of ours; a missing right is, and the rounds go on with addresses alone."""
    ground.answer = Failed(Cause.NOT_PERMITTED, "Operation not permitted")
    async with running(ground, NS_PER_S // 20):
        await asyncio.sleep(0.2)
    assert len(ground.seen) > 1
    assert ground.troubles == [
        "cannot trace the first routers, so pins are proved by public addresses alone: Operation not permitted"
    ]
    ground.answer, ground.troubles = Failed(Cause.NO_ROUTE, "Network is unreachable"), []
    async with running(ground):
        pass
    assert ground.troubles == []
