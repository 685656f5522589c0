"""A generated month, so that a report has something to show. It is marked as generated wherever it appears.

Nothing of it was observed. It has a record of its own and a site name of its own, so that it can never be taken for,
or mixed with, what a daemon saw.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import tzinfo
from itertools import pairwise
from pathlib import Path
from typing import Final

from wanwatch.core.account.calendar import local_time
from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import (
    NS_PER_S,
    Bounds,
    Domain,
    Event,
    EventKind,
    Kind,
    Outcome,
    Role,
    Sample,
    Series,
    Span,
)
from wanwatch.demo.office import COPPER, FIBRE, LINES, QUIET, Chance, Line, Scene, fate
from wanwatch.store import SqliteKeeper

SITE: Final = "demo-generated-month"
NOTE: Final = "This month is generated: a demonstration in which nothing was observed. Every figure in it is invented."
TARGETS: Final = {"near": 1.0, "far": 2.4}
"""Each target's name, and how much farther than the line itself it is."""
EVERY_S: Final = 120
TIMEOUT_NS: Final = 2 * NS_PER_S

Stretch = tuple[float, float]
"""From one second to another, from the month's start."""

_MINUTE_S: Final = 60
_HOUR_S: Final = 3600
_DAY_S: Final = 24 * _HOUR_S
_PIECE_S: Final = _HOUR_S // 3
_BUSIEST_HOUR: Final = 20.5
_BUSY_FOR_H: Final = 2.2
_BUSY_QUEUE_S: Final = 0.004


def _at(day: int, hour: int, minute: int) -> int:
    """Seconds from the month's start; a day has 24 hours here, so a change of the clocks shifts the tale by one."""
    return (day - 1) * _DAY_S + hour * _HOUR_S + minute * _MINUTE_S


@dataclass(frozen=True, slots=True)
class Tale:
    """What happens in the month, as seconds from its start.

    Attributes:
        outage: The fibre is down from, to.
        moved: When traffic moved to copper, and back.
        impaired: The fibre loses packets from, to.
        unobserved: The mini PC had no power from, to.
    """

    outage: Stretch = (_at(11, 10, 17) + 8.3, _at(11, 11, 0) + 14.9)
    moved: Stretch = (_at(11, 10, 17) + 30.1, _at(11, 11, 5) + 20.0)
    impaired: Stretch = (_at(18, 19, 41), _at(18, 22, 54))
    unobserved: Stretch = (_at(24, 2, 12), _at(24, 3, 7))


TALE: Final = Tale()


class HistoryError(WanwatchError):
    """The generated month could not be written."""

    def __init__(self) -> None:
        super().__init__("demo: the generated month cannot be written; free space, or give another folder with --out")


class _MovedClock:
    """A clock that stands where it was put."""

    def __init__(self, unix_ns: int) -> None:
        self.unix_ns = unix_ns

    def now_ns(self) -> int:
        """Monotonic nanoseconds: the same, because a generated clock is never stepped."""
        return self.unix_ns

    def now_unix_ns(self) -> int:
        """Wall-clock nanoseconds."""
        return self.unix_ns


def scene_at(second: float) -> Scene:
    """Return the truth at a second of the month."""
    scene = QUIET
    if _within(second, TALE.impaired):
        scene = scene.with_line(FIBRE.name, replace(FIBRE.usual, spread_s=0.009, loss_ratio=0.045))
    if _within(second, TALE.outage):
        scene = scene.with_line(FIBRE.name, replace(FIBRE.usual, silent=True))
    return scene.carried_by(COPPER.name) if _within(second, TALE.moved) else scene


def _within(second: float, stretch: Stretch) -> bool:
    return stretch[0] <= second < stretch[1]


def busy(hour: float) -> float:
    """Return how busy a line is at a local hour, from 0 at night to 1 in the evening: the queue grows with it."""
    away_h = min(abs(hour - _BUSIEST_HOUR), 24 - abs(hour - _BUSIEST_HOUR))
    return math.exp(-0.5 * (away_h / _BUSY_FOR_H) ** 2)


