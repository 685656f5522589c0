"""The helper's packets: constant flow identifiers, and answers read back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import ICMP, IP, UDP
from scapy.layers.inet6 import ICMPv6PacketTooBig, ICMPv6TimeExceeded, IPv6
from scapy.layers.l2 import Ether
from scapy.layers.ppp import PPPoED
from scapy.packet import Raw

from wanwatch.core.wire import icmp
from wanwatch.measure.route import packets
from wanwatch.measure.route.packets import V4, V6, Read, Word
from wanwatch.measure.route.protocol import Dhcp, Method, Pppoe

OURS, FAR, ROUTER = {V4: "192.0.2.10", V6: "2001:db8::10"}, {V4: "203.0.113.1", V6: "2001:db8:f::1"}, "198.51.100.1"
FLOW = 0x8001
PORTS = FLOW, 33434
MAC = "02:00:00:00:00:01"


def _probe(method: Method, version: int, number: int) -> bytes:
    return packets.build(method, version, OURS[version], FAR[version], PORTS, number)


@pytest.mark.parametrize("version", [V4, V6])
@pytest.mark.parametrize("method", list(Method))
def test_what_load_balancing_looks_at_is_the_same_in_every_probe(method: Method, version: int) -> None:
    """Ports for UDP and TCP; type, code, checksum and identifier for ICMP: all lie in the first octets."""
    alike = 6 if method is Method.ICMP else 4
    probes = [_probe(method, version, number) for number in range(256)]
    assert len({probe[:alike] for probe in probes}) == 1
    assert len({packets.key(method, number) for number in range(256)}) == len(set(probes)) == 256


@pytest.mark.parametrize("number", [0, 1, 255])
def test_an_echo_probe_is_a_right_echo_request(number: int) -> None:
    """RFC 792, read by the codec that the engine uses."""
    echo = icmp.parse_echo(4, _probe(Method.ICMP, V4, number))
    assert isinstance(echo, icmp.Echo)
    assert (echo.identifier, echo.sequence, echo.reply) == (FLOW, number, False)


@pytest.mark.parametrize(("version", "size"), [(V4, 576), (V4, 1500), (V6, 1280), (V6, 1499)])
def test_an_echo_of_a_size_fills_it_with_its_ip_header(version: int, size: int) -> None:
    """An IPv4 header without options has 20 octets (RFC 791 section 3.1), an IPv6 header 40 (RFC 8200 section 3)."""
    packet = packets.echo(version, FLOW, 7, size)
    assert len(packet) == size - (20 if version == V4 else 40)
    if version == V4:
        assert isinstance(icmp.parse_echo(4, packet), icmp.Echo)


@pytest.mark.parametrize("quoted", [8, 12, 1000])
@pytest.mark.parametrize("method", list(Method))
def test_an_error_is_read_from_the_8_octets_that_it_quotes_at_least(method: Method, quoted: int) -> None:
    """RFC 792: the internet header and the first 64 bits of the datagram's data."""
    numbers = {Method.ICMP: 1, Method.UDP: 17, Method.TCP: 6}
    inner = IP(src=OURS[V4], dst=FAR[V4], proto=numbers[method]) / Raw(_probe(method, V4, 5))
    error = IP(src=ROUTER, dst=OURS[V4]) / ICMP(type=11, code=0) / Raw(bytes(inner)[: 20 + quoted])
    read = packets.read_icmp(V4, bytes(error), ROUTER, FLOW)
    assert read == Read(Word.EXPIRED, method, FAR[V4], packets.key(method, 5))


@pytest.mark.parametrize("method", list(Method))
def test_an_error_of_ipv6_is_read(method: Method) -> None:
    """RFC 4443 section 3.3, as a raw socket delivers it: without the IP header."""
    numbers = {Method.ICMP: 58, Method.UDP: 17, Method.TCP: 6}
    inner = IPv6(src=OURS[V6], dst=FAR[V6], nh=numbers[method]) / Raw(_probe(method, V6, 5))
    error = bytes(ICMPv6TimeExceeded() / Raw(bytes(inner)))
    assert packets.read_icmp(V6, error, "::", FLOW) == Read(Word.EXPIRED, method, FAR[V6], packets.key(method, 5))


def test_a_packet_that_was_too_big_names_what_would_pass() -> None:
    """RFC 1191 section 4; RFC 4443 section 3.2."""
    inner = bytes(IP(src=OURS[V4], dst=FAR[V4], proto=1) / Raw(packets.echo(V4, FLOW, 9, 1500)))[:28]
    four = IP(src=ROUTER, dst=OURS[V4]) / ICMP(type=3, code=4, nexthopmtu=1492) / Raw(inner)
    read = packets.read_icmp(V4, bytes(four), ROUTER, FLOW)
    assert read == Read(Word.TOO_BIG, Method.ICMP, FAR[V4], 9, 1492)
    inner6 = bytes(IPv6(src=OURS[V6], dst=FAR[V6], nh=58) / Raw(packets.echo(V6, FLOW, 9, 1500)))[:1232]
    six = bytes(ICMPv6PacketTooBig(mtu=1480) / Raw(inner6))
    assert packets.read_icmp(V6, six, "::", FLOW) == Read(Word.TOO_BIG, Method.ICMP, FAR[V6], 9, 1480)


