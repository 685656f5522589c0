"""Lines: which uplinks work at this moment, best first, and how the daemon's own connections leave by one of them."""

import socket
from collections.abc import Callable
from typing import Any

from wanwatch.config import Config
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import Pin, State
from wanwatch.measure.sockets import open_pinned
from wanwatch.publish.remote_write import Way


class Lines:
    """The ways out, for what the daemon itself has to send.

    Args:
        judge: Who knows how each uplink is, and who carries; None before there is one.
    """

    def __init__(self, judge: Callable[[], SiteJudge | None]) -> None:
        self._judge = judge
        self._pins: dict[str, Pin] = {}

    def follow(self, config: Config) -> None:
        """Know the uplinks of this configuration from now on."""
        self._pins = {uplink.name: uplink.pin for uplink in config.uplinks}

    def working(self) -> list[str]:
        """Return the uplinks to try: those that are up before those that are impaired, of these the carrying first."""
        judge = self._judge()
        if judge is None:
            return []
        found: list[str] = []
        for wanted in (State.UP, State.IMPAIRED):
            fit = [name for name in self._pins if name in judge.states and judge.states[name].state is wanted]
            found += sorted(fit, key=lambda name: name not in judge.carrying.carriers)
        return found

    def by(self, uplink: str) -> Way:
        """Return how a socket is made that leaves by this uplink."""
        return opened_by(self._pins[uplink])

    def best(self) -> Way | None:
        """Return how a socket is made that leaves by the first of the working ones; None if there is none."""
        return next((self.by(name) for name in self.working()), None)


def opened_by(pin: Pin) -> Way:
    """Return how a socket with this pin is made; an empty pin leaves it to the machine's routes."""

    def opened(address: Any) -> socket.socket:
        family, kind, protocol, *_ = address
        return open_pinned(pin, family, kind, protocol)

    return opened
