"""Data budget: what watching has used of a month, and how a budget binds what is to come.

Watching goes before testing. What an uplink may use in a month is first kept for watching it to the month's end, and
only what is left over is for speed tests, which are spread over the month. Where even watching would pass the budget,
the uplink is asked sparingly from the day on from which that just fits: a line that nobody watches could not be vouched
for at all.

Source: the rules are ours, with no published source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Self

from wanwatch.core.model import Json, Role


class Purpose(StrEnum):
    """What data was used for: a question's role, or else."""

    LINE = Role.LINE.value
    FIRST_HOP = Role.FIRST_HOP.value
    NAMES = Role.NAMES.value
    EGRESS = Role.EGRESS.value
    TRAFFIC = Role.TRAFFIC.value
    """All that is asked along the path of ordinary traffic, while the uplink carries it."""
    INSPECTION = "inspection"
    """Inspections of resolvers."""
    ROUTE = "route"
    """Traces of the routers on the way."""
    SPEED = "speed"
    """Speed tests."""
    NOTICES = "notices"
    """What people and webhooks are told."""
    PING = "ping"
    """Signs of life."""
    RECORD = "record"
    """The record, to those who take it."""
    UNWRITTEN = "unwritten"
    """The most that a daemon which was killed may have used since it last wrote."""


_COUNTS: Final = "counts"
_AHEAD: Final = "ahead"


class DataUse(dict[str, dict[Purpose, int]]):
    """Bytes of one month, by uplink and purpose."""

    def count(self, uplink: str, purpose: Purpose, number: int) -> None:
        """Add *number* bytes."""
        mine = self.setdefault(uplink, {})
        mine[purpose] = mine.get(purpose, 0) + number

    def of(self, uplink: str) -> int:
        """Return all that *uplink* has used."""
        return sum(self.get(uplink, {}).values())

    def to_json(self, ahead: Mapping[str, int]) -> Json:
        """Return it as JSON values, with the most that each uplink may use *ahead*, until it is written again."""
        counts: Json = {
            name: {purpose.value: number for purpose, number in mine.items()} for name, mine in self.items()
        }
        return {_COUNTS: counts, _AHEAD: dict(ahead)}

    @classmethod
    def from_json(cls, value: Json) -> Self:
        """Return what was written, and count what was ahead then; whatever cannot have been written is left out."""
        use, known = cls(), set(Purpose)
        for uplink, mine in _table(value, _COUNTS).items():
            for name, number in mine.items() if isinstance(mine, Mapping) else ():
                if name in known and isinstance(number, int):
                    use.count(uplink, Purpose(name), number)
        for uplink, number in _table(value, _AHEAD).items():
            if isinstance(number, int) and number > 0:
                use.count(uplink, Purpose.UNWRITTEN, number)
        return use


def data_key(year: int, month: int) -> str:
    """Return the key under which the record keeps a month's data use."""
    return f"data {year:04d}-{month:02d}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """A month as it stands for one uplink with a budget, in bytes.

    Attributes:
        budget: The most that may be used.
        watched: What watching has used.
        tested: What speed tests have used; the most that one may use while it runs.
        ahead: What watching at the usual pace will use until the month ends.
        ahead_sparingly: Likewise, at the sparing pace.
        passed: Share of the month that has passed.
    """

    budget: int
    watched: int
    tested: int
    ahead: int
    ahead_sparingly: int
    passed: float

    def sparing(self, *, before: bool) -> bool:
        """Return whether to ask sparingly, which was so *before*: from when on it has to be, until it need not be."""
        used = self.watched + self.tested
        if used + self.ahead_sparingly >= self.budget:
            return True
        return before and used + self.ahead > self.budget

    def left_for_tests(self) -> int:
        """Return how many bytes tests may use by now: their share of the month, less what they have used."""
        for_tests = self.budget - self.watched - self.ahead
        return max(0, int(for_tests * self.passed) - self.tested)


def _table(value: Json, key: str) -> Mapping[str, Json]:
    found = value.get(key) if isinstance(value, Mapping) else None
    return found if isinstance(found, Mapping) else {}
