"""Packets of the helper process: built and read by scapy, which nothing else of the program loads.

Sources:     RFC 792, 768, 9293, 4443 (probes and errors); RFC 1191 section 4 and RFC 4443 section 3.2 (the next hop's
             MTU); RFC 2516 (PPPoE discovery); RFC 2131, 2132 (DHCP).
Departures:  none. The probes of one trace have a constant flow identifier: routers that balance load by ports, or by
             type, code, identifier and checksum of ICMP, send all of them one way. What tells them apart lies
             elsewhere: the sequence number of an echo, made up for in its data; the length of a UDP datagram; the
             sequence number of a TCP segment. All of it is within the 8 octets that an error quotes at least.
"""

import struct
from enum import Enum
from typing import Any, Final, NamedTuple

from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import ICMP, IP, TCP, UDP, IPerror
from scapy.layers.inet6 import (
    ICMPv6DestUnreach,
    ICMPv6EchoReply,
    ICMPv6EchoRequest,
    ICMPv6PacketTooBig,
    ICMPv6TimeExceeded,
    IPerror6,
    IPv6,
)
from scapy.layers.l2 import Ether
from scapy.layers.ppp import PPPoED
from scapy.packet import Packet, Raw

from wanwatch.measure.route.protocol import Dhcp, Method, Pppoe

V4, V6 = 4, 6
_UDP_BYTES: Final = 12
"""Data of the first UDP probe; each further one has an octet more."""
_BROADCAST: Final = "ff:ff:ff:ff:ff:ff"
_PADI, _PADO = 0x09, 0x07
_SERVICE_NAME, _AC_NAME, _HOST_UNIQ = 0x0101, 0x0102, 0x0103


class Word(Enum):
    """What came back."""

    EXPIRED = "expired"  # a router: the time to live ran out here
    TOO_BIG = "too-big"
    UNREACHABLE = "unreachable"
    REPLY = "reply"  # the target itself


class Read(NamedTuple):
    """What came back for one of our probes.

    Attributes:
        word: What it says.
        method: The kind of probe that it is about.
        target: Where that probe was bound for.
        key: What tells that probe from its kin, as `key` returns it.
        mtu: The MTU that a too-big names; 0 if none.
    """

    word: Word
    method: Method
    target: str
    key: int
    mtu: int = 0


def build(method: Method, version: int, source: str, target: str, ports: tuple[int, int], number: int) -> bytes:
    """Return a probe without its IP header; *number* (0 to 255) tells it from its kin.

    The first of *ports* is our own, and the identifier of an echo.
    """
    return bytes(_ip(version, source, target) / _probe(method, version, ports, number))[40 if version == V6 else 20 :]


def key(method: Method, number: int) -> int:
    """Return what an answer to probe *number* is known by."""
    return {Method.ICMP: number, Method.UDP: 8 + _UDP_BYTES + number, Method.TCP: _sequence(number)}[method]


def echo(version: int, flow: int, number: int, size: int) -> bytes:
    """Return an echo request of *flow* that fills an IP packet of *size* bytes, without the IP header."""
    header = 40 if version == V6 else 20
    source = "::" if version == V6 else "0.0.0.0"  # no part of the checksum: the kernel makes that of version 6
    probe = build(Method.ICMP, version, source, source, (flow, 0), number)
    return probe + bytes(size - header - len(probe))


def _probe(method: Method, version: int, ports: tuple[int, int], number: int) -> Packet:
    if method is Method.UDP:
        return UDP(sport=ports[0], dport=ports[1]) / Raw(bytes(_UDP_BYTES + number))
    if method is Method.TCP:
        return TCP(sport=ports[0], dport=ports[1], flags="S", seq=_sequence(number), window=1024)
    data = (0xFFFF - number).to_bytes(2, "big")  # keeps the checksum the same, whatever the sequence
    if version == V6:
        return ICMPv6EchoRequest(id=ports[0], seq=number, data=data)
    return ICMP(type="echo-request", id=ports[0], seq=number) / Raw(data)


def _sequence(number: int) -> int:
    return (number + 1) << 16


def _ip(version: int, source: str, target: str) -> Packet:
    return IPv6(src=source, dst=target) if version == V6 else IP(src=source, dst=target)


def read_icmp(version: int, packet: bytes, sender: str, flow: int) -> Read | None:
    """Read what a raw ICMP socket received from *sender*; None if it is about no probe of this *flow*."""
    return _read6(packet, sender, flow) if version == V6 else _read4(packet, sender, flow)


def _dissect(kind: type, octets: bytes) -> Any:
    """Let scapy read *octets*; what it cannot read holds no layer at all."""
    try:
        return kind(octets)
    except Exception:  # noqa: BLE001 - its readers raise whatever they stumble over, and anybody can send us anything
        return Packet()


def _read4(packet: bytes, sender: str, flow: int) -> Read | None:
    got = _dissect(IP, packet)
    if ICMP not in got:
        return None
    icmp = got[ICMP]
    if icmp.type == 0:
        return Read(Word.REPLY, Method.ICMP, sender, icmp.seq) if icmp.id == flow else None
    if IPerror not in icmp:
        return None
    word = Word.EXPIRED if icmp.type == 11 else Word.TOO_BIG if (icmp.type, icmp.code) == (3, 4) else Word.UNREACHABLE  # noqa: PLR2004 - RFC 792
    inner = icmp[IPerror]
    octets = inner.original[4 * inner.ihl :]
    return _quoted(word, inner.dst, inner.proto, octets, flow, icmp.nexthopmtu if word is Word.TOO_BIG else 0)


