"""Model: values that all rooms share.

Two clocks, never mixed: a name that ends in `_ns` is monotonic nanoseconds and measures durations; a name that ends
in `_unix_ns` is the wall clock, nanoseconds since 1970-01-01 UTC, and says when.

In:       nothing; values are made by whoever knows them.
Out:      frozen values: questions, samples and other observations, events, effects.
Imports:  wanwatch.core.resolver, wanwatch.core.way, and the pure parts of the standard library.
"""

from wanwatch.core.model.asking import UNPINNED, Kind, Pin, Question, Role, Series
from wanwatch.core.model.effect import (
    CarryingChanged,
    Effect,
    JudgeSettings,
    Learnt,
    Pace,
    PinChanged,
    Promised,
    StateChanged,
    Tell,
)
from wanwatch.core.model.event import SWITCHES, Bounds, Domain, Event, EventKind, State
from wanwatch.core.model.measurement import Measurement, MeasurementKind
from wanwatch.core.model.seen import (
    Afterword,
    Cause,
    LinkSeen,
    Observation,
    Outcome,
    PinsSeen,
    RouteSeen,
    Sample,
    SpeedSeen,
)
from wanwatch.core.model.units import NS_PER_S, Json, Span

__all__ = [
    "NS_PER_S",
    "SWITCHES",
    "UNPINNED",
    "Afterword",
    "Bounds",
    "CarryingChanged",
    "Cause",
    "Domain",
    "Effect",
    "Event",
    "EventKind",
    "Json",
    "JudgeSettings",
    "Kind",
    "Learnt",
    "LinkSeen",
    "Measurement",
    "MeasurementKind",
    "Observation",
    "Outcome",
    "Pace",
    "Pin",
    "PinChanged",
    "PinsSeen",
    "Promised",
    "Question",
    "Role",
    "RouteSeen",
    "Sample",
    "Series",
    "Span",
    "SpeedSeen",
    "State",
    "StateChanged",
    "Tell",
]