def test_an_error_about_somebody_else_is_not_ours() -> None:
    """Another program's ping on this machine has another identifier."""
    inner = bytes(IP(src=OURS[V4], dst=FAR[V4]) / ICMP(id=FLOW + 1, seq=5))
    error = IP(src=ROUTER, dst=OURS[V4]) / ICMP(type=11) / Raw(inner)
    assert packets.read_icmp(V4, bytes(error), ROUTER, FLOW) is None


@given(version=st.sampled_from([V4, V6]), data=st.binary(max_size=120))
def test_no_octets_of_a_stranger_make_a_reader_fail(version: int, data: bytes) -> None:
    """What arrives is data: nothing raises."""
    header = bytes(IP(src=ROUTER, dst=OURS[V4], proto=1)) if version == V4 else b""
    packets.read_icmp(version, data, ROUTER, FLOW)
    packets.read_icmp(version, header + data, ROUTER, FLOW)
    packets.read_tcp(version, header + data, ROUTER, PORTS)
    packets.read_pado(data, b"ours")
    packets.read_pado(bytes(Ether(type=0x8863)) + data, b"ours")
    packets.read_offer(bytes(Ether() / IP() / UDP(sport=67, dport=68)) + data, 7)


def _tag(kind: int, value: bytes) -> bytes:
    return kind.to_bytes(2, "big") + len(value).to_bytes(2, "big") + value


def test_a_pppoe_discovery_is_what_the_standard_says() -> None:
    """RFC 2516 section 5.1 and appendix A: broadcast, type 0x8863, code 9, session 0, a service name, and our mark."""
    frame = packets.padi(MAC, b"mark")
    assert frame[:14] == bytes.fromhex("ffffffffffff 020000000001 8863".replace(" ", ""))
    assert frame[14:20] == bytes.fromhex("11 09 0000 000c".replace(" ", ""))
    assert frame[20:32] == bytes.fromhex("0101 0000 0103 0004".replace(" ", "")) + b"mark"


def test_a_pppoe_offer_is_read_if_it_answers_our_question() -> None:
    """RFC 2516 section 5.2: the concentrator's name, its services, and our mark unchanged; padding is no tag."""
    tags = _tag(0x0102, b"bras-1") + _tag(0x0101, b"") + _tag(0x0101, b"internet") + _tag(0x0103, b"mark")
    frame = Ether(src=MAC, type=0x8863) / PPPoED(code=7, len=len(tags)) / Raw(tags + bytes(20))
    assert packets.read_pado(bytes(frame), b"mark") == Pppoe(MAC, "bras-1", ("", "internet"))
    assert packets.read_pado(bytes(frame), b"another") is None


def test_a_dhcp_discovery_asks_for_offers_and_takes_none() -> None:
    """RFC 2131 section 4.4.1: from 0.0.0.0 port 68 to everyone, port 67, message type 1 (RFC 2132 section 9.6)."""
    got = Ether(packets.discover(MAC, 0x01020304))
    assert (got.dst, got[IP].src, got[IP].dst) == ("ff:ff:ff:ff:ff:ff", "0.0.0.0", "255.255.255.255")
    assert (got[UDP].sport, got[UDP].dport, got[BOOTP].op, got[BOOTP].xid) == (68, 67, 1, 0x01020304)
    assert got[BOOTP].chaddr[:6] == bytes.fromhex(MAC.replace(":", ""))
    assert ("message-type", 1) in got[DHCP].options


def test_a_dhcp_offer_is_read_if_it_answers_our_question() -> None:
    """RFC 2131 section 3.1: what the server would give us; other transactions and other messages are not ours."""

    def reply(kind: str, xid: int) -> bytes:
        return bytes(
            Ether() / IP(src=ROUTER) / UDP(sport=67, dport=68) / BOOTP(op=2, xid=xid, yiaddr="192.0.2.9")
            / DHCP(options=[
                ("message-type", kind), ("server_id", ROUTER), ("subnet_mask", "255.255.255.0"), ("router", ROUTER),
                ("name_server", "192.0.2.53", "192.0.2.54"), ("lease_time", 3600), "end",
            ])
        )  # fmt: skip

    offer = Dhcp(ROUTER, "192.0.2.9", "255.255.255.0", (ROUTER,), ("192.0.2.53", "192.0.2.54"), 3600)
    assert packets.read_offer(reply("offer", 7), 7) == offer
    assert packets.read_offer(reply("offer", 8), 7) is None
    assert packets.read_offer(reply("ack", 7), 7) is None
