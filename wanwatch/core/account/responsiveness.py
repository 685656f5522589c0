"""Responsiveness: round trips a minute while a line is at work.

Sources:     "Responsiveness under Working Conditions", Internet-Draft of the IETF's IPPM group, revision 09 (July
             2026): work in progress, so a figure names the revision and its parameters can be set.
Departures:  the draft leaves open to which class a limit itself belongs; here it belongs to the better one. No probe,
             or a delay of nothing, gives no figure rather than an infinite one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import floor
from statistics import fmean, pstdev
from typing import Final

REVISION: Final = "draft-ietf-ippm-responsiveness-09"
_MINUTE_S: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters:
    """The draft's parameters that its arithmetic uses, with the defaults of its revision.

    Attributes:
        intervals: MAD: over how many intervals a figure has to hold.
        kept: TMP: the share of samples that the trimmed mean keeps.
        tolerance: SDT: how far figures may spread and still be stable, as a share of their mean.
    """

    intervals: int = 4
    kept: Fraction = Fraction(95, 100)
    tolerance: float = 0.05


DEFAULTS: Final = Parameters()


@dataclass(frozen=True, slots=True, kw_only=True)
class Probes:
    """How long each answer took, in seconds, by what was asked.

    Attributes:
        tcp_s: Connections opened beside the load.
        tls_s: TLS handshakes on them; None where the transfer runs without TLS.
        http_s: Requests on them.
        loaded_s: Requests on the very connections that carry the load.
    """

    tcp_s: Sequence[float]
    tls_s: Sequence[float] | None
    http_s: Sequence[float]
    loaded_s: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Responsiveness:
    """Round trips a minute; None where nothing was answered.

    Attributes:
        foreign: Of connections beside the load: what it does to others.
        loaded: Of the connections that carry it: what it does to itself.
        rpm: The mean of both: the result.
    """

    foreign: float | None
    loaded: float | None
    rpm: float | None


class Grade(StrEnum):
    """What a result means to people."""

    POOR = "poor"
    FAIR = "fair"
    GOOD = "good"
    EXCELLENT = "excellent"


class Confidence(StrEnum):
    """How far a result can be relied on."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"


_GRADES: Final = ((6000, Grade.EXCELLENT), (1000, Grade.GOOD), (300, Grade.FAIR))
"""The result at which each begins; below them all it is poor."""


def per_minute(round_trip_s: float | None) -> float | None:
    """Return how many round trips of this length fit into a minute; None for none, or one of no length."""
    return _MINUTE_S / round_trip_s if round_trip_s else None


def trimmed_mean(samples: Sequence[float], kept: Fraction = DEFAULTS.kept) -> float | None:
    """Return the mean of the shortest samples, the share *kept* of them; None of none.

    Whole samples are dropped: as many as fit into the share that is not kept, so one sample is always kept.
    """
    if not samples:
        return None
    dropped = floor((1 - kept) * len(samples))
    return fmean(sorted(samples)[: len(samples) - dropped])


def responsiveness(probes: Probes, parameters: Parameters = DEFAULTS) -> Responsiveness:
    """Return the round trips a minute of a test."""
    asked = [probes.tcp_s, probes.http_s] if probes.tls_s is None else [probes.tcp_s, probes.tls_s, probes.http_s]
    means = [mean for samples in asked if (mean := trimmed_mean(samples, parameters.kept)) is not None]
    foreign = per_minute(fmean(means)) if len(means) == len(asked) else None
    loaded = per_minute(trimmed_mean(probes.loaded_s, parameters.kept))
    both = None if foreign is None or loaded is None else (foreign + loaded) / 2
    return Responsiveness(foreign=foreign, loaded=loaded, rpm=both)


def grade(rpm: float) -> Grade:
    """Return what a result means; a limit belongs to the better grade."""
    return next((grade for least, grade in _GRADES if rpm >= least), Grade.POOR)


def moving_averages(figures: Sequence[float], intervals: int) -> list[float]:
    """Return the mean of each interval's figure and of those before it, *intervals* at the most."""
    return [fmean(figures[max(0, end - intervals) : end]) for end in range(1, len(figures) + 1)]


def stable(figures: Sequence[float], parameters: Parameters = DEFAULTS) -> bool:
    """Say whether the last moving averages of the figures spread no more than is tolerated.

    Source: the draft: the standard deviation of the last MAD moving averages within SDT of the last of them. That it
    is the population's deviation is our reading.
    """
    if len(figures) < parameters.intervals:
        return False
    last = moving_averages(figures, parameters.intervals)[-parameters.intervals :]
    return pstdev(last) <= parameters.tolerance * last[-1]


def confidence(figures: Sequence[float], parameters: Parameters = DEFAULTS) -> Confidence:
    """Return how far a test's result can be relied on, from the figure of each of its intervals."""
    if len(figures) < parameters.intervals:
        return Confidence.LOW
    return Confidence.HIGH if stable(figures, parameters) else Confidence.MEDIUM
