"""Checksum and ICMP echo against RFC 1071, RFC 792 and RFC 4443.

Where a row has no published packet, the expected octets were computed from the published algorithm.
"""

import struct
from ipaddress import ip_address

import pytest

from wanwatch.core.model import Cause
from wanwatch.core.wire import icmp
from wanwatch.core.wire.icmp import Echo


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        ("0001f203f4f5f6f7", 0x220D),  # RFC 1071 section 3: sum ddf2, complement 220d
        ("010003f2f5f4f7f6", 0x0D22),  # RFC 1071 section 2(B): byte-swapped words give the swapped sum f2dd
        ("0001f203f4f5f6f7220d", 0x0000),  # RFC 1071 section 1: data with its own checksum verifies
        ("0001f203f4f5f6", 0x2304),  # RFC 792: odd data is padded by a zero octet
        ("", 0xFFFF),  # computed
        ("0000", 0xFFFF),  # computed: the sum of nothing but zeros is zero
        ("ffff", 0x0000),  # computed: both zeros of one's complement, RFC 1071 section 1
        ("450000730000400040110000c0a80001c0a800c7", 0xB861),  # computed: an IPv4 header, RFC 791
    ],
)
def test_the_checksum_is_the_internet_checksum(data: str, expected: int) -> None:
    """RFC 1071: the complement of the one's-complement sum of 16-bit words."""
    assert icmp.checksum(bytes.fromhex(data)) == expected


@pytest.mark.parametrize(
    ("echo", "packet"),
    [
        (Echo(0x1234, 1, b"abcdefgh"), "08005435123400016162636465666768"),
        (Echo(0x1234, 1, b"abcdefgh", reply=True), "00005c35123400016162636465666768"),
        (Echo(1, 1, b""), "0800f7fd00010001"),
        (Echo(0x1234, 1, b"abc"), "0800216812340001616263"),
    ],
)
def test_an_ipv4_echo_has_the_layout_of_rfc_792(echo: Echo, packet: str) -> None:
    """RFC 792, echo or echo reply message."""
    assert icmp.build_echo(4, echo).hex() == packet
    assert icmp.parse_echo(4, bytes.fromhex(packet)) == echo


@pytest.mark.parametrize(
    ("reply", "expected", "ends"),
    [(False, 0x8075, ("2001:db8::1", "2001:db8::2")), (True, 0x7F75, ("2001:db8::2", "2001:db8::1"))],
)
def test_an_ipv6_echo_with_its_pseudo_header_has_the_checksum_the_kernel_will_fill_in(
    reply: bool,  # noqa: FBT001 - a row of the table
    expected: int,
    ends: tuple[str, str],
) -> None:
    """RFC 4443 sections 2.3 and 4 (from memory), with the pseudo-header of RFC 8200 section 8.1."""
    packet = icmp.build_echo(6, Echo(0x1234, 1, b"abcdefgh", reply))
    assert packet[0] == (129 if reply else 128)
    source, destination = (ip_address(end).packed for end in ends)
    pseudo = source + destination + struct.pack("!I3xB", len(packet), 58)
    assert len(pseudo) == 40
    assert icmp.checksum(pseudo + packet) == expected


@pytest.mark.parametrize(
    ("version", "kind", "code", "cause"),
    [
        (4, 3, 0, Cause.NET_UNREACHABLE),  # RFC 792
        (4, 3, 1, Cause.HOST_UNREACHABLE),  # RFC 792
        (4, 3, 3, Cause.PORT_UNREACHABLE),  # RFC 792
        (4, 3, 4, Cause.PACKET_TOO_BIG),  # RFC 1191 section 4
        (4, 3, 13, Cause.PROHIBITED),  # RFC 1812 section 5.2.7.1
        (4, 11, 0, Cause.TTL_EXCEEDED),  # RFC 792
        (4, 0, 0, None),  # an echo reply is no error
        (6, 1, 0, Cause.NET_UNREACHABLE),  # RFC 4443 section 3.1
        (6, 1, 1, Cause.PROHIBITED),  # RFC 4443 section 3.1
        (6, 1, 3, Cause.HOST_UNREACHABLE),  # RFC 4443 section 3.1
        (6, 1, 4, Cause.PORT_UNREACHABLE),  # RFC 4443 section 3.1
        (6, 2, 0, Cause.PACKET_TOO_BIG),  # RFC 4443 section 3.2
        (6, 3, 0, Cause.TTL_EXCEEDED),  # RFC 4443 section 3.3
        (6, 129, 0, None),  # an echo reply is no error
    ],
)
def test_an_icmp_error_has_its_cause(version: int, kind: int, code: int, cause: Cause | None) -> None:
    """Each type and code means one cause."""
    assert icmp.refusal(version, kind, code) is cause
