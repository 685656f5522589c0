"""Tally: what the promises of the running month have come to so far, in a form that one process hands to another."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from wanwatch.core.model import Json


@dataclass(frozen=True, slots=True, kw_only=True)
class ClauseSoFar:
    """One promise.

    Attributes:
        uplink: The line that it is about.
        clause: Its name among those of the line's contract.
        value: The figure so far, in base units; None where nothing was seen, or where it has no end.
        met: Whether it is decided as met, or as breached; None while it is not.
        left_s: For availability, the seconds of downtime that are left, less than nothing where it is overdrawn.
    """

    uplink: str
    clause: str
    value: float | None
    met: bool | None
    left_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """All promises that are in force.

    Attributes:
        made_unix_ns: When it was made.
        until_unix_ns: The end of the month that it is about.
        clauses: What became of each promise.
        cpu_s: What its making took of a processor, in seconds; 0 where nobody has looked.
    """

    made_unix_ns: int
    until_unix_ns: int
    clauses: tuple[ClauseSoFar, ...]
    cpu_s: float = 0.0

    def to_json(self) -> Json:
        """Return it as JSON values."""
        return {
            "made_unix_ns": self.made_unix_ns,
            "until_unix_ns": self.until_unix_ns,
            "clauses": [{name: getattr(one, name) for name in ClauseSoFar.__slots__} for one in self.clauses],
            "cpu_s": self.cpu_s,
        }

    @staticmethod
    def from_json(told: Mapping[str, Any]) -> "Tally":
        """Return what `to_json` told.

        Raises:
            KeyError, TypeError: It is none.
        """
        return Tally(
            made_unix_ns=told["made_unix_ns"],
            until_unix_ns=told["until_unix_ns"],
            clauses=tuple(ClauseSoFar(**one) for one in told["clauses"]),
            cpu_s=told["cpu_s"],
        )
