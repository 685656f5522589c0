"""Months: what stands of a month beside others. Values only; `history` finds them."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Self

from wanwatch.core.model import Json
from wanwatch.report.verdicts import ClauseResult, Owed


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRow:
    """One line's month, beside others.

    Attributes:
        name: The line.
        availability: A ratio of the observed time; None where nothing was observed.
        low: If all unobserved time had been down.
        high: If it had been up.
        down_s: How long it was down.
        unobserved_s: How long nobody looked, or what has not come yet.
        outages: How many separate outages there were.
        p95_s: 95th percentile of delay by target; None where it is not known, or falls on unanswered probes.
        loss: Loss ratio by target.
        bps: Median of its speed tests, by direction.
        verdict: The worst of its clauses' verdicts; None without clauses.
        clauses: What became of each promise whose time ends with the month, or is judged so far while it runs.
        credits: What each contract owes.
    """

    name: str
    availability: float | None
    low: float | None
    high: float | None
    down_s: float
    unobserved_s: float
    outages: int
    p95_s: Mapping[str, float | None]
    loss: Mapping[str, float | None]
    bps: Mapping[str, float | None]
    verdict: str | None
    clauses: tuple[ClauseResult, ...] = ()
    credits: tuple[Owed, ...] = ()

    def to_json(self) -> Json:
        """Return its figures as JSON values, without clauses and credits."""
        told = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: value for name, value in told.items() if name not in {"clauses", "credits"}}


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthRow:
    """One month of a site, beside others."""

    name: str
    title: str
    running: bool
    lines: tuple[LineRow, ...]

    def line(self, name: str) -> LineRow | None:
        """Return one line's figures; None where the line was not there."""
        return next((line for line in self.lines if line.name == name), None)

    def with_delays_of(self, former: Self) -> Self:
        """Return the same with the percentiles that were known formerly and cannot be reckoned any more."""
        lines = tuple(
            replace(line, p95_s={t: _either(p95_s, before.p95_s.get(t)) for t, p95_s in line.p95_s.items()})
            if (before := former.line(line.name))
            else line
            for line in self.lines
        )
        return replace(self, lines=lines)

    def to_json(self) -> Json:
        """Return its figures as JSON values."""
        lines = [line.to_json() for line in self.lines]
        return {"name": self.name, "title": self.title, "running": self.running, "lines": lines}

    @classmethod
    def from_json(cls, told: Mapping[str, Any]) -> Self:
        """Return what `to_json` gave.

        Raises:
            TypeError, KeyError: It is something else.
        """
        lines = tuple(LineRow(**line) for line in told["lines"])
        return cls(**{**told, "lines": lines})


def _either(now: float | None, before: float | None) -> float | None:
    return before if now is None else now
