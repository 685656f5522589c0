"""Speed tests as a contract counts them: which count, which are kept apart and why, and what their share decides.

Sources:     the exact binomial test of `core.account.proportion`; NIST/SEMATECH e-Handbook 7.2.6.2 (percentiles).
Departures:  a test that anything but the line held up is kept apart: it says nothing of the line, either way.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from wanwatch.core.account.clauses import Because, Ruling, Verdict
from wanwatch.core.account.figures import Bounded
from wanwatch.core.account.percentile import percentile
from wanwatch.core.account.proportion import Said, decide, limits
from wanwatch.core.instants import instant_text
from wanwatch.core.model import Json, Measurement

DIRECTIONS: Final = ("down", "up")
BUSY: Final = "busy"
NOT_STEADY: Final = "not-steady"
_MEASURED: Final = frozenset({"done", "capped"})
_TENTH: Final = Fraction(1, 10)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedTest:
    """One direction of one test.

    Attributes:
        at_unix_ns: When it began.
        uplink: Through which line.
        direction: `down` or `up`.
        bps: What was carried, in bits of payload a second; None where nothing could be measured.
        apart: Why it does not count, in one word; None where it counts.
    """

    at_unix_ns: int
    uplink: str
    direction: str
    bps: float | None
    apart: str | None = None

    @property
    def id(self) -> str:
        """Its name in reports, as that of an event: kind, line, direction and instant."""
        return f"speed-{self.uplink}-{self.direction}-{instant_text(self.at_unix_ns)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Speeds:
    """One direction of a time's tests.

    Attributes:
        counted: Those that count, in order of time.
        apart: Those that do not.
    """

    counted: tuple[SpeedTest, ...]
    apart: tuple[SpeedTest, ...]

    @property
    def median_bps(self) -> float | None:
        """The median of those that count; None without any."""
        return self._percentile(Fraction(1, 2))

    @property
    def p10_bps(self) -> float | None:
        """Their 10th percentile."""
        return self._percentile(_TENTH)

    @property
    def reasons(self) -> dict[str, int]:
        """How many are kept apart for which reason."""
        return dict(sorted(Counter(test.apart or "" for test in self.apart).items()))

    def _percentile(self, share: Fraction) -> float | None:
        return percentile(sorted(test.bps for test in self.counted if test.bps is not None), float(share))


def read_tests(measured: Measurement) -> list[SpeedTest]:
    """Return the directions of a kept speed test; one that the record does not hold as it should is left out."""
    found = []
    for direction in DIRECTIONS:
        run = measured.result.get(direction)
        if isinstance(run, Mapping):
            busy = bool(run.get(BUSY) or measured.result.get(BUSY))
            bps = _bps(run)
            why = _apart(run, bps, busy=busy)
            test = SpeedTest(
                at_unix_ns=measured.at_unix_ns, uplink=measured.uplink, direction=direction, bps=bps, apart=why
            )
            found.append(test)
    return found


def speeds(tests: Iterable[SpeedTest], direction: str) -> Speeds:
    """Sort one direction's tests into those that count and those that do not."""
    mine = sorted((test for test in tests if test.direction == direction), key=lambda test: test.at_unix_ns)
    return Speeds(
        counted=tuple(test for test in mine if test.apart is None),
        apart=tuple(test for test in mine if test.apart is not None),
    )


def _bps(run: Mapping[str, Json]) -> float | None:
    goodput = run.get("goodput")
    bps = goodput.get("bps") if isinstance(goodput, Mapping) else None
    return float(bps) if isinstance(bps, int | float) and not isinstance(bps, bool) else None


def _apart(run: Mapping[str, Json], bps: float | None, *, busy: bool) -> str | None:
    """Say why a run does not count; the strongest ground first."""
    ending, limited_by = str(run.get("ending")), str(run.get("limited_by"))
    if ending not in _MEASURED or bps is None:
        return ending
    if busy:
        return BUSY
    if run.get("counts") is not True:
        return f"limited-by-{limited_by}"
    return None if run.get("steady") is True else NOT_STEADY


def reached(tests: Sequence[SpeedTest], bps: int) -> list[SpeedTest]:
    """Return the tests that carried at least so much."""
    return [test for test in tests if test.bps is not None and test.bps >= bps]


def share_reached(successes: int, trials: int) -> Bounded:
    """Return the share of tests that succeeded, with its exact limits (Clopper-Pearson, each at 95 %)."""
    exact = limits(successes, trials)
    value = Fraction(successes, trials) if trials else None
    return Bounded(value=value, low=Fraction(exact.low), high=Fraction(exact.high))


_DECIDED: Final = {
    Said.REACHED: Ruling(Verdict.MET, Because.TESTS_SHOW),
    Said.MISSED: Ruling(Verdict.BREACHED, Because.TESTS_SHOW),
    Said.OPEN: Ruling(Verdict.UNDECIDED, Because.TOO_FEW_TESTS),
}


def rule_share(successes: int, trials: int, share: Fraction) -> Ruling:
    """Judge a promised share of tests by those that were made."""
    if trials == 0:
        return Ruling(Verdict.UNDECIDED, Because.NOTHING_SEEN)
    return _DECIDED[decide(successes, trials, share)]
