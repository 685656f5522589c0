"""Speed tests, and delay while they run, held to their limits.

A run that was limited by anything but the line never counts against it.
"""

from collections.abc import Iterator, Mapping, Sequence
from statistics import median
from typing import Final

from wanwatch.core.acceptance.items import About, Item, Verdict
from wanwatch.core.acceptance.limits import DELAY, SpeedTerm, Terms
from wanwatch.core.account.proportion import Said, decide
from wanwatch.core.account.speed import Limit
from wanwatch.core.account.speed_result import WORDS, Direction, Ending, Run, SpeedResult
from wanwatch.core.model import Json

_SPEED: Final = {Direction.DOWN: About.SPEED_DOWN, Direction.UP: About.SPEED_UP}
_LOAD: Final = {Direction.DOWN: About.LOAD_DOWN, Direction.UP: About.LOAD_UP}


def speeds(results: Sequence[SpeedResult], terms: Terms) -> tuple[Item, ...]:
    """Say of each direction whether it is fast enough, and prompt enough meanwhile."""
    by_way = {way: [run for result in results if (run := result.run(way)) is not None] for way in Direction}
    tests = [_speed(way, runs, terms.speeds.get(way.value)) for way, runs in by_way.items()]
    return (*tests, *(_load(way, runs) for way, runs in by_way.items()))


def untested(why: str) -> tuple[Item, ...]:
    """Return the items of a line that no test was made of."""
    abouts = (*_SPEED.values(), *_LOAD.values())
    return tuple(
        Item(about=about, verdict=Verdict.NOT_DECIDED, value="not measured", reason=f"{why.rstrip('.')}.")
        for about in abouts
    )


def _speed(way: Direction, runs: Sequence[Run], term: SpeedTerm | None) -> Item:
    found = [run.goodput.bps for run in runs if run.goodput is not None]
    verdict, reason = _ruled(runs, term)
    middle = median(found) if found else None
    of_best = f", {middle / float(term.best_bps):.0%} of the handoff" if term and term.best_bps and middle else ""
    each = f" ({', '.join(mbps(bps) for bps in found)})" if len(found) > 1 else ""
    return Item(
        about=_SPEED[way], verdict=verdict,
        value="not measured" if middle is None else f"{mbps(middle)} Mbit/s{each}{of_best}",
        limit=_limit(term), source=term.limit.source if term else "", reason=reason, figure=middle,
        values={"tests": [_told(run) for run in runs]},
    )  # fmt: skip


def _limit(term: SpeedTerm | None) -> str:
    if term is None:
        return ""
    tests = "most" if term.share is None else f"{float(term.share * 100):g}% of"
    return f"at least {mbps(float(term.limit.figure))} Mbit/s in {tests} tests"


def mbps(bps: float) -> str:
    """Say a speed in Mbit/s, to four digits."""
    return f"{bps / 1e6:.4g}"


def _told(run: Run) -> Json:
    return {
        "bps": run.goodput.bps if run.goodput else None, "counts": run.counts, "ending": run.ending.value,
        "limited_by": run.limited_by.value, "sign": run.sign,
    }  # fmt: skip


def _ruled(runs: Sequence[Run], term: SpeedTerm | None) -> tuple[Verdict, str]:
    if term is None:
        return Verdict.NOT_DECIDED, "No contract says how fast it should be: down_mbps, up_mbps, or a floor."
    measured = [run for run in runs if run.goodput is not None]
    # What came through came through, whatever limited it; what did not speaks only where the line was the limit.
    reached = sum(run.goodput is not None and run.goodput.bps >= term.limit.figure for run in measured)
    missed = sum(run.goodput is not None and run.goodput.bps < term.limit.figure and run.counts for run in measured)
    if missed and _falls_short(len(runs) - missed, len(runs), term):
        return Verdict.FAIL, f"{missed} of {len(runs)} tests fell below it, held up by the line."
    if runs and (reached == len(runs) or (term.share is None and reached * 2 > len(runs))):
        return Verdict.PASS, ""
    return Verdict.NOT_DECIDED, " ".join(
        dict.fromkeys(_troubles(runs))
    ) or "Too few tests to tell chance from a slow line: more --tests decide."


def _falls_short(others: int, tests: int, term: SpeedTerm) -> bool:
    """Whether so many *others* than those that missed it are fewer than chance explains where a share is promised."""
    if term.share is None:
        return others * 2 < tests
    return decide(others, tests, term.share) is Said.MISSED


def _troubles(runs: Sequence[Run]) -> Iterator[str]:
    for run in runs:
        if run.ending is not Ending.DONE:
            yield f"{WORDS[run.ending].capitalize()}{f' ({run.why})' if run.why else ''}."
        elif run.busy:
            yield "The line carried other traffic meanwhile, so this says nothing against it."
        elif not run.counts:
            yield f"{_HELD_UP[run.limited_by]}, so this says nothing against the line."


_HELD_UP: Final[Mapping[Limit, str]] = {
    Limit.LINE: "The line was the limit",
    Limit.FAR_END: "The far end did not keep up",
    Limit.PROCESSOR: "This machine was too busy",
    Limit.INTERFACE: "This machine's own port was full",
    Limit.WINDOW: "A TCP window or buffer was full",
    Limit.UNKNOWN: "Nothing showed what limited it",
}


def _load(way: Direction, runs: Sequence[Run]) -> Item:
    loaded = [run.loaded for run in runs if run.loaded is not None and run.loaded.high_s is not None and run.counts]
    idle = [run.idle.high_s for run in runs if run.idle is not None and run.idle.high_s is not None]
    limit_s = float(DELAY.figure)
    highs = [seen.high_s for seen in loaded if seen.high_s is not None]
    wanted, source = f"p95 at most {limit_s * 1000:g} ms", DELAY.source
    if not highs:
        reason = "No test filled the line while probes were answered, so nothing is known of its delay under load."
        return Item(
            about=_LOAD[way], verdict=Verdict.NOT_DECIDED, value="not measured", limit=wanted, source=source,
            reason=reason,
        )  # fmt: skip
    high_s = median(highs)
    before = f", idle {median(idle) * 1000:.3g} ms" if idle else ""
    return Item(
        about=_LOAD[way], verdict=Verdict.PASS if high_s <= limit_s else Verdict.FAIL,
        value=f"p95 {high_s * 1000:.3g} ms{before}", limit=wanted, source=source, figure=high_s,
        values={"p95_s": list(highs), "lost_ratio": [seen.loss_ratio for seen in loaded]},
    )  # fmt: skip
