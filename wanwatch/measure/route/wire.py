"""One pinned way to a target, for probes whose answers come as ICMP: raw sockets, and what they hear.

The kernel writes the IP header, so that interface, source, mark and DSCP hold for these probes as for all others.
Answers are taken from any interface: an error may come home another way than its probe went.
"""

import select
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack
from types import TracebackType
from typing import Final, NamedTuple, Self

from wanwatch.core.model import NS_PER_S, Pin
from wanwatch.measure.route import packets
from wanwatch.measure.route.protocol import Method
from wanwatch.measure.sockets import open_pinned, resolve

_PROTOCOLS: Final = {Method.UDP: socket.IPPROTO_UDP, Method.TCP: socket.IPPROTO_TCP}
_FLOWS: Final = 0x8000
"""Our ports, and the identifiers of our echoes, from here on.

They are the same in every run: were they others each time, load balancing would look like a change of route. Were it
one for all pins, a gateway that translates addresses would take the probes of two pins to one target for one flow, and
send both one way.
"""
_PACKET_BYTES: Final = 65_535


class Heard(NamedTuple):
    """An answer, who gave it, and when it came (monotonic)."""

    read: packets.Read
    sender: str
    at_ns: int


class Wire:
    """Sends numbered probes of one flow, and hears the answers. Use as a context manager.

    Args:
        pin: How they leave.
        target: Where to, an IP address.
        method: What they are.
        port: Destination port, for UDP and TCP.
        flow: Number of the flow.

    Attributes:
        version: 4 or 6.
        source: Our own address on this way.

    Raises:
        OSError: The sockets cannot be had, or there is no route.
    """

    def __init__(self, pin: Pin, target: str, method: Method, port: int = 0, flow: int = 0) -> None:
        self._method = method
        self._target = target
        self._ports = _FLOWS + flow, port
        family, self._to = resolve(target)
        self.version = packets.V6 if family == socket.AF_INET6 else packets.V4
        icmp = socket.IPPROTO_ICMPV6 if family == socket.AF_INET6 else socket.IPPROTO_ICMP
        self._owned = ExitStack()
        try:
            with open_pinned(pin, family, socket.SOCK_DGRAM) as trial:
                trial.connect(resolve(target, 1)[1])  # sends nothing: the kernel says which address of ours it takes
                self.source = trial.getsockname()[0].partition("%")[0]
            protocol = _PROTOCOLS.get(method, icmp)
            self._out = self._owned.enter_context(open_pinned(pin, family, socket.SOCK_RAW, protocol))
            self._in = self._owned.enter_context(socket.socket(family, socket.SOCK_RAW | socket.SOCK_NONBLOCK, icmp))
        except BaseException:
            self._owned.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._owned.close()

    def expire_after(self, hops: int) -> None:
        """Give what is sent from now on so many *hops* to live."""
        level, option = (
            (socket.IPPROTO_IPV6, socket.IPV6_UNICAST_HOPS)
            if self.version == packets.V6
            else (socket.IPPROTO_IP, socket.IP_TTL)
        )
        self._out.setsockopt(level, option, hops)

    def forbid_fragments(self) -> None:
        """Send whole or not at all, and past what the kernel remembers of the path (ip(7), ipv6(7): PMTUDISC_PROBE)."""
        probe, v4_discover, v6_discover, v6_dontfrag = 3, 10, 23, 62
        if self.version == packets.V6:
            self._out.setsockopt(socket.IPPROTO_IPV6, v6_discover, probe)
            self._out.setsockopt(socket.IPPROTO_IPV6, v6_dontfrag, 1)
        else:
            self._out.setsockopt(socket.IPPROTO_IP, v4_discover, probe)

    def send(self, number: int) -> int:
        """Send probe *number* and return when (monotonic)."""
        return self._send(packets.build(self._method, self.version, self.source, self._target, self._ports, number))

    def send_echo(self, number: int, size: int) -> int:
        """Send echo request *number* that fills an IP packet of *size* bytes, and return when (monotonic)."""
        return self._send(packets.echo(self.version, self._ports[0], number, size))

    def _send(self, packet: bytes) -> int:
        now_ns = time.monotonic_ns()
        self._out.sendto(packet, self._to)
        return now_ns

    def hear(self, until_ns: int) -> Iterator[Heard]:
        """Yield answers to this flow's probes until that instant (monotonic)."""
        while (left_ns := until_ns - time.monotonic_ns()) > 0:
            ready, _, _ = select.select([self._in, self._out], [], [], left_ns / NS_PER_S)
            for sock in ready:
                heard = self._read(sock)
                if heard is not None and heard.read.method is self._method and heard.read.target == self._target:
                    yield heard

    def _read(self, sock: socket.socket) -> Heard | None:
        try:
            packet, sender = sock.recvfrom(_PACKET_BYTES)
        except OSError:
            return None  # the kernel hands an error that came back to the socket as well
        address = sender[0].partition("%")[0]
        if sock is self._in:
            read = packets.read_icmp(self.version, packet, address, self._ports[0])
        elif self._method is Method.TCP:
            read = packets.read_tcp(self.version, packet, address, self._ports)
        else:
            return None  # the way out hears copies of what the ear hears
        return None if read is None else Heard(read, address, time.monotonic_ns())
