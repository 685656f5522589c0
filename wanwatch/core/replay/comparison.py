"""Comparison: what was recorded, and what came of each setting, side by side."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wanwatch.core.instants import instant_text
from wanwatch.core.model import NS_PER_S, Event, JudgeSettings
from wanwatch.core.replay.ruled import Ruled
from wanwatch.core.replay.trial import Outcome

RECORDED: Final = "as recorded"
"""The row of the events that the daemon told at the time."""

_NOTES: Final = (
    "Probes were sent as the settings of then paced them, and are judged as this configuration asks them now.",
    "Where the clock was stepped or the daemon started, judging starts anew.",
    "Verdicts are of this time alone, as if it were the whole month.",
)
_UNSIGHTED: Final = (
    "The record does not hold what STUN servers and the kernel's route said: switches cannot be judged again."
)
_KEPT: Final = "since then the record holds what STUN servers and the kernel's route said"
_LATE_NS: Final = 60 * NS_PER_S
"""A STUN server has answered for the first time within so long."""


@dataclass(frozen=True, slots=True)
class Row:
    """One setting's name, its events, and the setting; None for what was recorded."""

    name: str
    events: tuple[Event, ...]
    settings: JudgeSettings | None = None
    ruled: tuple[Ruled, ...] = ()


def rows(recorded: Sequence[Event], tried: Sequence[tuple[str, JudgeSettings]], outcome: Outcome) -> list[Row]:
    """Put what was recorded and what each setting tried gave in one table; verdicts are added by whoever has them."""
    replayed = zip(tried, outcome.events, strict=True)
    return [Row(RECORDED, tuple(recorded)), *(Row(name, events, setting) for (name, setting), events in replayed)]


def notes(outcome: Outcome) -> list[str]:
    """Say what the table rests on, and what it cannot tell."""
    told = [f"{outcome.samples} samples were judged again.", *_NOTES]
    if outcome.hollow_minutes:
        told.append(
            f"Raw samples of {outcome.hollow_minutes} minutes of a series are no longer kept (site.keep_raw): they are"
            " judged as not observed."
        )
    since_ns = outcome.sighted_since_ns
    if since_ns is None:
        told.append(_UNSIGHTED)
    elif since_ns > outcome.span.start_unix_ns + _LATE_NS:
        told.append(f"Switches can be judged again from {instant_text(since_ns)} on only: {_KEPT}.")
    return told
