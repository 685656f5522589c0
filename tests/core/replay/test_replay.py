"""Stored samples judged again give the events that the living judge told."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from tests.core.judge.test_interruption import all_kinds, figures
from tests.fakes.office import WALL_S, Office, Way, full_questions, line_questions, ns
from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.model import (
    NS_PER_S,
    SWITCHES,
    Bounds,
    Effect,
    Event,
    EventKind,
    JudgeSettings,
    Learnt,
    LinkSeen,
    Observation,
    Question,
    RouteSeen,
    Sample,
    Span,
    SpeedSeen,
    Tell,
)
from wanwatch.core.replay import Site, replay
from wanwatch.store import SqliteKeeper, SqliteRecord

SITE = "harbour-lane"
UPLINKS = ("fibre", "copper")
ALWAYS = Span(0, 2**62)
CLOSE_NS = 1000
"""Blocks hold whole microseconds."""


class OfficeClock:
    """The office's two clocks, for the keeper; as they stood when it was last set."""

    at_s = 0.0

    def now_ns(self) -> int:
        """Monotonic nanoseconds."""
        return ns(self.at_s)

    def now_unix_ns(self) -> int:
        """Wall-clock nanoseconds."""
        return ns(self.at_s) + WALL_S * NS_PER_S


class Keeping:
    """A judge whose office is kept in a record, as the daemon keeps it."""

    def __init__(self, judge: SiteJudge, keeper: SqliteKeeper) -> None:
        self._judge = judge
        self._keeper = keeper

    def feed(self, seen: Observation) -> list[Effect]:
        """Keep what is seen, then judge it."""
        if isinstance(seen, Sample):
            self._keeper.sample(seen)
        else:
            self._keeper.sighting(seen)
        return self._kept(self._judge.feed(seen))

    def tick(self, now_ns: int, now_unix_ns: int) -> list[Effect]:
        """Time passes."""
        return self._kept(self._judge.tick(now_ns, now_unix_ns))

    def _kept(self, effects: list[Effect]) -> list[Effect]:
        for effect in effects:
            if isinstance(effect, Learnt):
                self._keeper.sighting(effect)
        return effects


class Story:
    """An office that is watched, kept and judged; and judged again from what was kept."""

    def __init__(
        self, folder: Path, asked: Sequence[Question] | None = None, settings: JudgeSettings | None = None
    ) -> None:
        self.path = folder / "wanwatch.sqlite"
        self.asked = tuple(full_questions() if asked is None else asked)
        self.told: dict[str, Event] = {}
        self.settings = settings or JudgeSettings()
        self._clock = OfficeClock()
        self._memory = Memory()

    async def watch(
        self, start_s: float, stop_s: float, ways: dict[str, Way], *, flush_s: int = 9, **story: object
    ) -> None:
        """Run a daemon's worth of it from one instant to another."""
        judge = SiteJudge(SITE, UPLINKS, self.asked, self.settings, memory=self._memory)
        self._clock.at_s = start_s
        keeper = SqliteKeeper(self.path, SITE, self._clock, tell_trouble=print, flush_every_s=float(flush_s))
        keeper.open()
        office = Office(Keeping(judge, keeper), ways, self.asked, start_s=start_s, **story)  # type: ignore[arg-type]
        for at_s in range(int(start_s), int(stop_s), flush_s):
            office.run(min(at_s + flush_s, stop_s))
            self._clock.at_s = min(at_s + flush_s, stop_s)
            assert await keeper.flush()
        self._take(effect for _, effect in office.effects)
        self._take(judge.stop(ns(stop_s)))
        await keeper.close()
        carrying = [effect for effect in office.carried() if effect.known]
        self._memory = Memory(
            open_events=tuple(event for event in self.told.values() if event.end is None),
            carrying=carrying[-1].uplink if carrying else None,
            carrying_known=bool(carrying),
            last_alive_unix_ns=self._clock.now_unix_ns(),
            usuals=judge.usuals,
        )

    def _take(self, effects: object) -> None:
        for effect in effects:  # type: ignore[attr-defined]
            if isinstance(effect, Tell):
                self.told[effect.event.id] = effect.event

    def again(self, *settings: JudgeSettings, span: Span = ALWAYS) -> tuple[tuple[Event, ...], ...]:
        """Judge it again from the record."""
        with SqliteRecord(self.path) as record:
            return replay(record, Site(SITE, UPLINKS, self.asked), span, settings or (self.settings,)).events


