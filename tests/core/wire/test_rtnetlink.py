"""Notices of the kernel's routing, built byte by byte from the published headers."""

import struct

import pytest

from wanwatch.core.wire import rtnetlink

NEW_ROUTE, GONE_ROUTE, NEW_RULE = 24, 25, 32
MAIN, LOCAL = 254, 255
BOOT, STATIC, DHCP = 3, 4, 16


def body(*, family: int = 2, to_bits: int = 0, table: int = MAIN, protocol: int = BOOT) -> bytes:
    """A struct rtmsg (linux/rtnetlink.h, RFC 3549 section 3.1.1)."""
    return struct.pack("=BBBBBBBBI", family, to_bits, 0, 0, table, protocol, 0, 1, 0)


@pytest.mark.parametrize(
    ("kind", "notice", "said"),
    [
        (NEW_ROUTE, body(), BOOT),
        (GONE_ROUTE, body(protocol=STATIC), STATIC),
        (GONE_ROUTE, body(protocol=DHCP), DHCP),
        (NEW_RULE, body(), None),
        (NEW_ROUTE, body(to_bits=24), None),
        (NEW_ROUTE, body(table=LOCAL), None),
        (NEW_ROUTE, body(family=10), None),
        (NEW_ROUTE, body()[:11], None),
    ],
)
def test_a_notice_says_who_changed_the_default_route(kind: int, notice: bytes, said: int | None) -> None:
    """rtnetlink(7): rtm_protocol is the route's origin, rtm_dst_len 0 makes it a default route."""
    assert rtnetlink.default_changed_by(kind, notice) == said


@pytest.mark.parametrize(
    ("flags", "enabled", "carrier"), [(0x1 | 0x10000, True, True), (0x1, True, False), (0x10000, False, False)]
)
def test_an_interface_that_is_switched_off_is_told_from_one_without_carrier(
    flags: int,
    enabled: bool,  # noqa: FBT001 - a column
    carrier: bool,  # noqa: FBT001 - a column
) -> None:
    """netdevice(7): IFF_UP is the operator's wish, IFF_LOWER_UP the link's state."""
    message = struct.pack("=BxHiII", 0, 1, 3, flags, 0) + struct.pack("=HH8s", 12, 3, b"eth1\0\0\0\0")
    assert rtnetlink.parse(16, message) == rtnetlink.Link(3, "eth1", carrier, enabled)
