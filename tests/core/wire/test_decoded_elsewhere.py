"""An independent packet library reads our packets to the same values, and we read its."""

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from scapy.contrib.stamp import (
    ErrorEstimate,
    STAMPSessionReflectorTestUnauthenticated,
    STAMPSessionSenderTestUnauthenticated,
    STAMPTestTLV,
)
from scapy.contrib.stun import STUN
from scapy.layers.inet import ICMP, IP, UDP
from scapy.layers.inet6 import ICMPv6EchoRequest
from scapy.utils import wrpcap

from wanwatch.core.wire import icmp, stamp, stamp_tlv, stun


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


def test_stamp_is_built_alike_byte_for_byte() -> None:
    """From the same values an independent builder makes the same octets, TLVs included."""
    sender = stamp.SenderPacket(7, 0xED00378080000000, 0x9064, ssid=0xBEEF)
    estimate = ErrorEstimate(S=1, Z=0, scale=16, multiplier=100)
    # Times as the other builder takes them: NTP seconds; halves and quarters are exact in both. Flags as a number:
    # its letters count from the lowest bit, while RFC 8972 section 4 numbers bits from the highest.
    theirs = STAMPSessionSenderTestUnauthenticated(
        seq=7, ts=0xED003780 + 0.5, err_estimate=estimate, ssid=0xBEEF, tlv_objects=[STAMPTestTLV(flags=0x80, type=200)]
    )
    assert bytes(theirs) == stamp.build_sender(sender) + stamp_tlv.build(200, b"")
    reflector = stamp.ReflectorPacket(
        8, 0xED00378140000000, 0x9064, 0xBEEF, 0xED003780C0000000, 7, 0xED00378080000000, 0x9064, 63
    )
    answer = STAMPSessionReflectorTestUnauthenticated(
        seq=8, ts=0xED003781 + 0.25, err_estimate=estimate, ssid=0xBEEF, ts_rx=0xED003780 + 0.75, seq_sender=7,
        ts_sender=0xED003780 + 0.5, err_estimate_sender=estimate, ttl_sender=63,
    )  # fmt: skip
    assert bytes(answer) == stamp.build_reflector(reflector)


def decoded(tmp_path: Path, payload: bytes, sport: int, dport: int) -> dict[str, Any]:
    """What a protocol analyser makes of a UDP payload that was captured."""
    if shutil.which("tshark") is None:
        pytest.skip("tshark is missing")
    wrpcap(str(tmp_path / "capture"), [IP(src="192.0.2.1", dst="192.0.2.2") / UDP(sport=sport, dport=dport) / payload])
    words = ["tshark", "-r", str(tmp_path / "capture"), "-T", "json", "--no-duplicate-keys"]
    said = subprocess.run([*words, "-d", "udp.port==862,twamp.test"], check=True, capture_output=True, text=True)
    layers: dict[str, Any] = json.loads(said.stdout)[0]["_source"]["layers"]
    return layers


def test_a_protocol_analyser_reads_the_base_packets_alike(tmp_path: Path) -> None:
    """RFC 8762 section 4.6: the base packets are laid out as TWAMP-Test's, which the analyser knows."""
    reflector = stamp.ReflectorPacket(
        8, 0xED00378140000000, 0x9064, 0, 0xED003780C0000000, 7, 0xED00378080000000, 0x8001, 63
    )
    seen = decoded(tmp_path, stamp.build_reflector(reflector), 862, 50_000)["twamp.test"]
    expected = {
        "seq_number": 8,
        "sender_seq_number": 7,
        "sender_ttl": 63,
        "error_estimate": 0x9064,
        "sender_error_estimate": 0x8001,
    }
    assert {name: int(seen[f"twamp.test.{name}"]) for name in expected} == expected
    assert "2026 00:00:01.25" in seen["twamp.test.timestamp"]
    assert "2026 00:00:00.75" in seen["twamp.test.receive_timestamp"]
    assert "2026 00:00:00.5" in seen["twamp.test.sender_timestamp"]


def test_a_protocol_analyser_reads_our_stun_alike(tmp_path: Path) -> None:
    """RFC 8489 sections 14.2, 14.7 and 14.14; the analyser checks the fingerprint itself."""
    request = decoded(tmp_path, stun.build_request(bytes(range(12))), 50_000, 3478)["stun"]
    assert "wanwatch" in json.dumps(request)
    answer = decoded(tmp_path, stun.build_success(bytes(range(12)), stun.Mapped("192.0.2.1", 4242)), 3478, 50_000)
    text = json.dumps(answer["stun"])
    assert '"stun.att.ipv4": "192.0.2.1"' in text
    assert '"stun.att.port": "4242"' in text
    assert '"stun.att.crc32.status": "1"' in text  # good
