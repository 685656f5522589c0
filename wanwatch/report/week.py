"""Week: how a line does by the hour of the week, in the site's own hours.

Each cell is the median over the weeks: one bad evening does not make a pattern. Where the clocks change, an hour that
comes twice is in one cell, and one that is skipped is in none.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.percentile import percentile
from wanwatch.core.account.speed_tests import SpeedTest
from wanwatch.report.samples import Hour

_DAYS_A_WEEK: Final = 7
STEPS: Final = 5
"""Of shading; the number beside it says the rest."""
_HOURS_A_DAY: Final = 24
_US_PER_MS: Final = 1000


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its figure, None where there is none, and how deeply it is shaded, 0 to `STEPS` - 1."""

    figure: float | None
    shade: int


@dataclass(frozen=True, slots=True)
class Week:
    """A table of a week: a row a day from Monday on, a column for each stretch of so many hours."""

    hours: int
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def columns(self) -> range:
        """The hour at which each column begins."""
        return range(0, _HOURS_A_DAY, self.hours)

    @property
    def known(self) -> bool:
        """Whether anything is known of more than one cell: one makes no pattern."""
        return sum(cell.figure is not None for row in self.rows for cell in row) > 1


def delays(hours: Iterable[Hour], zone: tzinfo) -> Week:
    """Return the 95th percentile of delay by the hour of the week, in milliseconds."""
    told = ((hour.start_unix_ns, float(hour.p95_us) / _US_PER_MS) for hour in hours if hour.p95_us is not None)
    return _week(told, zone, 1, more_is_worse=True)


def speeds(tests: Iterable[SpeedTest], zone: tzinfo) -> Week:
    """Return the speed by three hours of the week, in Mbit/s."""
    told = ((test.at_unix_ns, test.bps / 1e6) for test in tests if test.bps is not None)
    return _week(told, zone, 3, more_is_worse=False)


def _week(told: Iterable[tuple[int, float]], zone: tzinfo, hours: int, *, more_is_worse: bool) -> Week:
    cells: dict[tuple[int, int], list[float]] = defaultdict(list)
    for at_unix_ns, figure in told:
        shown = local_time(at_unix_ns, zone)
        cells[shown.weekday(), shown.hour // hours].append(figure)
    medians = {place: percentile(sorted(figures), 0.5) for place, figures in cells.items()}
    known = sorted(figure for figure in medians.values() if figure is not None and figure != float("inf"))
    columns = _HOURS_A_DAY // hours
    return Week(
        hours,
        tuple(
            tuple(_cell(medians.get((day, column)), known, more_is_worse=more_is_worse) for column in range(columns))
            for day in range(_DAYS_A_WEEK)
        ),
    )


def _cell(figure: float | None, known: Sequence[float], *, more_is_worse: bool) -> Cell:
    """Shade by where a figure lies between the best and the worst of the week; a flat week is not shaded."""
    if figure is None or not known:
        return Cell(figure, 0)
    best, worst = (known[0], known[-1]) if more_is_worse else (known[-1], known[0])
    if figure == float("inf"):
        return Cell(figure, STEPS - 1)
    spread = abs(worst - best)
    # A tenth of the figure is no pattern worth a colour.
    if spread <= abs(best) / 10:
        return Cell(figure, 0)
    return Cell(figure, min(STEPS - 1, int(abs(figure - best) / spread * STEPS)))