def by_start(events: object) -> list[Event]:
    """Events in an order that does not hang on the last microsecond."""
    found: list[Event] = list(events)  # type: ignore[call-overload]
    return sorted(found, key=lambda e: (round(e.start.estimate_unix_ns, -6), e.kind, e.uplink or ""))


def same(one: Bounds | None, other: Bounds | None) -> bool:
    """Whether two instants and their bounds are the same, to a microsecond."""
    if one is None or other is None:
        return one is other
    pairs = (
        (one.estimate_unix_ns, other.estimate_unix_ns),
        (one.earliest_unix_ns, other.earliest_unix_ns),
        (one.latest_unix_ns, other.latest_unix_ns),
    )
    return all(abs(left - right) <= CLOSE_NS for left, right in pairs)


def assert_same(live: object, again: object) -> None:
    """Same kinds, lines, domains, ways and instants, to a microsecond; same interruptions, to the same."""
    lives, agains = by_start(live), by_start(again)
    facts = [[(e.kind, e.uplink, e.domain, e.from_uplink, e.to_uplink) for e in side] for side in (lives, agains)]
    assert facts[0] == facts[1]
    for left, right in zip(lives, agains, strict=True):
        assert same(left.start, right.start), (left, right)
        assert same(left.end, right.end), (left, right)
        if left.interruption_s is None or right.interruption_s is None:
            assert left.interruption_s is right.interruption_s
        else:
            assert abs(left.interruption_s - right.interruption_s) <= 2 * CLOSE_NS / NS_PER_S


def lines(**fibre: object) -> dict[str, Way]:
    """A fibre with a story, and copper behind it."""
    return {"fibre": Way(**fibre), "copper": Way(rtt_s=0.03, address="198.51.100.7")}  # type: ignore[arg-type]


def route(uplink: str | None) -> object:
    """What the kernel's route says."""
    return lambda at_ns, at_unix_ns: RouteSeen(at_ns, at_unix_ns, uplink)


def link(uplink: str, *, carrier: bool) -> object:
    """What the kernel says of an uplink's interface."""
    return lambda at_ns, at_unix_ns: LinkSeen(at_ns, at_unix_ns, uplink, carrier, True, f"{uplink}0")  # noqa: FBT003 - fields in order


async def test_an_outage_with_failover_and_failback_is_judged_alike(tmp_path: Path) -> None:
    """A cut, traffic that moves and comes home, and each event's bounds."""
    story = Story(tmp_path)
    moves = ((0.0, "fibre"), (106.2, "copper"), (260.7, "fibre"))
    await story.watch(0.0, 400.0, lines(cuts=[(100.123, 200.456)]), moves=moves)
    kinds = {event.kind for event in story.told.values()}
    assert {EventKind.OUTAGE, EventKind.FAILOVER, EventKind.FAILBACK} <= kinds
    assert_same(story.told.values(), story.again()[0])


async def test_how_long_each_kind_was_cut_off_is_judged_alike(tmp_path: Path) -> None:
    """Which connection an echo came on is in no block, so the record holds each change of it."""
    story = Story(tmp_path, all_kinds())
    moves = ((0.0, "fibre"), (106.2, "copper"), (260.7, "fibre"))
    await story.watch(0.0, 400.0, lines(cuts=[(100.123, 200.456)]), moves=moves, breaks=[107.0])
    again = by_start(story.again()[0])
    assert_same(story.told.values(), again)
    survived = []
    for left, right in zip(by_start(story.told.values()), again, strict=True):
        if left.kind in SWITCHES:
            for (kind, live), (again_kind, anew) in zip(figures(left).items(), figures(right).items(), strict=True):
                assert kind == again_kind
                assert anew == pytest.approx(live, abs=3 * CLOSE_NS / NS_PER_S)
            survived.append(figures(left)["held"]["survived"])
    assert survived == [False, True]


