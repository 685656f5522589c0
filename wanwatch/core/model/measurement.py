"""Measurement: what was measured on purpose, once, and not by watching."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from wanwatch.core.model.units import Json


class MeasurementKind(StrEnum):
    """What was measured."""

    SPEED = "speed"
    ACCEPTANCE = "acceptance"


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement of one uplink, whole; the same begin, uplink and kind told again replaces it.

    Attributes:
        at_unix_ns: When it began.
        uplink: Of which uplink.
        kind: What was measured.
        result: What came of it, JSON values only; the module that made it says what is in it.
    """

    at_unix_ns: int
    uplink: str
    kind: MeasurementKind
    result: Mapping[str, Json] = field(default_factory=dict)
