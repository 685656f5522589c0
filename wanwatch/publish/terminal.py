"""A terminal that somebody watches: who says what at which second. Colour only helps; nothing is told by it alone."""

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final, TextIO

from wanwatch.core.model import State

_INDENT: Final = 18  # seconds, gap, speaker, gap
_NARROW, _WIDE = 60, 100


class Tone(Enum):
    """How a word is set, as an SGR parameter (ECMA-48); all are readable on dark and on light."""

    PLAIN = ""
    FAINT = "2"
    STRONG = "1"
    GOOD = "32"
    WARNING = "33"
    BAD = "31"
    OURS = "36"


STATE_TONES: Final[Mapping[State, Tone]] = {
    State.UP: Tone.GOOD,
    State.IMPAIRED: Tone.WARNING,
    State.DOWN: Tone.BAD,
    State.UNOBSERVED: Tone.FAINT,
}


@dataclass(frozen=True, slots=True)
class Speaker:
    """Who says something: a word in its tone, and the tone of what is said."""

    name: str
    tone: Tone
    says_in: Tone


WANWATCH: Final = Speaker("wanwatch", Tone.OURS, Tone.PLAIN)


class Terminal:
    """Print to *out*; a status line stands below all else where it is a terminal.

    Args:
        out: Where to print.
        environ: NO_COLOR (https://no-color.org) takes the colours away; TERM=dumb the status line too.
        columns: The terminal's width.
    """

    def __init__(self, out: TextIO, environ: Mapping[str, str], columns: int) -> None:
        self._out = out
        self._live = out.isatty() and environ.get("TERM") != "dumb"
        self._colour = self._live and not environ.get("NO_COLOR")
        self._columns = columns
        self._width = max(_NARROW, min(_WIDE, columns))

    def paint(self, text: str, tone: Tone) -> str:
        """Return *text* in *tone*, or as it is where there are no colours."""
        return f"\x1b[{tone.value}m{text}\x1b[0m" if self._colour and tone.value else text

    def line(self, text: str = "") -> None:
        """Print one line, as it is."""
        self._out.write(f"{self._erase()}{text}\n")
        self._out.flush()

    def heading(self, text: str) -> None:
        """Print what stands above the lines that follow."""
        self.line()
        self.line(self.paint(text, Tone.STRONG))

    def say(self, at_s: float, speaker: Speaker, text: str, tone: Tone | None = None) -> None:
        """Print what *speaker* says at second *at_s*, folded to the width."""
        head = f"{at_s:6.1f}  {self.paint(f'{speaker.name:<8}', speaker.tone)}  "
        first, *rest = textwrap.wrap(text, self._width - _INDENT) or [""]
        shown = speaker.says_in if tone is None else tone
        self.line(head + self.paint(first, shown))
        for more in rest:
            self.line(" " * _INDENT + self.paint(more, shown))

    def status(self, at_s: float, states: Mapping[str, State], carrying: str) -> None:
        """Show how things stand on the status line; nothing where there is none."""
        if not self._live:
            return
        words = [f"{name} {state.value}" for name, state in states.items()]
        if len("   ".join([*words, carrying])) + _INDENT > self._columns:
            return  # a line that wraps cannot be taken back
        painted = [self.paint(word, STATE_TONES[state]) for word, state in zip(words, states.values(), strict=True)]
        told = "   ".join([*painted, carrying])
        label = self.paint(f"{'now':<8}", Tone.FAINT)
        self._out.write(f"{self._erase()}{at_s:6.1f}  {label}  {told}")
        self._out.flush()

    def passing(self, text: str) -> None:
        """Show *text* on the status line, cut to the width; nothing where there is none."""
        if self._live:
            self._out.write(f"{self._erase()}{text[: self._columns - 1]}")
            self._out.flush()

    def clear_status(self) -> None:
        """Take the status line away."""
        self._out.write(self._erase())
        self._out.flush()

    def _erase(self) -> str:
        return "\r\x1b[K" if self._live else ""
