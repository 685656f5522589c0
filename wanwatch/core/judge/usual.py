"""What delay is usual for the targets of one line, by the hour of the week.

A line may be slow every evening, or while the office works; that is its usual then. Each hour of the week in the
site's zone keeps one figure a week, the median of its windows' medians, for the last `WEEKS` weeks; an hour counts if
half of it was looked at. Slow windows are learnt like others, else what is slow every evening would never become
usual; the median over weeks keeps a single bad evening out.

What is usual at an instant is found in this order:

1. the median of that hour of the week, if at least `MIN_FIGURES` weeks are known of it;
2. the median of that hour's latest figures of all days, if at least `MIN_FIGURES` days are known of it;
3. the median of the last windows that showed no trouble, if there are at least `MIN_RECENT`.

Evenings do not begin on the hour: the greater usual of half an hour before and half an hour after holds.

Sources: NIST/SEMATECH e-Handbook 7.2.6.2 (median). The rest is common practice, no published source.
"""

from collections import deque
from collections.abc import Collection, Mapping
from datetime import UTC, tzinfo
from typing import Final

from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.percentile import quantile
from wanwatch.core.model import NS_PER_S, Json

WEEKS: Final = 5
"""With five figures an hour that is changed for good is usual after three weeks."""

MIN_FIGURES: Final = 3
"""With fewer a single bad evening would weigh half."""

MIN_RECENT: Final = 5
MAX_RECENT: Final = 60
"""An hour's worth of the default window."""

HALF_HOUR_NS: Final = 1800 * NS_PER_S
HOURS_A_DAY: Final = 24
_HOURS_A_WEEK: Final = 7 * HOURS_A_DAY
_NS_PER_US: Final = 1000


def hour_of_week(at_unix_ns: int, zone: tzinfo) -> int:
    """Return the hour of the week that clocks in *zone* show, from 0; where they go back one comes twice."""
    shown = local_time(at_unix_ns, zone)
    return shown.weekday() * HOURS_A_DAY + shown.hour


class _Target:
    """One target's delays: of the last calm windows, of the hour that runs, and of past weeks in whole microseconds."""

    def __init__(self) -> None:
        self.recent: deque[float] = deque(maxlen=MAX_RECENT)
        self.running: deque[float] = deque(maxlen=3600)
        self.weeks: dict[int, list[int]] = {}

    def fold(self, hour: int, window_ns: int) -> None:
        """The hour is over: keep its figure, if half of it was looked at."""
        if len(self.running) * window_ns >= HALF_HOUR_NS:
            figure = round(quantile(sorted(self.running), 0.5) / _NS_PER_US)
            self.weeks[hour] = [*self.weeks.get(hour, ()), figure][-WEEKS:]
        self.running.clear()

    def of_hour(self, hour: int) -> float | None:
        """What is usual in that hour of the week (ns), None before there are figures enough."""
        figures = self.weeks.get(hour, [])
        if len(figures) < MIN_FIGURES:
            figures = [self.weeks[other][-1] for other in _same_hour(hour) if other in self.weeks]
        return _median(figures) * _NS_PER_US if len(figures) >= MIN_FIGURES else None


def _same_hour(hour: int) -> range:
    return range(hour % HOURS_A_DAY, _HOURS_A_WEEK, HOURS_A_DAY)


def _median(figures: Collection[float]) -> float:
    return quantile(sorted(figures), 0.5)


class Usuals:
    """What is usual for the targets of one line."""

    def __init__(self) -> None:
        self._targets: dict[str, _Target] = {}
        self._zone: tzinfo = UTC
        self._window_ns = 0
        self._hour: int | None = None

    def reconfigure(self, targets: Collection[str], zone: tzinfo, window_ns: int) -> None:
        """Take other targets, zone or window; a target that stays keeps what is usual for it."""
        self._targets = {target: self._targets.get(target) or _Target() for target in targets}
        self._zone = zone
        self._window_ns = window_ns

    def learn(self, at_unix_ns: int, medians: Mapping[str, float], *, calm: bool) -> int | None:
        """Learn from a window's medians (ns); return the hour of the day that has ended since the last one, if any.

        Args:
            at_unix_ns: The middle of the window.
            medians: The median delay of each target that answered in it.
            calm: It shows no trouble.
        """
        before, self._hour = self._hour, hour_of_week(at_unix_ns, self._zone)
        ended = None if before is None or before == self._hour else before
        for name, target in self._targets.items():
            if ended is not None:
                target.fold(ended, self._window_ns)
            if name in medians:
                target.running.append(medians[name])
                if calm:
                    target.recent.append(medians[name])
        return None if ended is None else ended % HOURS_A_DAY

    def usual_ns(self, at_unix_ns: int) -> dict[str, float]:
        """Return the usual delay of each target at an instant, without those of which it is not known yet."""
        hours = {hour_of_week(at_unix_ns + aside, self._zone) for aside in (-HALF_HOUR_NS, HALF_HOUR_NS)}
        found = {}
        for name, target in self._targets.items():
            known = [usual for usual in map(target.of_hour, hours) if usual is not None]
            if known:
                found[name] = max(known)
            elif len(target.recent) >= MIN_RECENT:
                found[name] = _median(target.recent)
        return found

    def known(self, hour_of_day: int) -> dict[str, Json]:
        """Return what is known of one hour of the day on all days: by target and hour of the week, oldest first."""
        return {
            name: {str(hour): [*target.weeks[hour]] for hour in _same_hour(hour_of_day) if hour in target.weeks}
            for name, target in self._targets.items()
        }

    def recall(self, known: Json) -> None:
        """Take back what `known` gave to an earlier run; targets that are not configured then are forgotten."""
        for name, weeks in known.items() if isinstance(known, dict) else ():
            target = self._targets.setdefault(name, _Target())
            for hour, figures in weeks.items() if isinstance(weeks, dict) else ():
                if isinstance(figures, list) and hour.isdecimal():
                    target.weeks[int(hour)] = [us for us in figures if isinstance(us, int)][-WEEKS:]
