"""The stage: plays the story under the real daemon's eyes, and tells both as they happen."""

import asyncio
import time
from collections.abc import Sequence
from typing import Final

from wanwatch.core.model import CarryingChanged, Effect, Event, EventKind, State, StateChanged, Tell
from wanwatch.demo.comparison import ABOUT_US
from wanwatch.demo.office import LINES, QUIET
from wanwatch.demo.roads import Roads
from wanwatch.demo.story import Step
from wanwatch.demo.terminal import OFFICE
from wanwatch.publish import sentence
from wanwatch.publish.terminal import STATE_TONES, WANWATCH, Terminal, Tone

_STATUS_EVERY_S: Final = 0.25


class Stage:
    """One performance.

    Args:
        terminal: Where it is told.
        roads: What the story changes.

    Attributes:
        instants: When each step really happened (Unix nanoseconds), by name.
    """

    def __init__(self, terminal: Terminal, roads: Roads) -> None:
        self._terminal, self._roads = terminal, roads
        self._began_s = time.monotonic()
        self._states = {line.name: State.UNOBSERVED for line in LINES}
        self._carrying = CarryingChanged(None, known=False)
        self._told: dict[str, bool] = {}
        self.instants: dict[str, int] = {}

    def hear(self, effect: Effect) -> None:
        """Tell what the daemon concluded: states and traffic as they change, events as they begin and end."""
        match effect:
            case StateChanged(uplink, state):
                self._states[uplink] = state
                self._say(f"{uplink} is {state.value}", STATE_TONES[state])
            case CarryingChanged():
                self._carrying = effect
                self._say(f"traffic takes {self._carrier()}")
            case Tell(event) if self._is_news(event):
                self._say(sentence(event))

    async def play(self, story: Sequence[Step]) -> None:
        """Play the story to its end."""
        self._began_s = time.monotonic()
        scene = QUIET
        for step in story:
            await self._wait_until(step.at_s)
            scene = step.change(scene)
            self._roads.change(scene)
            self.instants[step.name] = time.time_ns()
            self._terminal.say(self._now_s(), OFFICE, step.told)
        self._terminal.clear_status()

    async def _wait_until(self, at_s: float) -> None:
        while (left_s := at_s - self._now_s()) > 0:
            self._terminal.status(self._now_s(), self._states, f"traffic takes {self._carrier()}")
            await asyncio.sleep(min(left_s, _STATUS_EVERY_S))

    def _now_s(self) -> float:
        return time.monotonic() - self._began_s

    def _say(self, text: str, tone: Tone | None = None) -> None:
        self._terminal.say(self._now_s(), WANWATCH, text, tone)

    def _carrier(self) -> str:
        if not self._carrying.known:
            return "a line that cannot be told"
        return " and ".join(self._carrying.carriers) or "no line"

    def _is_news(self, event: Event) -> bool:
        """An event is told again whenever more is known; its end is worth a line, and a start that no state shows."""
        ended = event.end is not None
        if self._told.get(event.id) == ended or event.kind in ABOUT_US:
            return False
        self._told[event.id] = ended
        return ended or event.kind not in (EventKind.OUTAGE, EventKind.IMPAIRMENT)
