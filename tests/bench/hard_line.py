"""A hard line: days of flaps, loss, clock steps and restarts put through the judge and the store in simulated time.

Run by hand: `python -m tests.bench.hard_line --days 7 --seed 7`. The office asks what a daemon asks by default of two
uplinks and three targets. Its fibre flaps ten times an hour and loses 5 % of all probes; the gateway moves traffic to
copper and back; the wall clock is stepped and the daemon restarted a few times a day. Prints one JSON object: events of
each kind and incidents, told against what was done; samples told against samples stored; for each day the processor
time of judge and store a sample, and the resident memory; the file's size. `tests/store/test_hard_line.py` is the short
form.
"""

import argparse
import asyncio
import json
import resource
import sys
import tempfile
import time
from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Final

from tests.fakes.office import Office, Way, full_questions
from wanwatch.core.incident import incidents
from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.model import NS_PER_S, Effect, Event, EventKind, JudgeSettings, Pace, Role, Sample, Span, Tell
from wanwatch.store import SqliteKeeper, SqliteRecord
from wanwatch.store.last_run import CARRYING, last_run

SITE: Final = "harbour-lane"
UPLINKS: Final = ("fibre", "copper")
HOUR_S, DAY_S = 3600.0, 86_400.0
FLAPS_AN_HOUR: Final = 10
LOSS: Final = 0.05
FLUSH_S: Final = 30.0
TIMED: Final = 61
"""One of so many samples is timed: two readings of the clock cost as much as judging one."""
QUESTIONS: Final = [
    replace(question, every_ns=5 * NS_PER_S) if question.series.role in (Role.GATEWAY, Role.FIRST_HOP) else question
    for question in full_questions(UPLINKS)
]


class HardWay(Way):
    """A line with thousands of cuts, looked up by halving."""

    def passes(self, at_s: float, *, near: bool) -> bool:
        """Whether a packet sent then comes back; the gateway itself is always well."""
        at = bisect_right(self.cuts, (at_s + self.delay_s(at_s), float("inf"))) - 1
        return near or at < 0 or at_s >= self.cuts[at][1]

    def loss(self, at_s: float) -> float:  # noqa: ARG002 - a line's signature
        """The same share all the time."""
        return LOSS if self.losses else 0.0


@dataclass(frozen=True)
class Story:
    """What truly happens.

    Attributes:
        cuts: When the fibre is cut.
        moves: Where the gateway sends traffic, and since when.
        steps: Steps of the wall clock.
        runs: From when to when the daemon runs.
    """

    cuts: Sequence[tuple[float, float]]
    moves: Sequence[tuple[float, str | None]]
    steps: Sequence[tuple[float, float]]
    runs: Sequence[tuple[float, float]]

    @classmethod
    def of(cls, days: float, seed: int) -> "Story":
        """Draw one."""
        chance, end_s = Random(seed), days * DAY_S  # noqa: S311 - a story that can be had again
        part_s = HOUR_S / FLAPS_AN_HOUR
        cuts, moves = [], [(0.0, "fibre")]
        for at in range(int(end_s / part_s)):
            start_s = at * part_s + chance.uniform(0.1, 0.4) * part_s
            length_s = chance.uniform(2.0, 100.0)
            cuts.append((start_s, start_s + length_s))
            if length_s > 15:
                moves += [(start_s + 10, "copper"), (start_s + length_s + 45, "fibre")]
        steps = [(at * DAY_S / 3 + chance.uniform(0, HOUR_S), chance.choice((-90.0, -2.0, 3.0, 600.0)))
                 for at in range(1, int(days * 3))]  # fmt: skip
        runs, from_s = [], 0.0
        while from_s < end_s:
            until_s = min(from_s + chance.uniform(4, 12) * HOUR_S, end_s)
            runs.append((from_s, until_s))
            from_s = until_s + chance.uniform(5, 300)
        return cls(cuts, moves, steps, runs)


@dataclass
class Count:
    """What was told, and what it cost."""

    samples: int = 0
    timed: int = 0
    timed_ns: int = 0
    tells: int = 0


@dataclass
class Run(Office):
    """One run of the daemon: an office whose judge's effects and samples are kept as the daemon keeps them.

    It is its keeper's clock as well.
    """

    keeper: SqliteKeeper | None = None
    count: Count = field(default_factory=Count)
    told: list[Event] = field(default_factory=list)
    at_s: float = 0.0

    def now_ns(self) -> int:
        """Monotonic nanoseconds of the office."""
        return round(self.at_s * NS_PER_S)

    def now_unix_ns(self) -> int:
        """The office's wall clock."""
        return self.wall_ns(self.at_s)

    def carrier(self, at_s: float, target: str = "") -> str | None:  # noqa: ARG002 - the whole traffic moves
        """Where the gateway sends ordinary traffic then."""
        return self.moves[bisect_right(self.moves, (at_s, "~")) - 1][1]

    def _do_tick(self, at_s: float, thing: object) -> None:
        self.at_s = at_s
        super()._do_tick(at_s, thing)

    def _do_known(self, at_s: float, sample: Sample) -> None:
        assert self.keeper is not None
        self.at_s = at_s
        self.count.samples += 1
        begun_ns = time.thread_time_ns() if self.count.samples % TIMED == 0 else 0
        self.keeper.sample(sample)
        effects = self.judge.feed(sample)
        if begun_ns:
            self.count.timed += 1
            self.count.timed_ns += time.thread_time_ns() - begun_ns
        if effects:
            self._take(at_s, effects)

    def _take(self, at_s: float, effects: Sequence[Effect]) -> None:
        assert self.keeper is not None
        for effect in effects:
            if isinstance(effect, Tell):
                self.count.tells += 1
                self.told.append(effect.event)
                if effect.event.kind is EventKind.CLOCK_STEP:
                    self.keeper.clock_stepped()
            elif isinstance(effect, Pace):
                self._pace(at_s, effect)

    async def keep(self) -> None:
        """Write what was told since."""
        assert self.keeper is not None
        for event in self.told:
            assert await self.keeper.event(event)
        self.told.clear()
        carrying = self.judge.carrying
        if carrying.known:
            self.keeper.remember(CARRYING, {"uplink": carrying.uplink})
        assert await self.keeper.flush()


