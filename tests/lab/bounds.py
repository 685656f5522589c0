"""How an event's bounds are judged against the truth."""

from tests.lab.office import FIBRE, ONE_WAY_S, Truth
from tests.lab.stage import unix_s
from tests.lab.watch import Told

START_WIDE_S = 1.3
"""The promised width of an outage's start: three targets, asked in turn, once a second each."""
END_WIDE_S = 0.3
"""The promised width of its end, when probing is at the pulse of 200 ms."""


def assert_bounds_hold(
    event: Told, cut: Truth, mended: Truth, line: str = FIBRE, *, end_wide_s: float = END_WIDE_S
) -> None:
    """The true instants lie inside the event's bounds, and the bounds are as narrow as promised.

    A probe under way when its line is cut was sent before the cut, by up to one round trip; one under way when the way
    back is mended likewise.
    """
    for edge, truth, wide_s in (("start", cut, START_WIDE_S), ("end", mended, end_wide_s)):
        earliest, estimate, latest = (
            unix_s(event[key]) - truth.unix_s for key in (f"{edge}_earliest", edge, f"{edge}_latest")
        )
        told = f"{edge}: from {earliest:+.4f} s to {latest:+.4f} s of the truth, estimate {estimate:+.4f} s"
        assert earliest <= 0 <= latest + 2 * ONE_WAY_S[line] + 0.002, told
        assert latest - earliest <= wide_s, told
        assert earliest <= estimate <= latest, told