def events(span: Span) -> list[Event]:
    """Return what happened in the month, as a daemon would have told it."""

    def seen(second: float, width_s: float) -> Bounds:
        ns = span.start_unix_ns + round(second * NS_PER_S)
        return Bounds(ns, ns - round(width_s * NS_PER_S), ns)

    def event(kind: EventKind, uplink: str | None, stretch: Stretch, width_s: float) -> Event:
        start, end = seen(stretch[0], width_s), seen(stretch[1], min(width_s, 0.2))
        return Event(f"{kind}-{uplink or 'site'}-generated", SITE, kind, uplink, start, end, detail={"generated": True})

    cut_off, back = (TALE.outage[0], TALE.moved[0]), (TALE.moved[1], TALE.moved[1] + 0.4)
    outage = event(EventKind.OUTAGE, FIBRE.name, TALE.outage, 0.8)
    failover, failback = event(EventKind.FAILOVER, None, cut_off, 0.2), event(EventKind.FAILBACK, None, back, 0.2)
    fibre, copper, cut_off_s = FIBRE.name, COPPER.name, round(cut_off[1] - cut_off[0], 1)
    return [
        replace(outage, domain=Domain.ACCESS_LINE),
        replace(failover, from_uplink=fibre, to_uplink=copper, interruption_s=cut_off_s),
        replace(failback, from_uplink=copper, to_uplink=fibre, interruption_s=0.4),
        event(EventKind.IMPAIRMENT, FIBRE.name, TALE.impaired, 1.0),
        event(EventKind.UNOBSERVED, None, TALE.unobserved, 0),
    ]


def _series(line: Line) -> dict[Series, float]:
    """Each series of a line, and how much farther than the line itself its target is."""
    return {Series(line.name, target, Kind.STAMP, Role.LINE): far for target, far in TARGETS.items()}


def samples(begin_s: int, end_s: int, span: Span, zone: tzinfo, chance: Chance) -> Iterator[Sample]:
    """Yield what probes sent from second *begin_s* to before *end_s* would have come to."""
    for second in range(begin_s, end_s, EVERY_S):
        sent_unix_ns = span.start_unix_ns + second * NS_PER_S
        local = local_time(sent_unix_ns, zone)
        scene, load = scene_at(second), busy(local.hour + local.minute / 60)
        for line in LINES:
            for series, far in _series(line).items():
                delay_s = fate(scene, line.source, chance)
                queue_s = _BUSY_QUEUE_S * load * chance()
                yield _sample(series, sent_unix_ns, None if delay_s is None else delay_s * far + queue_s)


def _sample(series: Series, sent_unix_ns: int, delay_s: float | None) -> Sample:
    waited_ns = TIMEOUT_NS if delay_s is None else round(delay_s * NS_PER_S)
    outcome, rtt_ns = (Outcome.LOST, None) if delay_s is None else (Outcome.ANSWERED, waited_ns)
    return Sample(series, sent_unix_ns, sent_unix_ns, sent_unix_ns + waited_ns, outcome, rtt_ns)


def pieces(length_s: int) -> Iterator[tuple[int, int]]:
    """Cut the observed part of the month into pieces of a few minutes, from second to second."""
    cuts = {*range(0, length_s, _PIECE_S), length_s, *map(int, TALE.unobserved)}
    for begin_s, end_s in pairwise(sorted(cuts)):
        if not _within(begin_s, TALE.unobserved):
            yield begin_s, end_s


async def generate(path: Path, span: Span, zone: tzinfo) -> None:
    """Write the month *span* into a new record at *path*; the same month comes out the same each time.

    Raises:
        HistoryError: It cannot be written.
    """
    chance = random.Random(span.start_unix_ns).random  # noqa: S311 - a demonstration, not a secret
    clock = _MovedClock(span.start_unix_ns)
    # The clock is moved by hand, a piece at a time; the keeper's own timer, which is real, must stay out of it.
    keeper = SqliteKeeper(path, SITE, clock, tell_trouble=lambda _sentence: None, flush_every_s=_PIECE_S)
    keeper.open()
    try:
        for begin_s, end_s in pieces(span.length_ns // NS_PER_S):
            await _move(keeper, clock, span, begin_s)
            for sample in samples(begin_s, end_s, span, zone, chance):
                keeper.sample(sample)
            await _move(keeper, clock, span, end_s)
        for event in events(span):
            await keeper.event(event)
    finally:
        await keeper.close()


async def _move(keeper: SqliteKeeper, clock: _MovedClock, span: Span, second: int) -> None:
    """Put the clock to a second of the month, and write what happened until then."""
    unix_ns = span.start_unix_ns + second * NS_PER_S
    if unix_ns != clock.unix_ns:
        clock.unix_ns = unix_ns
        if not await keeper.flush():
            raise HistoryError