async def test_impairments_and_blackouts_are_judged_alike(tmp_path: Path) -> None:
    """Random loss, delay above the usual, and both lines gone at once."""
    story = Story(tmp_path)
    ways = {
        "fibre": Way(losses=[(120.0, 220.0, 0.2)], slow=[(560.0, 700.0, 0.2)], cuts=[(800.31, 850.87)]),
        "copper": Way(rtt_s=0.03, address="198.51.100.7", cuts=[(800.31, 850.87)]),
    }
    moves = ((0.0, "fibre"), (800.31, None), (850.87, "fibre"))
    await story.watch(0.0, 1000.0, ways, moves=moves)
    kinds = [event.kind for event in story.told.values()]
    assert kinds.count(EventKind.IMPAIRMENT) == 2
    assert kinds.count(EventKind.OUTAGE) == 2
    assert EventKind.BLACKOUT in kinds
    assert_same(story.told.values(), story.again()[0])


async def test_failing_names_and_dead_gateways_are_judged_alike(tmp_path: Path) -> None:
    """The ladder's rungs and the resolvers are stored as series of their own."""
    story = Story(tmp_path)
    dead = {"fibre/resolver-1": [(100.0, 200.0)], "fibre/resolver-2": [(100.0, 200.0)]}
    await story.watch(0.0, 500.0, lines(gateway_cuts=[(300.2, 360.4)]), dead=dead)
    kinds = {event.kind for event in story.told.values()}
    assert {EventKind.OUTAGE, EventKind.NAMES_FAILURE} <= kinds
    assert_same(story.told.values(), story.again()[0])


async def test_what_the_kernel_said_is_judged_alike(tmp_path: Path) -> None:
    """Routes and links are in no block, so the record holds each change of them, and the last word before it."""
    story = Story(tmp_path, [q for q in full_questions() if "stun" not in q.series.target])
    seen = [(float(at), route("copper" if 105 <= at < 250 else "fibre")) for at in range(1, 400)]
    seen += [(at + 0.5, link("fibre", carrier=not 100 <= at < 200)) for at in range(1, 400)]
    moves = ((0.0, "fibre"), (104.5, "copper"), (249.5, "fibre"))
    await story.watch(0.0, 400.0, lines(gateway_cuts=[(99.9, 200.456)]), moves=moves, seen=seen)
    outage = next(event for event in story.told.values() if event.kind is EventKind.OUTAGE)
    assert str(outage.domain) == "our-side"
    assert any(event.kind is EventKind.FAILOVER for event in story.told.values())
    assert_same(story.told.values(), story.again()[0])
    with SqliteRecord(story.path) as record:
        assert len(list(record.sightings(SITE, ALWAYS))) < 20


async def test_a_restart_in_the_middle_of_an_outage_is_judged_alike(tmp_path: Path) -> None:
    """Watched spans follow each other as the daemon's runs did; between them nobody looked."""
    story = Story(tmp_path)
    ways = lines(cuts=[(100.123, 200.456)])
    await story.watch(0.0, 150.0, ways)
    await story.watch(170.0, 400.0, ways)
    unobserved = [event for event in story.told.values() if event.kind is EventKind.UNOBSERVED]
    assert unobserved
    assert_same(story.told.values(), story.again()[0])


@pytest.mark.parametrize("chance", range(6))
async def test_a_bad_day_is_judged_alike(tmp_path: Path, chance: int) -> None:
    """Loss, cuts of any length, delay and moving traffic, by chance."""
    story = Story(tmp_path)
    cuts = [(90.0 + 31.7 * chance, 97.3 + 33.1 * chance), (330.0, 333.9 + chance), (420.4, 431.0 + 7.7 * chance)]
    ways = lines(cuts=cuts, losses=[(200.0, 400.0, 0.04 * chance)], slow=[(480.0, 560.0, 0.03 * chance)])
    moves = ((0.0, "fibre"), (95.0 + chance, "copper"), (300.0, "fibre"), (427.0, "copper"), (431.5, "fibre"))
    await story.watch(0.0, 620.0, ways, moves=moves, chance=chance)
    assert any(event.kind is EventKind.OUTAGE for event in story.told.values())
    assert_same(story.told.values(), story.again()[0])


