"""An independent packet library reads our packets to the same values, and we read its."""

from scapy.contrib.stamp import STAMPSessionReflectorTestUnauthenticated, STAMPSessionSenderTestUnauthenticated
from scapy.contrib.stun import STUN
from scapy.layers.inet import ICMP
from scapy.layers.inet6 import ICMPv6EchoRequest

from wanwatch.core.wire import icmp, stamp, stun


def test_ipv4_echo() -> None:
    """Both sides agree on every field, the checksum included."""
    packet = icmp.build_echo(4, icmp.Echo(0x1234, 7, b"payload"))
    seen = ICMP(packet)
    assert (seen.type, seen.code, seen.id, seen.seq, bytes(seen.payload)) == (8, 0, 0x1234, 7, b"payload")
    theirs = bytes(ICMP(type=0, id=5, seq=6) / b"payload")
    assert icmp.parse_echo(4, theirs) == icmp.Echo(5, 6, b"payload", reply=True)
    assert bytes(ICMP(type=8, id=0x1234, seq=7) / b"payload") == packet


def test_ipv6_echo() -> None:
    """Both sides agree on every field; the checksum is the kernel's."""
    seen = ICMPv6EchoRequest(icmp.build_echo(6, icmp.Echo(0x1234, 7, b"payload")))
    assert (seen.type, seen.code, seen.id, seen.seq, seen.data) == (128, 0, 0x1234, 7, b"payload")


def test_stun_request_and_response() -> None:
    """Both sides agree on the header and on the mapped address."""
    request = STUN(stun.build_request(bytes(range(12))))
    assert request.stun_message_type == 0x0001
    assert request.transaction_id == int.from_bytes(bytes(range(12)), "big")
    response = STUN(stun.build_success(bytes(range(12)), stun.Mapped("192.0.2.1", 4242)))
    mapped = response.attributes[0]
    assert (mapped.xip, mapped.xport) == ("192.0.2.1", 4242)


def test_stamp_sender_and_reflector() -> None:
    """Both sides agree on every field of the base packets."""
    sender = stamp.SenderPacket(7, 0xED00378080000000, 0x9064, ssid=0xBEEF)
    seen = STAMPSessionSenderTestUnauthenticated(stamp.build_sender(sender))
    assert (seen.seq, seen.ssid) == (7, 0xBEEF)
    assert (seen.err_estimate.S, seen.err_estimate.Z, seen.err_estimate.scale) == (1, 0, 16)
    assert seen.err_estimate.multiplier == 100
    reflector = stamp.ReflectorPacket(8, 3 << 32, 0x9064, 0xBEEF, 2 << 32, 7, 1 << 32, 0x8001, 63)
    answer = STAMPSessionReflectorTestUnauthenticated(stamp.build_reflector(reflector))
    assert (answer.seq, answer.seq_sender, answer.ttl_sender, answer.ssid) == (8, 7, 63, 0xBEEF)
    assert stamp.parse_reflector(bytes(answer)) == reflector
    assert stamp.parse_sender(bytes(seen)) == sender
