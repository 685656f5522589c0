"""Draws the state tables into DEVELOPERS.md: `python -m tests.draw_tables` writes what the test compares."""

from collections.abc import Iterable, Mapping
from enum import Enum
from pathlib import Path
from typing import Final

from wanwatch.core.drill.programme import TABLE, Word
from wanwatch.core.incident.pattern import CAUSES as INCIDENTS
from wanwatch.core.judge import carrying, flapping, line, pin, speed
from wanwatch.core.judge.hand import Hand
from wanwatch.core.judge.switch import CAUSES, VERDICTS, Way
from wanwatch.core.model import State
from wanwatch.core.notices.standing import Shows
from wanwatch.core.notices.wanted import TABLE as NOTICES

FILE: Final = Path(__file__).parents[1] / "DEVELOPERS.md"
BEGIN: Final = "<!-- drawn by python -m tests.draw_tables -->"
END: Final = "<!-- end of what is drawn -->"


def _grid(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    lines = [list(head), *map(list, rows)]
    widths = [max(len(row[column]) for row in lines) for column in range(len(lines[0]))]
    lines.insert(1, ["-" * width for width in widths])
    return "\n".join(
        f"| {' | '.join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))} |" for row in lines
    )


def _machine(transitions: Mapping[Enum, Mapping[Enum, Enum]]) -> str:
    """A row for each phase, a column for each signal; a dot where the machine stays as it is."""
    signals = list(next(iter(transitions.values())))
    rows = (
        [f"**{phase.value}**", *("·" if row[signal] is phase else str(row[signal].value) for signal in signals)]
        for phase, row in transitions.items()
    )
    return _grid(["", *(str(signal.value) for signal in signals)], rows)


def _verdicts() -> str:
    rows = ([f"**{state}**", *map(str, VERDICTS[state])] for state in State)
    return _grid(["", *(way.value for way in Way)], rows)


def _causes() -> str:
    heads = {
        Hand.NONE: "no hand seen",
        Hand.ROUTE: "route changed by hand",
        Hand.SWITCHED_OFF: "interface switched off",
    }
    rows = ([f"**{state}**", *CAUSES[state]] for state in State)
    return _grid(["", *(heads[hand] for hand in Hand)], rows)


def _incidents() -> str:
    rows = ([sign.value if sign else "whatever is left", f"**{cause}**"] for cause, sign in INCIDENTS)
    return _grid(["the first of these signs", "cause"], rows)


def _programme() -> str:
    """A row for each step of a drill that can be left, a column for each word."""
    rows = (
        [f"**{step.value}**", *(row[word].value if word in row else "·" for word in Word)]
        for step, row in TABLE.items()
        if row
    )
    return _grid(["", *(word.value for word in Word)], rows)


def _notices() -> str:
    rows = ([f"**{stage}**", *(row[shows] or "·" for shows in Shows)] for stage, row in NOTICES.items())
    return _grid(["", *Shows], rows)


def drawn() -> str:
    """What belongs between the markers."""
    return "\n\n".join(
        (
            "**A line**, its resolvers, and the path of ordinary traffic (`core/judge/line.py`):",
            _machine(line.TRANSITIONS),  # type: ignore[arg-type]  # each machine has enums of its own
            "**Who carries** ordinary traffic (`core/judge/carrying.py`):",
            _machine(carrying.TRANSITIONS),  # type: ignore[arg-type]
            "**Flapping**, of a line or of traffic (`core/judge/flapping.py`):",
            _machine(flapping.TRANSITIONS),  # type: ignore[arg-type]
            "**A pin** (`core/judge/pin.py`):",
            _machine(pin.TRANSITIONS),  # type: ignore[arg-type]
            "**The speed of a line**, in one direction (`core/judge/speed.py`):",
            _machine(speed.TRANSITIONS),  # type: ignore[arg-type]
            "**What a switch was**, by the state of the line that was left and the way taken (`core/judge/switch.py`):",
            _verdicts(),
            "**Why it was left**, by the same state and what the kernel shows of a hand (`core/judge/hand.py`):",
            _causes(),
            "**What an incident was**, by the signs that its events show (`core/incident/pattern.py`):",
            _incidents(),
            "**A drill**, step by step, by what is seen of the office (`core/drill/programme.py`):",
            _programme(),
            "**Which notice an address gets**, by what it was told and what there is (`core/notices/wanted.py`):",
            _notices(),
        )
    )


def parts(text: str) -> tuple[str, str, str]:
    """*text* before the first marker, between the two, and after the second."""
    before, _, rest = text.partition(f"{BEGIN}\n\n")
    between, _, after = rest.partition(f"\n\n{END}")
    return before, between, after


def main() -> None:
    """Draw them anew."""
    before, _, after = parts(FILE.read_text())
    FILE.write_text(f"{before}{BEGIN}\n\n{drawn()}\n\n{END}{after}")


if __name__ == "__main__":
    main()
