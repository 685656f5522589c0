"""STUN against the test vectors of RFC 5769 and the rules of RFC 8489 (same wire format as RFC 5389)."""

import pytest

from wanwatch.core.wire import Malformed, stun
from wanwatch.core.wire.stun import Mapped, Message

# RFC 5769 sections 2.1 to 2.3.
REQUEST = bytes.fromhex(
    "000100582112a442b7e7a701bc34d686fa87dfae802200105354554e207465737420636c69656e74002400046e0001ff80290008932ff9b1"
    "51263b36000600096576746a3a68367659202020000800149aeaa70cbfd8cb56781ef2b5b2d3f249c1b571a280280004e57a3bcf"
)
RESPONSE_4 = bytes.fromhex(
    "0101003c2112a442b7e7a701bc34d686fa87dfae8022000b7465737420766563746f7220002000080001a147e112a643000800142b91f599"
    "fd9e90c38c7489f92af9ba53f06be7d780280004c07d4c96"
)
RESPONSE_6 = bytes.fromhex(
    "010100482112a442b7e7a701bc34d686fa87dfae8022000b7465737420766563746f7220002000140002a1470113a9faa5d3f179bc25f4b5"
    "bed2b9d900080014a382954e4be67bf11784c97c8292c275bfe3ed4180280004c8fb0b4c"
)
TRANSACTION = bytes.fromhex("b7e7a701bc34d686fa87dfae")
SOFTWARE, USERNAME, MAPPED_ADDRESS = 0x8022, 0x0006, 0x0001


def parsed(packet: bytes) -> Message:
    """A packet that must be a message."""
    message = stun.parse(packet)
    assert isinstance(message, Message), message
    return message


@pytest.mark.parametrize("packet", [REQUEST, RESPONSE_4, RESPONSE_6])
def test_the_sample_messages_have_the_right_fingerprint(packet: bytes) -> None:
    """RFC 5769 sections 2.1 to 2.3: fingerprints e57a3bcf, c07d4c96, c8fb0b4c."""
    message = parsed(packet)
    assert message.transaction == TRANSACTION
    assert message.fingerprint


def test_the_sample_request_names_its_user() -> None:
    """RFC 5769 section 2.1."""
    message = parsed(REQUEST)
    assert message.kind == stun.REQUEST
    assert dict(message.attributes)[USERNAME] == b"evtj:h6vY"
    assert dict(message.attributes)[SOFTWARE] == b"STUN test client"


@pytest.mark.parametrize(
    ("packet", "seen"),
    [
        (RESPONSE_4, Mapped("192.0.2.1", 32853)),
        (RESPONSE_6, Mapped("2001:db8:1234:5678:11:2233:4455:6677", 32853)),
    ],
)
def test_the_sample_responses_tell_the_address_that_was_seen(packet: bytes, seen: Mapped) -> None:
    """RFC 5769 sections 2.2 and 2.3; XOR-MAPPED-ADDRESS is RFC 8489 section 14.2."""
    message = parsed(packet)
    assert message.kind == stun.SUCCESS
    assert message.mapped == seen
    assert dict(message.attributes)[SOFTWARE] == b"test vector"


def test_the_smallest_request_has_twenty_octets() -> None:
    """RFC 8489 section 5: type, length, magic cookie, transaction."""
    smallest = bytes.fromhex("000100002112a442b7e7a701bc34d686fa87dfae")
    assert parsed(smallest) == Message(stun.REQUEST, TRANSACTION)


def test_our_request_is_as_long_as_the_longest_answer_to_it() -> None:
    """RFC 8489 section 14.14: SOFTWARE may be skipped, so it can fill a request that a careful server may answer."""
    request = stun.build_request(TRANSACTION)
    message = parsed(request)
    assert (message.kind, message.transaction) == (stun.REQUEST, TRANSACTION)
    assert [kind for kind, _ in message.attributes] == [SOFTWARE]
    assert stun.not_understood(message) == ()
    longest = stun.build_success(TRANSACTION, Mapped("2001:db8:ffff:ffff:ffff:ffff:ffff:ffff", 65535))
    assert len(longest) == len(request) == 52


