"""A STUN server that answers Binding requests.

Sources:     RFC 8489 sections 6.3 (answers) and 7 (no credentials are asked for), by wanwatch.core.wire.stun.
Departures:  a request shorter than its answer is not answered: a padded one has at least 32 octets (IPv4) or 44 (IPv6).
             Most clients send 20 and no more; `unpadded` answers those too, with up to 12 or 24 octets more than they
             sent.
"""

from ipaddress import IPv6Address, ip_address
from typing import Final

from wanwatch.core.wire import stun
from wanwatch.core.wire.malformed import Malformed
from wanwatch.reflector._socket import Datagram
from wanwatch.reflector._udp import UdpServer

_SUCCESS_BYTES: Final = 44
"""The longest success response without a fingerprint: an IPv6 address in it."""


def plain(address: str) -> str:
    """Return *address* as the asker knows it: without scope, and an IPv4 address that came mapped as itself."""
    ip = ip_address(address.partition("%")[0])
    return str(ip.ipv4_mapped or ip) if isinstance(ip, IPv6Address) else str(ip)


def answer(request: bytes, seen: stun.Mapped, room_bytes: int) -> bytes | None:
    """Return the answer to a Binding request that was *seen* to come from there; None if *request* is none."""
    asked = stun.parse(request)
    if isinstance(asked, Malformed) or asked.kind != stun.REQUEST:
        return None
    if unknown := stun.not_understood(asked):
        return stun.build_unknown_attributes(asked.transaction, unknown)
    return stun.build_success(asked.transaction, seen, room_bytes=room_bytes)


class StunServer(UdpServer):
    """Answers STUN Binding requests.

    Args:
        address: As in `UdpServer`.
        port: Likewise.
        unpadded: Also answer requests that are shorter than their answer.
        per_s: As in `UdpServer`.
        burst: Likewise.
    """

    def __init__(
        self, address: str, port: int = stun.PORT, *, unpadded: bool = False, per_s: float = 20.0, burst: int = 100
    ) -> None:
        super().__init__(address, port, per_s=per_s, burst=burst)
        self.least_bytes = _SUCCESS_BYTES if unpadded else 0

    def reply(self, datagram: Datagram) -> bytes | None:
        """Return the answer to a Binding request."""
        seen = stun.Mapped(plain(datagram.peer[0]), datagram.peer[1])
        return answer(datagram.data, seen, len(datagram.data))
