"""Figures as JSON: exact ratios become floating-point numbers; what is unknown or without an end becomes null."""

import math
from typing import Final

from wanwatch.core.account.figures import Bounded, Figure
from wanwatch.core.model import Json

US_PER_S: Final = 1_000_000


def bounded(found: Bounded) -> Json:
    """Return a figure with its bounds."""
    return {"value": number(found.value), "low": number(found.low), "high": number(found.high)}


def number(figure: Figure | None, divisor: int = 1) -> float | None:
    """Return a figure over *divisor*; JSON has no infinity."""
    return None if figure is None or figure == math.inf else float(figure / divisor)
