"""Units: what every value is built of."""

from dataclasses import dataclass
from typing import Final, TypeAlias

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"


NS_PER_S: Final = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of wall-clock time, half open: `start <= t < end`."""

    start_unix_ns: int
    end_unix_ns: int

    @property
    def length_ns(self) -> int:
        """Its length in nanoseconds; never negative."""
        return max(0, self.end_unix_ns - self.start_unix_ns)
