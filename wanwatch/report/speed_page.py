"""What the page shows of a line's speed tests."""

from collections.abc import Iterator, Mapping
from typing import Final

from markupsafe import Markup

from wanwatch.core.account.speed_result import WORDS, Ending
from wanwatch.core.account.speed_tests import BUSY, NOT_STEADY, SpeedTest
from wanwatch.report.speed_chart import speed_chart
from wanwatch.report.values import MonthReport, UplinkReport
from wanwatch.report.verdicts import ClauseResult

DIRECTION: Final = {"down": "towards the site", "up": "away from the site"}
MOST_MISSED: Final = 30
"""Of a table of tests below a promise; the JSON has them all."""
_APART: Final[Mapping[str, str]] = {
    BUSY: "the line carried other traffic",
    NOT_STEADY: "never steady",
    "limited-by-far-end": "held up by the far end",
    "limited-by-processor": "held up by this machine's processor",
    "limited-by-interface": "held up by this machine's port",
    "limited-by-window": "held up by TCP's window",
    "limited-by-unknown": "not known what held it up",
    **{ending.value: WORDS[ending] for ending in Ending},
}
"""Why a test does not count, in words."""


class Direction:
    """One direction of a line's tests.

    Args:
        report: The month.
        uplink: The line.
        way: `down` or `up`.
        number: The line's place in the page.
    """

    def __init__(self, report: MonthReport, uplink: UplinkReport, way: str, number: int) -> None:
        self.of = uplink.speed[way]
        self._pen = report.pen
        self.name = DIRECTION[way]
        self.anchor = f"speed-{number}-{way}"
        self.clauses = [clause for clause in uplink.clauses if clause.promise.measure == f"speed-{way}"]
        levels = [(c.promise.statistic or "", float(c.promise.speed_bps or 0)) for c in self.clauses]
        if uplink.best_bps is not None:
            levels.append(("ceiling", float(uplink.best_bps)))
        self.levels = list(dict.fromkeys(levels))
        self.chart = Markup(speed_chart(report.period, self.of, self.levels, report.pen))  # noqa: S704 - drawn by matplotlib

    def apart(self) -> Iterator[str]:
        """Say how many tests are kept apart for which reason."""
        for reason, number in self.of.reasons.items():
            yield f"{self._pen.count(number)}: {_APART.get(reason, reason)}"

    def missed(self) -> list[tuple[SpeedTest, list[ClauseResult]]]:
        """Return the month's tests below a floor or a usual speed, each with the clauses that it missed."""
        told = [(clause, frozenset(clause.evidence)) for clause in self.clauses if clause.promise.statistic != "peak"]
        missed = [(test, [clause for clause, ids in told if test.id in ids]) for test in self.of.counted]
        return [(test, clauses) for test, clauses in missed if clauses]


def directions(report: MonthReport, uplink: UplinkReport, number: int) -> list[Direction]:
    """Return the directions in which there was any test."""
    tested = [way for way, found in uplink.speed.items() if found.counted or found.apart]
    return [Direction(report, uplink, way, number) for way in tested]