@pytest.mark.parametrize(
    ("seen", "room_bytes", "length", "fingerprint"),
    [
        (Mapped("192.0.2.1", 32853), 40, 40, True),
        (Mapped("192.0.2.1", 32853), 39, 32, False),
        (Mapped("2001:db8::1", 32853), 52, 52, True),
        (Mapped("2001:db8::1", 32853), 48, 44, False),
    ],
)
def test_a_response_has_a_fingerprint_only_where_there_is_room(
    seen: Mapped,
    room_bytes: int,
    length: int,
    fingerprint: bool,  # noqa: FBT001 - a row of the table
) -> None:
    """RFC 8489 sections 14.2 and 14.7: 12 or 24 octets of address, 8 of fingerprint, behind 20 of header."""
    packet = stun.build_success(TRANSACTION, seen, room_bytes=room_bytes)
    message = parsed(packet)
    assert (len(packet), message.fingerprint, message.mapped) == (length, fingerprint, seen)


def test_attributes_below_0x8000_must_be_understood_and_are_named_where_they_are_not() -> None:
    """RFC 8489 sections 6.3.1, 14.8 and 14.9: error 420 with UNKNOWN-ATTRIBUTES; 0x0003 is RFC 5780's, not ours."""
    request = bytes.fromhex("000100102112a442b7e7a701bc34d686fa87dfae" + "0003000400000000" + "c00100007fff0000")
    unknown = stun.not_understood(parsed(request))
    assert unknown == (0x0003, 0x7FFF)
    answer = stun.build_unknown_attributes(TRANSACTION, unknown)
    assert answer.hex() == "011100102112a442b7e7a701bc34d686fa87dfae" + "0009000400000414" + "000a000400037fff"
    assert parsed(answer).error_code == 420
    odd = parsed(stun.build_unknown_attributes(TRANSACTION, (0x0003,)))
    assert dict(odd.attributes)[0x000A].hex() == "0003"
    assert stun.not_understood(parsed(REQUEST)) == (0x0024,)  # RFC 8445's PRIORITY


def test_any_flipped_bit_before_the_fingerprint_is_noticed() -> None:
    """RFC 8489 section 14.7: the fingerprint is a CRC-32 over all that stands before it."""
    for bit in range((len(RESPONSE_4) - 8) * 8):
        broken = bytearray(RESPONSE_4)
        broken[bit // 8] ^= 1 << bit % 8
        assert isinstance(stun.parse(bytes(broken)), Malformed), bit


@pytest.mark.parametrize("seen", [Mapped("192.0.2.1", 32853), Mapped("2001:db8::77", 1)])
def test_our_responses_read_back(seen: Mapped) -> None:
    """RFC 8489 sections 14.2 and 14.7: what is masked in one direction is unmasked in the other."""
    message = parsed(stun.build_success(TRANSACTION, seen))
    assert message.mapped == seen
    assert message.fingerprint


def test_an_old_server_that_knows_only_mapped_address_is_understood() -> None:
    """RFC 8489 section 14.1: MAPPED-ADDRESS is there for RFC 3489's sake, its value plain."""
    packet = bytes.fromhex("0101000c2112a442b7e7a701bc34d686fa87dfae" + "000100080001d903c6336401")
    assert parsed(packet).mapped == Mapped("198.51.100.1", 55555)


def test_an_error_response_has_its_code() -> None:
    """RFC 8489 section 14.8: hundreds and the rest."""
    packet = bytes.fromhex("0111000c2112a442b7e7a701bc34d686fa87dfae" + "0009000600000401" + "6e6f0000")
    assert parsed(packet).error_code == 401
