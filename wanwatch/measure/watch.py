"""Witnesses on this machine: the kernel's route of unpinned traffic, and the links behind the pins.

Both look at every change that the kernel announces and once a second besides, and tell each time what they see.
"""

import asyncio
import socket
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from ipaddress import ip_address
from typing import Final

from wanwatch.core.model import LinkSeen, Observation, Pin, RouteSeen
from wanwatch.core.ports import Clock
from wanwatch.measure.netlink import Netlink, drain, open_changes

_EVERY_S: Final = 1.0
_SETTLE_S: Final = 0.01
"""One change announces itself in several messages; they are looked at together."""
LOOPBACK: Final = "lo"
SOMEWHERE: Final = "192.0.2.1"
"""Stands for the internet in questions to the kernel (RFC 5737: nobody's). Nothing is sent there."""


class _Watch(ABC):
    """Looks at every change and once a second, while there is something to look at.

    Args:
        clock: Where time comes from.
        tell: Called in the event loop with what is seen.
    """

    def __init__(self, clock: Clock, tell: Callable[[Observation], None]) -> None:
        self._clock = clock
        self._tell = tell
        self._netlink: Netlink | None = None
        self._changes: socket.socket | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._hurried = False
        self._changed_by: list[int] = []

    async def close(self) -> None:
        """Look no more, until something else is applied."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._changes is not None:
            asyncio.get_running_loop().remove_reader(self._changes.fileno())
            self._changes.close()
            self._changes = None
        if self._netlink is not None:
            self._netlink.close()
            self._netlink = None

    async def _restart(self, *, wanted: bool) -> None:
        """Look at once, and go on looking if *wanted*. OSError where the kernel has no routing netlink."""
        await self.close()
        if wanted:
            self._changes = open_changes()
            asyncio.get_running_loop().add_reader(self._changes.fileno(), self._hurry, self._changes)
            self._look_and_rest()

    @abstractmethod
    def _look(self, netlink: Netlink) -> None:
        """Look and tell."""

    def _hurry(self, changes: socket.socket) -> None:
        self._changed_by += drain(changes)
        if not self._hurried:
            self._hurried = True
            self._rest(_SETTLE_S)

    def _look_and_rest(self) -> None:
        self._hurried = False
        self._rest(_EVERY_S)
        try:
            if self._netlink is None:
                self._netlink = Netlink()
            self._look(self._netlink)
        except OSError:
            # No answer in time: nothing was seen, so nothing is told. A fresh socket has no stale answers in it.
            if self._netlink is not None:
                self._netlink.close()
                self._netlink = None

    def _rest(self, seconds: float) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._timer = asyncio.get_running_loop().call_later(seconds, self._look_and_rest)


class RouteWatch(_Watch):
    """Tells by which uplink the kernel would send unpinned traffic. Only for a machine that is itself the router.

    Args:
        clock: Where time comes from.
        tell: Called in the event loop with each `RouteSeen`; not while the route is none of the uplinks'.
    """

    def __init__(self, clock: Clock, tell: Callable[[Observation], None]) -> None:
        super().__init__(clock, tell)
        self._uplinks: dict[tuple[str, str | None], str] = {}
        self._toward = SOMEWHERE

    async def apply(self, uplinks: Mapping[tuple[str, str | None], str], *, toward: str = SOMEWHERE) -> None:
        """Watch the route *toward* an address, to which nothing is sent.

        Args:
            uplinks: The uplink of each interface and gateway; None for the gateway matches any on that interface. Each
                uplink must be found by one of them only, or the witness cannot tell them apart. Empty: do not watch.
            toward: An address that stands for the internet.
        """
        self._uplinks = dict(uplinks)
        self._toward = toward
        await self._restart(wanted=bool(uplinks))

    def _look(self, netlink: Netlink) -> None:
        route = netlink.route(self._toward)
        changed_by, self._changed_by = tuple(self._changed_by), []
        uplink = None
        if route is not None:
            interface = _name(route.oif)
            by_interface = self._uplinks.get((interface, None))
            uplink = self._uplinks.get((interface, route.gateway), by_interface)
            if uplink is None:
                return  # a way that is nobody's uplink: to say "no route" would be false
        self._tell(RouteSeen(self._clock.now_ns(), self._clock.now_unix_ns(), uplink, changed_by))


class LinkWatch(_Watch):
    """Tells of each uplink whether the interface behind its pin has carrier and an address.

    Args:
        clock: Where time comes from.
        tell: Called in the event loop with a `LinkSeen` for each uplink.
    """

    def __init__(self, clock: Clock, tell: Callable[[Observation], None]) -> None:
        super().__init__(clock, tell)
        self._uplinks: dict[str, Pin] = {}
        self._toward: dict[str, str] = {}
        self._last: dict[str, str] = {}

    async def apply(self, uplinks: Mapping[str, Pin], *, toward: Mapping[str, str] | None = None) -> None:
        """Watch the links of these *uplinks*, by name.

        Args:
            uplinks: The pin of each; empty: do not watch.
            toward: For pins by mark, DSCP or targets: an address that the uplink leads to, whose route's interface is
                watched; nothing is sent there.
        """
        self._uplinks = dict(uplinks)
        self._toward = dict(toward or {})
        await self._restart(wanted=bool(uplinks))

    def _look(self, netlink: Netlink) -> None:
        self._changed_by.clear()  # who changes routes is the other watch's affair
        links = {link.name: link for link in netlink.links()}
        names = {link.interface: link.name for link in links.values()}
        held = {address.address: names.get(address.interface, "") for address in netlink.addresses()}
        held |= {source: LOOPBACK for pin in self._uplinks.values() for source in pin.sources if _is_loopback(source)}
        now_ns, now_unix_ns = self._clock.now_ns(), self._clock.now_unix_ns()
        for uplink, pin in self._uplinks.items():
            # An address or a route that has gone leaves the interface that had it last.
            found = _interface(netlink, pin, self._toward.get(uplink, SOMEWHERE), held)
            interface = self._last[uplink] = found or self._last.get(uplink, "")
            link = links.get(interface)
            carrier, enabled = (link.carrier, link.enabled) if link is not None else (False, True)
            has_address = _has_address(pin, interface, held)
            self._tell(LinkSeen(now_ns, now_unix_ns, uplink, carrier, has_address, interface, enabled))


def _interface(netlink: Netlink, pin: Pin, toward: str, held: Mapping[str, str]) -> str:
    if pin.interface is not None:
        return pin.interface
    if pin.sources:
        return next((held[source] for source in pin.sources if source in held), "")
    route = netlink.route(toward, mark=pin.mark or 0, tos=(pin.dscp or 0) << 2)
    return _name(route.oif) if route is not None else ""


def _has_address(pin: Pin, interface: str, held: Mapping[str, str]) -> bool:
    """Tell whether an address is there to send from; link-local ones lead nowhere (RFC 4291 section 2.5.6)."""
    if pin.sources:
        return any(source in held for source in pin.sources)
    return any(holder == interface and not address.startswith("fe80:") for address, holder in held.items())


def _is_loopback(source: str) -> bool:
    """Tell whether an address is of 127.0.0.0/8: all are this machine (RFC 1122 section 3.2.1.3), and it lists one."""
    return ip_address(source).is_loopback


def _name(index: int) -> str:
    try:
        return socket.if_indextoname(index)
    except OSError:
        return ""
