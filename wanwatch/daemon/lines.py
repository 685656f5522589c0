"""Lines: which uplinks work at this moment, best first, and how the daemon's own connections leave by one of them."""

import asyncio
import socket
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, Final

from wanwatch.config import Config
from wanwatch.config.datause import look_up_bytes
from wanwatch.config.places import resolver
from wanwatch.config.plan import ca_file
from wanwatch.config.uplink import Uplink
from wanwatch.core.databudget import Purpose
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import UNPINNED, Pin, State
from wanwatch.core.ports import Clock
from wanwatch.measure import resolvers
from wanwatch.measure.counted import Counted
from wanwatch.measure.sockets import families, open_pinned
from wanwatch.publish.ways import Line, Way

_EACH_RESOLVER_S: Final = 3.0


class Lines:
    """The ways out, for what the daemon itself has to send.

    Args:
        clock: Where time comes from.
        judge: Who knows how each uplink is, and who carries; None before there is one.
        count: Called with uplink, purpose and number of bytes, of what went over a line.
    """

    def __init__(
        self, clock: Clock, judge: Callable[[], SiteJudge | None], count: Callable[[str, Purpose, int], None]
    ) -> None:
        self._clock, self._judge, self._count = clock, judge, count
        self._by_name: dict[str, Callable[[Callable[[int], None]], Line]] = {}

    def follow(self, config: Config) -> None:
        """Know the uplinks of this configuration from now on."""
        self._by_name = {uplink.name: partial(_line, uplink, ca_file(config), self._clock) for uplink in config.uplinks}

    def working(self, purpose: Purpose) -> list[Line]:
        """Return the uplinks to try: those that are up before those that are impaired, of these the carrying first."""
        return self._standing(purpose, State.UP, State.IMPAIRED)

    def not_down(self, purpose: Purpose) -> list[Line]:
        """Return the working ones, and at the end those of which nobody knows how they are.

        What says that nobody sees a line must not wait until somebody does.
        """
        return self._standing(purpose, State.UP, State.IMPAIRED, State.UNOBSERVED)

    def best(self, purpose: Purpose) -> Line | None:
        """Return the first of the working ones; None if there is none."""
        return next(iter(self.working(purpose)), None)

    def any(self, purpose: Purpose) -> Line:
        """Return the way that this machine's own routes and resolver take."""
        return Line("any", _opened_by(Pin(), partial(self._count, UNPINNED, purpose)), _asks_this_machine)

    def _standing(self, purpose: Purpose, *wanted: State) -> list[Line]:
        judge = self._judge()
        if judge is None:
            return []
        found: list[str] = []
        for state in wanted:
            fit = [name for name in self._by_name if name in judge.states and judge.states[name].state is state]
            found += sorted(fit, key=lambda name: name not in judge.carrying.carriers)
        return [self._by_name[name](partial(self._count, name, purpose)) for name in found]


def _line(uplink: Uplink, trusted: str | None, clock: Clock, count: Callable[[int], None]) -> Line:
    ways = [resolvers.Way(uplink.pin, resolver(written), clock, trusted) for written in uplink.resolvers]
    wanted = families(uplink.pin)

    async def look_up(host: str) -> Sequence[str]:
        def asks(way: resolvers.Way) -> None:
            count(look_up_bytes(host, way.resolver, len(wanted)))

        found = await resolvers.look_up(ways, host, _EACH_RESOLVER_S, wanted, asks)
        # A mail server of the office itself is known to its own resolver only.
        return found or await _asks_this_machine(host)

    return Line(uplink.name, _opened_by(uplink.pin, count), look_up)


def _opened_by(pin: Pin, count: Callable[[int], None]) -> Way:
    def opened(address: Any) -> socket.socket:
        family, kind, protocol, *_ = address
        return Counted(open_pinned(pin, family, kind, protocol), count)

    return opened


async def _asks_this_machine(host: str) -> Sequence[str]:
    try:
        found = await asyncio.get_running_loop().getaddrinfo(host, None, type=socket.SOCK_STREAM)
    except OSError:
        return ()
    return [str(to[0]) for *_, to in found]
