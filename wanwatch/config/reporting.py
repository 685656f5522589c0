"""The table of reports: how they reckon, and which are written by themselves."""

from dataclasses import replace
from fractions import Fraction
from typing import Annotated, Final, Literal, TypeAlias

from pydantic import BeforeValidator, Field, WithJsonSchema

from wanwatch.config import units
from wanwatch.config.fields import Share, Table, usually
from wanwatch.config.units import Unfit
from wanwatch.core.account.y1540 import EDITIONS, Edition
from wanwatch.core.model import NS_PER_S

_MINUTE_NS: Final = 60 * NS_PER_S
_MOST_MINUTES: Final = 60


def _interval(value: object) -> int:
    """Minute blocks are what there is to reckon with."""
    minutes, rest = divmod(units.duration(value), _MINUTE_NS)
    if rest or not 1 <= minutes <= _MOST_MINUTES:
        raise Unfit(reason="not whole minutes, or more than an hour", mend='write it such as "1m" or "5m"')
    return minutes


Interval: TypeAlias = Annotated[
    int, BeforeValidator(_interval), WithJsonSchema({"type": "string", "examples": ["1m", "5m"]})
]


class Report(Table):
    """How reports reckon, and which are written by themselves."""

    y1540: Literal[tuple(EDITIONS)] = "2016"  # type: ignore[valid-type]  # the names of the table
    """The edition of ITU-T Y.1540 for availability by intervals: `2002` (75% over 5 min) or `2016` (20% over 1 min)."""
    y1540_loss: Share | None = None
    """Its c1, if not the edition's: an interval is unavailable where more than this share was lost."""
    y1540_minutes: Interval | None = Field(default=None, alias="y1540_interval")
    """Its T_av, if not the edition's: whole minutes, at most an hour."""

    monthly: tuple[Literal["html", "pdf", "csv", "json"], ...] = usually(["html", "json"])
    """What is written of each month when it is over, into `reports` of the record's folder. `[]`: nothing."""

    @property
    def edition(self) -> Edition:
        """The numbers that availability by intervals is reckoned with."""
        edition = EDITIONS[self.y1540]
        if self.y1540_loss is not None:
            edition = replace(edition, c1=Fraction(self.y1540_loss))
        if self.y1540_minutes is not None:
            edition = replace(edition, minutes=self.y1540_minutes)
        return edition