def _read6(packet: bytes, sender: str, flow: int) -> Read | None:
    kinds: dict[int, Any] = {1: ICMPv6DestUnreach, 2: ICMPv6PacketTooBig, 3: ICMPv6TimeExceeded, 129: ICMPv6EchoReply}
    icmp = _dissect(kinds.get(packet[0], Packet) if packet else Packet, packet)
    if ICMPv6EchoReply in icmp:
        return Read(Word.REPLY, Method.ICMP, sender, icmp.seq) if icmp.id == flow else None
    if IPerror6 not in icmp:
        return None
    word = {1: Word.UNREACHABLE, 2: Word.TOO_BIG, 3: Word.EXPIRED}[icmp.type]
    inner = icmp[IPerror6]
    return _quoted(word, inner.dst, inner.nh, inner.original[40:], flow, icmp.mtu if word is Word.TOO_BIG else 0)


def _quoted(word: Word, target: str, protocol: int, octets: bytes, flow: int, mtu: int) -> Read | None:
    """Read which probe an error is about, from the 8 octets of it that are quoted at least."""
    if len(octets) < 8:  # noqa: PLR2004 - RFC 792
        return None
    first, _, third, fourth = struct.unpack_from("!HHHH", octets)
    match protocol:
        case 17:
            return Read(word, Method.UDP, target, third, mtu)
        case 6:
            return Read(word, Method.TCP, target, third << 16 | fourth, mtu)
        case 1 | 58 if third == flow and first >> 8 in (8, 128):
            return Read(word, Method.ICMP, target, fourth, mtu)
        case _:
            return None


def read_tcp(version: int, packet: bytes, sender: str, ports: tuple[int, int]) -> Read | None:
    """Read what a raw TCP socket received from *sender*: an answer to our SYN, be it a SYN or a reset."""
    got = _dissect(TCP if version == V6 else IP, packet)
    if TCP not in got or (got[TCP].dport, got[TCP].sport) != ports:
        return None
    return Read(Word.REPLY, Method.TCP, sender, got[TCP].ack - 1)


def padi(mac: str, ours: bytes) -> bytes:
    """Return the frame that asks for any service by PPPoE (RFC 2516 section 5.1); *ours* comes back in the offer."""
    tags = _tag(_SERVICE_NAME, b"") + _tag(_HOST_UNIQ, ours)
    return bytes(Ether(src=mac, dst=_BROADCAST, type=0x8863) / PPPoED(code=_PADI, len=len(tags)) / Raw(tags))


def _tag(kind: int, value: bytes) -> bytes:
    return kind.to_bytes(2, "big") + len(value).to_bytes(2, "big") + value


def read_pado(frame: bytes, ours: bytes) -> Pppoe | None:
    """Read an offer (RFC 2516 section 5.2) that answers *ours*; None if the frame is none."""
    got = _dissect(Ether, frame)
    if PPPoED not in got or got[PPPoED].code != _PADO:
        return None
    tags = _tags(bytes(got[PPPoED].payload)[: got[PPPoED].len or None])
    if (_HOST_UNIQ, ours) not in tags:
        return None
    name = next((value.decode(errors="replace") for kind, value in tags if kind == _AC_NAME), "")
    services = tuple(value.decode(errors="replace") for kind, value in tags if kind == _SERVICE_NAME)
    return Pppoe(got.src, name, services)


def _tags(data: bytes) -> list[tuple[int, bytes]]:
    found = []
    while len(data) >= 4:  # noqa: PLR2004 - type and length, RFC 2516 section 4
        kind, length = int.from_bytes(data[:2], "big"), int.from_bytes(data[2:4], "big")
        found.append((kind, data[4 : 4 + length]))
        data = data[4 + length :]
    return found


def discover(mac: str, ours: int) -> bytes:
    """Return the frame that asks for offers of addresses (RFC 2131 section 4.4.1), with *ours* as transaction."""
    return bytes(
        Ether(src=mac, dst=_BROADCAST) / IP(src="0.0.0.0", dst="255.255.255.255") / UDP(sport=68, dport=67)
        / BOOTP(chaddr=bytes.fromhex(mac.replace(":", "")), xid=ours, flags=0x8000)
        / DHCP(options=[("message-type", "discover"), ("param_req_list", [1, 3, 6, 51]), "end"])
    )  # fmt: skip


def read_offer(frame: bytes, ours: int) -> Dhcp | None:
    """Read an offer to our transaction; None if the frame is none."""
    got = _dissect(Ether, frame)
    if DHCP not in got or got[BOOTP].xid != ours or got[BOOTP].op != 2:  # noqa: PLR2004 - a reply, RFC 2131 section 2
        return None
    said = {option[0]: option[1:] for option in got[DHCP].options if isinstance(option, tuple)}
    if said.get("message-type") != (2,):
        return None
    (server,) = said.get("server_id", (got[IP].src,))
    mask, lease = (said.get(name, (None,))[0] for name in ("subnet_mask", "lease_time"))
    routers, resolvers = (tuple(said.get(name, ())) for name in ("router", "name_server"))
    return Dhcp(server, got[BOOTP].yiaddr, mask, routers, resolvers, lease)
