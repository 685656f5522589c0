"""Round trips a minute against the IETF's draft.

Source: "Responsiveness under Working Conditions", Internet-Draft of the IETF's IPPM group, revision 09; the values are
computed from its formulas.
"""

from fractions import Fraction

import pytest

from wanwatch.core.account.responsiveness import (
    REVISION,
    Confidence,
    Grade,
    Parameters,
    Probes,
    Responsiveness,
    confidence,
    grade,
    moving_averages,
    per_minute,
    responsiveness,
    trimmed_mean,
)


def probes(tcp: float, tls: float | None, http: float, loaded: float) -> Probes:
    """Ten answers of each kind, all alike, in milliseconds."""
    return Probes(
        tcp_s=[tcp / 1000] * 10,
        tls_s=None if tls is None else [tls / 1000] * 10,
        http_s=[http / 1000] * 10,
        loaded_s=[loaded / 1000] * 10,
    )


@pytest.mark.parametrize(("ms", "rpm"), [(200, 300), (60, 1000), (10, 6000)])
def test_round_trips_that_fit_into_a_minute(ms: int, rpm: int) -> None:
    """The draft: 60 seconds over the round-trip time."""
    assert per_minute(ms / 1000) == pytest.approx(rpm)


@pytest.mark.parametrize(
    ("rpm", "expected"),
    [(299, Grade.POOR), (300, Grade.FAIR), (999, Grade.FAIR), (1000, Grade.GOOD), (5999, Grade.GOOD),
     (6000, Grade.EXCELLENT)],
)  # fmt: skip
def test_what_a_result_means(rpm: float, expected: Grade) -> None:
    """The draft: limits at 300, 1000 and 6000; that a limit belongs to the better grade is our choice."""
    assert grade(rpm) is expected


@pytest.mark.parametrize(
    ("asked", "foreign", "loaded", "rpm"),
    [
        (probes(20, 20, 20, 20), 3000, 3000, 3000),
        (probes(30, 60, 90, 120), 1000, 500, 750),
        (probes(30, None, 90, 120), 1000, 500, 750),  # without TLS its term is left out
    ],
)
def test_the_result_is_the_mean_of_foreign_and_loaded(asked: Probes, foreign: float, loaded: float, rpm: float) -> None:
    """The draft: foreign probes by connection, handshake and request with equal weight; loaded ones by request."""
    found = responsiveness(asked)
    assert (found.foreign, found.loaded, found.rpm) == pytest.approx((foreign, loaded, rpm))


def test_the_worst_twentieth_is_dropped_from_the_long_side_only() -> None:
    """The draft: a single-sided trimmed mean that keeps 95 %."""
    assert trimmed_mean([0.010] * 95 + [1.0] * 5) == pytest.approx(0.010)
    assert trimmed_mean(range(1, 101)) == 48.0
    assert trimmed_mean(range(1, 101), Fraction(1)) == 50.5
    assert trimmed_mean([7.0]) == 7.0


@pytest.mark.parametrize(
    ("figures", "expected"),
    [
        ([100, 100, 100], Confidence.LOW),
        ([100, 200, 400, 800], Confidence.MEDIUM),
        ([100, 101, 99, 100], Confidence.HIGH),
        ([1, 500, 100, 101, 99, 100, 100, 101, 100], Confidence.HIGH),  # only the last intervals count
    ],
)
def test_confidence_follows_from_how_the_figures_settle(figures: list[float], expected: Confidence) -> None:
    """The draft: low before MAD intervals ran, high once they are stable within SDT, medium otherwise."""
    assert confidence(figures) is expected


def test_the_parameters_can_be_set() -> None:
    """The draft is work in progress; earlier revisions had other numbers."""
    assert confidence([100, 200, 400], Parameters(intervals=2, tolerance=0.5)) is Confidence.HIGH
    assert moving_averages([2, 4, 6], 2) == [2, 3, 5]
    assert REVISION.endswith("-09")


def test_without_an_answer_there_is_no_figure() -> None:
    """No probe and a round trip of nothing are undefined, not infinite."""
    assert per_minute(0) is None
    assert trimmed_mean([]) is None
    nothing = Probes(tcp_s=[], tls_s=None, http_s=[0.1], loaded_s=[])
    assert responsiveness(nothing) == Responsiveness(foreign=None, loaded=None, rpm=None)
