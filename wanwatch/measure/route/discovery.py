"""Hand tests of a handed-over port: who offers PPPoE or addresses there. Offers are read, and none is taken."""

import os
import select
import socket
import struct
import time
from collections.abc import Callable, Iterator
from fcntl import ioctl
from typing import Final, TypeVar

from wanwatch.core.model import NS_PER_S
from wanwatch.measure.route import packets
from wanwatch.measure.route.protocol import FindDhcp, FindPppoe, Offers

_ETH_IP: Final = 0x0800
_ETH_PPPOE_DISCOVERY: Final = 0x8863
_GET_MAC: Final = 0x8927
"""SIOCGIFHWADDR, netdevice(7)."""
_FRAME_BYTES: Final = 65_535
_Offer = TypeVar("_Offer")


def find_pppoe(question: FindPppoe) -> Offers:
    """Ask once for PPPoE (RFC 2516 section 5) and gather the offers. Raises OSError if it cannot be asked."""
    ours = os.urandom(8)
    return Offers(
        pppoe=_gather(
            question.interface, _ETH_PPPOE_DISCOVERY, question.wait_ns,
            lambda mac: packets.padi(mac, ours), lambda frame: packets.read_pado(frame, ours),
        )
    )  # fmt: skip


def find_dhcp(question: FindDhcp) -> Offers:
    """Ask once for addresses (RFC 2131 section 3.1) and gather the offers. Raises OSError if it cannot be asked."""
    ours = int.from_bytes(os.urandom(4), "big")
    return Offers(
        dhcp=_gather(
            question.interface, _ETH_IP, question.wait_ns,
            lambda mac: packets.discover(mac, ours), lambda frame: packets.read_offer(frame, ours),
        )
    )  # fmt: skip


def _gather(
    interface: str, protocol: int, wait_ns: int, question: Callable[[str], bytes],
    read: Callable[[bytes], _Offer | None],
) -> tuple[_Offer, ...]:  # fmt: skip
    with socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(protocol)) as sock:
        sock.bind((interface, protocol))
        mac = struct.unpack_from("6s", ioctl(sock, _GET_MAC, struct.pack("256s", interface.encode()[:15])), 18)[0]
        sock.send(question(mac.hex(":")))
        offers = (read(frame) for frame in _frames(sock, time.monotonic_ns() + wait_ns))
        # One that is repeated, as across a bridged pair of ports, is still one offer.
        return tuple(dict.fromkeys(offer for offer in offers if offer is not None))


def _frames(sock: socket.socket, until_ns: int) -> Iterator[bytes]:
    while (left_ns := until_ns - time.monotonic_ns()) > 0:
        ready, _, _ = select.select([sock], [], [], left_ns / NS_PER_S)
        if ready:
            yield sock.recv(_FRAME_BYTES)
