"""Screen: what a person reads while the test goes on. Where nobody watches, nothing is written."""

from collections.abc import Sequence
from typing import Final

from wanwatch.core.acceptance import PROGRAMME, Item, Progress, Step, Verdict
from wanwatch.drill import Screen as DrillScreen
from wanwatch.publish.terminal import Terminal, Tone

MARKS: Final = {
    Verdict.PASS: ("pass", Tone.GOOD),
    Verdict.FAIL: ("FAIL", Tone.BAD),
    Verdict.NOT_DECIDED: ("not decided", Tone.WARNING),
}
_MARK: Final = max(len(mark) for mark, _ in MARKS.values())
_TITLE: Final = 30
_BAR: Final = 24


class Screen:
    """Tells one test.

    Args:
        terminal: Where; None where nobody watches.
        columns: Its width.
    """

    def __init__(self, terminal: Terminal | None, columns: int) -> None:
        self._terminal, self._columns = terminal, columns
        self._step = ""

    def begin(self, site: str, uplink: str, progress: Progress) -> None:
        """Say what is tested, and how far an earlier call had come."""
        if self._terminal is None:
            return
        self._terminal.heading(f"Acceptance test of {uplink}, {site}")
        if progress.breaks:
            self._terminal.line(f"  Taken up again: {len(progress.done)} of {len(PROGRAMME)} steps were done already.")
        self._terminal.line()
        self.done(progress.items)

    def entered(self, step: Step) -> None:
        """Show which step is being done."""
        number = list(PROGRAMME).index(step) + 1
        self._step = f"  {number:2} of {len(PROGRAMME)}  {PROGRAMME[step][0]}"
        self.within(0.0, "")

    def within(self, done: float, seen: str) -> None:
        """Show how much of the step is done, and what is seen so far."""
        if self._terminal is not None:
            bar = "█" * round(done * _BAR)
            self._terminal.passing(f"{self._step}  {bar:·<{_BAR}}  {seen}")

    def done(self, items: Sequence[Item]) -> None:
        """Print what came of a step."""
        if self._terminal is None:
            return
        self._terminal.clear_status()
        for item in items:
            mark, tone = MARKS[item.verdict]
            title = f"{item.title}{f' ({item.of})' if item.of else ''}"
            room = max(20, self._columns - _MARK - 6 - max(_TITLE, len(title)))
            value = item.value if len(item.value) <= room else f"{item.value[: room - 1]}…"
            self._terminal.line(f"  {self._terminal.paint(mark.ljust(_MARK), tone)}  {title:<{_TITLE}}  {value}")

    def aside(self, text: str = "") -> None:
        """Make room for a question, or say something between the steps."""
        if self._terminal is not None:
            self._terminal.clear_status()
            if text:
                self._terminal.line(text)

    def of_drill(self) -> DrillScreen:
        """Return the screen of a drill within this test; only a person can agree to one, so there is a terminal."""
        assert self._terminal is not None  # noqa: S101 - nobody is led through a drill unseen
        self._terminal.clear_status()
        return DrillScreen(self._terminal, self._columns)
