"""Screen: what a person reads before, during and after a drill."""

import textwrap
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from wanwatch.core.drill import Answer, Drill, Step, Verdict, View, why_given_up
from wanwatch.core.drill.programme import OUT, Word
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, Event, State
from wanwatch.publish.terminal import STATE_TONES, WANWATCH, Speaker, Terminal, Tone

_YOU: Final = Speaker("you", Tone.STRONG, Tone.STRONG)
_CAUTIONS: Final = (
    (
        "It can cut off voice calls, alarm lines, lift telephones and EMERGENCY CALLS. Tell everybody first, and have "
        "a charged mobile phone at hand, by which help can be called."
    ),
    "Where the law, the landlord, the insurer or an alarm contract asks for notice or forbids it, that comes first.",
    (
        "Do not look into a fibre or a connector: the light is invisible. Touch nothing on the mains or up a ladder "
        "that you are not trained for; disabling the port at the gateway shows the same."
    ),
)
_MARKS: Final[Mapping[Verdict, tuple[str, Tone]]] = {
    Verdict.YES: ("yes", Tone.GOOD),
    Verdict.NO: ("NO", Tone.BAD),
    Verdict.MEASURED: ("measured", Tone.PLAIN),
    Verdict.NOT_MEASURED: ("not measured", Tone.WARNING),
}
_WIDE: Final = 100
_MARGIN: Final = 4


def _second(drill: Drill) -> str:
    return drill.second or "another line"


def _pull(drill: Drill) -> str:
    return f"Pull the plug of {drill.uplink} now, or disable its port at the gateway."


def _return(drill: Drill) -> str:
    return f"Plug {drill.uplink} back in now, or enable its port again."


def _settling(drill: Drill) -> str:
    if drill.passed[-1].word is Word.LATE:
        return f"Traffic has not come back to {drill.uplink} within {_length(drill.patience.back_ns)}."
    return f"Traffic is on {drill.uplink}. Waiting for the last words of the record."


_TOLD: Final[Mapping[Step, tuple[Speaker, Callable[[Drill], str]]]] = {
    Step.STEADY: (WANWATCH, lambda drill: f"Watching the steady state for {_length(drill.patience.steady_ns)}."),
    Step.PULL: (_YOU, _pull),
    Step.MOVING: (WANWATCH, lambda drill: f"{drill.uplink} is gone. Waiting for traffic to move."),
    Step.SECOND: (
        WANWATCH,
        lambda drill: (
            f"Traffic is on {_second(drill)}. Watching names and connections there for "
            f"{_length(drill.patience.stay_ns)}: use the office as you would."
        ),
    ),
    Step.RETURN: (_YOU, _return),
    Step.HOMING: (WANWATCH, lambda drill: f"{drill.uplink} is up again. Waiting for traffic to come back."),
    Step.SETTLING: (WANWATCH, _settling),
    Step.DONE: (WANWATCH, lambda _drill: "The drill is over."),
    Step.GIVEN_UP: (WANWATCH, lambda drill: f"The drill is given up: {why_given_up(drill)}."),
}
_WAITS: Final[Mapping[Step, Callable[[Drill], int]]] = {
    Step.STEADY: lambda drill: drill.patience.steady_ns,
    Step.PULL: lambda drill: drill.patience.hand_ns,
    Step.MOVING: lambda drill: drill.patience.move_ns,
    Step.SECOND: lambda drill: drill.patience.stay_ns,
    Step.RETURN: lambda drill: drill.patience.hand_ns,
    Step.HOMING: lambda drill: drill.patience.back_ns,
    Step.SETTLING: lambda drill: drill.patience.settle_ns,
}


class Screen:
    """Tells one drill.

    Args:
        terminal: Where.
        columns: Its width.
    """

    def __init__(self, terminal: Terminal, columns: int) -> None:
        self._terminal = terminal
        self._width = min(columns, _WIDE) - 1
        self._states: Mapping[str, State] = {}

    def before(self, site: str, uplink: str, others: Sequence[str]) -> None:
        """Say what will happen, and whom it may cut off."""
        self._terminal.heading(f"Failover drill of {uplink}, {site}")
        will = (
            f"You will pull the plug of {uplink}. Everything that the office does over it stops until the gateway "
            f"moves traffic to {' or '.join(others)}; if it does not, all of the office is offline until you plug "
            "it back in. When traffic comes back, connections may break once more."
        )
        for text in (will, *_CAUTIONS):
            self._item(text)
        self._terminal.line()

    def entered(self, drill: Drill) -> None:
        """Say that a step was entered."""
        speaker, says = _TOLD[drill.step]
        self._terminal.say(_at_s(drill, drill.passed[-1].view), speaker, says(drill))
        if drill.step is Step.GIVEN_UP and drill.passed[-2].step in OUT:
            back = f"If {drill.uplink} is unplugged or its port disabled: undo that now. Nobody is watching for you."
            self._terminal.say(_at_s(drill, drill.passed[-1].view), _YOU, back, Tone.BAD)

    def seen(self, drill: Drill, view: View) -> None:
        """Say which lines changed, and keep the status line."""
        at_s = _at_s(drill, view)
        for name, state in view.states.items():
            if self._states.get(name, state) is not state:
                self._terminal.say(at_s, WANWATCH, f"{name} is {state.value}", STATE_TONES[state])
        self._states = view.states or self._states
        self._terminal.status(at_s, view.states, self._waiting(drill, view))

    def result(self, event: Event, found: Sequence[Answer]) -> None:
        """Print the answers."""
        self._terminal.clear_status()
        self._terminal.heading("What it showed")
        head = max(len(mark) for mark, _ in _MARKS.values())
        for answer in found:
            mark, tone = _MARKS[answer.verdict]
            self._terminal.line(f"  {self._terminal.paint(mark.ljust(head), tone)}  {answer.question}")
            for line in textwrap.wrap(answer.says, self._width - head - _MARGIN):
                self._terminal.line(" " * (head + _MARGIN) + self._terminal.paint(line, Tone.FAINT))
        self._terminal.line()
        self._terminal.line(f"Kept as {event.id}")

    def _item(self, text: str) -> None:
        for number, line in enumerate(textwrap.wrap(text, self._width - _MARGIN)):
            self._terminal.line(("  - " if number == 0 else " " * _MARGIN) + line)

    def _waiting(self, drill: Drill, view: View) -> str:
        if not view.states:
            return "the daemon does not answer"
        carrier = (view.carrying or "no line") if view.known else "a line that cannot be told"
        allowed = _WAITS.get(drill.step)
        if allowed is None:
            return f"traffic takes {carrier}"
        left_ns = allowed(drill) - (view.at_ns - drill.passed[-1].view.at_ns)
        return f"traffic takes {carrier}   {max(0, left_ns) // NS_PER_S} s left"


def _at_s(drill: Drill, view: View) -> float:
    return (view.at_ns - drill.passed[0].view.at_ns) / NS_PER_S


def _length(length_ns: int) -> str:
    return duration(length_ns / NS_PER_S)