async def lived(story: Story, folder: Path) -> list[dict[str, float]]:
    """Let the story happen to a daemon; return for each day what it cost."""
    path, days, count, day_began = folder / "wanwatch.sqlite", [], Count(), time.process_time()
    for number, (from_s, until_s) in enumerate(story.runs):
        run = _run(story, path, from_s, number)
        run.count = count
        assert run.keeper is not None
        run.keeper.open()
        at_s = from_s
        while at_s < until_s:
            at_s = min(at_s + FLUSH_S, until_s)
            run.run(at_s)
            await run.keep()
            if at_s // DAY_S > (at_s - FLUSH_S) // DAY_S or (at_s >= until_s and number == len(story.runs) - 1):
                now = time.process_time()
                days.append(_cost(count, now - day_began))
                day_began = now
                count.samples = count.timed = count.timed_ns = count.tells = 0
        if number % 2 == 0:  # every other run is stopped, the rest end as by a power cut
            run._take(until_s, run.judge.stop(run.now_ns()))
            await run.keep()
        await run.keeper.close()
    return days


def _run(story: Story, path: Path, from_s: float, number: int) -> Run:
    unix_ns = Run(SiteJudge(SITE, UPLINKS, [], JudgeSettings()), {}, [], wall_steps=story.steps).wall_ns(from_s)
    memory = last_run(path, SITE, unix_ns).memory if number else Memory()
    judge = SiteJudge(SITE, UPLINKS, QUESTIONS, JudgeSettings(), memory=memory)
    ways: dict[str, Way] = {
        "fibre": HardWay(cuts=story.cuts, losses=[(0.0, 0.0, LOSS)]),
        "copper": HardWay(rtt_s=0.03, address="198.51.100.7"),
    }
    run = Run(judge, ways, QUESTIONS, story.moves, wall_steps=story.steps, start_s=from_s, chance=number, at_s=from_s)
    run.keeper = SqliteKeeper(path, SITE, run, tell_trouble=_trouble, flush_every_s=600.0)
    return run


def _trouble(said: str) -> None:
    raise AssertionError(said)


def _cost(count: Count, processor_s: float) -> dict[str, float]:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return {
        "samples": count.samples,
        "events_told": count.tells,
        "judge_and_store_us_a_sample": round(count.timed_ns / max(1, count.timed) / 1000, 2),
        "processor_s_with_the_generator": round(processor_s, 1),
        "resident_mb": round(pages * resource.getpagesize() / 1e6, 1),
    }


def reckoned(story: Story, folder: Path, days: Sequence[dict[str, float]]) -> dict[str, object]:
    """Compare what was kept with what was told and done."""
    path = folder / "wanwatch.sqlite"
    with SqliteRecord(path) as record:
        events = record.events(SITE)
        stored = sum(block.sent + block.not_sent for block in record.blocks(SITE, Span(0, 1 << 62)))
    begun = time.process_time()
    found = incidents(events)
    joined_s = time.process_time() - begun
    watched = [cut for cut in story.cuts if any(a + 60 < cut[0] and cut[1] + 60 < b for a, b in story.runs)]
    outages = [event for event in events if event.kind is EventKind.OUTAGE]
    return {
        "flaps": len(story.cuts),
        "flaps_of_5_s_and_more_watched": sum(end - start > 7 for start, end in watched),
        "events": dict(sorted(Counter(str(event.kind) for event in events).items())),
        "outages_of": dict(Counter(f"{event.uplink} {event.domain}" for event in outages)),
        "open_events": sum(event.end is None for event in events),
        "clock_steps": len(story.steps),
        "runs": len(story.runs),
        "incidents": len(found),
        "events_an_incident": round(len(events) / max(1, len(found)), 1),
        "joining_s": round(joined_s, 2),
        "samples_told": int(sum(day["samples"] for day in days)),
        "samples_stored": stored,
        "file_mb": round(sum(file.stat().st_size for file in folder.glob("wanwatch.sqlite*")) / 1e6, 1),
        "peak_resident_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000, 1),
        "days": list(days),
    }


def survived(days: float, seed: int, folder: Path) -> dict[str, object]:
    """Draw a story, live it, and return what came of it."""
    story = Story.of(days, seed)
    return reckoned(story, folder, asyncio.run(lived(story, folder)))


def main() -> int:
    """Return 0 if every sample that was told is in the record."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--days", type=float, default=7)
    arguments.add_argument("--seed", type=int, default=7)
    asked = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="wanwatch-hard-line-") as folder:
        result = survived(asked.days, asked.seed, Path(folder))
    print(json.dumps(result, indent=1))  # noqa: T201 - a script's answer
    return 0 if result["samples_told"] == result["samples_stored"] else 1


if __name__ == "__main__":
    sys.exit(main())