async def test_other_settings_give_other_events(tmp_path: Path) -> None:
    """A silence of eight seconds is an outage for who waits five, and lost probes for who waits twenty."""
    story = Story(tmp_path)
    await story.watch(0.0, 300.0, lines(cuts=[(100.0, 108.0)]))
    usual = JudgeSettings()
    short, long = story.again(usual, replace(usual, down_after_ns=20 * NS_PER_S))
    assert [event.kind for event in short if event.uplink == "fibre"] == [EventKind.OUTAGE]
    assert [event.kind for event in long if event.uplink == "fibre"] == [EventKind.IMPAIRMENT]


async def test_minutes_whose_raw_samples_are_gone_are_counted_and_not_judged(tmp_path: Path) -> None:
    """Figures alone are no samples: the time is out of sight, neither up nor down."""
    story = Story(tmp_path)
    await story.watch(0.0, 300.0, lines(cuts=[(100.0, 140.0)]))
    keeper = SqliteKeeper(story.path, SITE, story._clock, tell_trouble=print)
    keeper.open()
    assert await keeper.prune(story._clock.now_unix_ns(), 0)
    await keeper.close()
    with SqliteRecord(story.path) as record:
        found = replay(record, Site(SITE, UPLINKS, story.asked), ALWAYS, (JudgeSettings(),))
    assert found.hollow_minutes > len(story.asked)
    assert {event.kind for event in found.events[0]} <= {EventKind.UNOBSERVED}


EVENING_S = 17_200.0
"""19:00 UTC of the office's first day, on its own clock."""
DAY_S = 86_400.0


async def test_what_was_usual_when_a_replay_begins_is_known_to_it(tmp_path: Path) -> None:
    """A line is slow from 20:00 to 21:00 each day: three evenings are news. Any of them judged alone is as it was."""
    asked = [q for uplink in UPLINKS for q in line_questions(uplink, ("near", "far"), every_s=5.0)]
    story = Story(tmp_path, asked, JudgeSettings(window_ns=300 * NS_PER_S))
    evenings = [EVENING_S + day * DAY_S for day in range(5)]
    ways = lines(slow=[(evening_s + 3600.0, evening_s + 7200.0, 0.08) for evening_s in evenings])
    for evening_s in evenings:
        await story.watch(evening_s, evening_s + 10_800.0, ways, flush_s=600, tick_s=60.0)
    told = [event for event in story.told.values() if event.kind is EventKind.IMPAIRMENT]
    assert len(told) == 3
    assert_same(story.told.values(), story.again()[0])
    for evening_s in evenings:
        begin_ns = ns(evening_s) + WALL_S * NS_PER_S
        span = Span(begin_ns, begin_ns + ns(10_800.0))
        again = [event for event in story.again(span=span)[0] if event.kind is EventKind.IMPAIRMENT]
        assert_same(
            [event for event in told if span.start_unix_ns <= event.start.estimate_unix_ns < span.end_unix_ns], again
        )


async def test_speed_tests_are_judged_alike(tmp_path: Path) -> None:
    """Each test is kept, also one that says the same as the one before; and what was usual over a restart."""

    def tested(mbps: float) -> object:
        return lambda at_ns, at_unix_ns: SpeedSeen(at_ns, at_unix_ns, "fibre", "down", mbps * 1e6, True, ns(10.0))  # noqa: FBT003 - fields in order

    story = Story(tmp_path, [q for uplink in UPLINKS for q in line_questions(uplink, ("near", "far"))])
    await story.watch(0.0, 300.0, lines(), tick_s=1.0, seen=[(40.0 * at, tested(100)) for at in range(1, 7)])
    seen = [(at_s, tested(mbps)) for at_s, mbps in ((420.0, 40), (480.0, 40), (540.0, 40), (600.0, 80), (660.0, 80))]
    await story.watch(400.0, 700.0, lines(), tick_s=1.0, seen=seen)
    (event,) = [event for event in story.told.values() if event.kind is EventKind.IMPAIRMENT]
    assert event.detail["because"] == ["speed"]
    assert event.end is not None
    assert_same(story.told.values(), story.again()[0])
    begin_ns = ns(400.0) + WALL_S * NS_PER_S
    (alone,) = story.again(span=Span(begin_ns, begin_ns + ns(300.0)))[0]
    assert_same([event], [alone])
