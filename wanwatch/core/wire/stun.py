"""STUN Binding: bytes to values and back.

Sources:     RFC 8489 sections 5 (header), 14.1 and 14.2 (mapped addresses), 14.5 (integrity), 14.7 (fingerprint),
             14.8 (error code), 6.3 (attributes that must be understood).
Departures:  messages that are not Binding are Malformed; credentials are checked, never sent. A success response has
             a FINGERPRINT only where there is room for it.
"""

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Final, NamedTuple

from wanwatch.core.wire.malformed import Malformed

REQUEST: Final = 0x0001
SUCCESS: Final = 0x0101
ERROR: Final = 0x0111
PORT: Final = 3478
COOKIE: Final = 0x2112A442
HEADER_BYTES: Final = 20

_MAPPED_ADDRESS: Final = 0x0001
_MESSAGE_INTEGRITY: Final = 0x0008
_ERROR_CODE: Final = 0x0009
_XOR_MAPPED_ADDRESS: Final = 0x0020
_UNKNOWN_ATTRIBUTES: Final = 0x000A
_SOFTWARE: Final = 0x8022
_FINGERPRINT: Final = 0x8028
_OPTIONAL: Final = 0x8000
# What a server that asks for no credentials may see and let be: USERNAME, MESSAGE-INTEGRITY and its SHA-256 kin,
# REALM, NONCE, PASSWORD-ALGORITHM, USERHASH, and what belongs into answers (RFC 8489 section 18.3, from memory).
_UNDERSTOOD: Final = frozenset({0x0001, 0x0006, 0x0008, 0x0009, 0x000A, 0x0014, 0x0015, 0x001C, 0x001D, 0x001E, 0x0020})
_SOFTWARE_PADDED: Final = struct.pack("!HH28s", _SOFTWARE, 28, b"wanwatch".ljust(28))
_FINGERPRINT_BYTES: Final = 8
_FINGERPRINT_MASK: Final = 0x5354554E
_INTEGRITY_BYTES: Final = 20
_HEADER: Final = struct.Struct("!HHI12s")
_ADDRESS_BYTES: Final = {1: 4, 2: 16}


class Mapped(NamedTuple):
    """The address and port that the far end saw."""

    address: str
    port: int


@dataclass(frozen=True, slots=True)
class Message:
    """A Binding message.

    Attributes:
        kind: `REQUEST`, `SUCCESS` or `ERROR`.
        transaction: 12 octets that tie an answer to its request.
        attributes: Types and values in order, padding removed.
        mapped: From XOR-MAPPED-ADDRESS, else from MAPPED-ADDRESS, else None.
        error_code: 300 to 699 from ERROR-CODE, else None.
        fingerprint: Whether a FINGERPRINT was there (a wrong one makes the message Malformed).
    """

    kind: int
    transaction: bytes
    attributes: tuple[tuple[int, bytes], ...] = ()
    mapped: Mapped | None = None
    error_code: int | None = None
    fingerprint: bool = False


def build_request(transaction: bytes) -> bytes:
    """Return a Binding request for a *transaction* of 12 octets, 52 octets long: as long as the longest answer.

    A server that never answers with more than it was asked can answer it. SOFTWARE is an attribute that a server may
    skip (RFC 8489 section 14.14).
    """
    return _HEADER.pack(REQUEST, len(_SOFTWARE_PADDED), COOKIE, transaction) + _SOFTWARE_PADDED


def build_success(transaction: bytes, seen: Mapped, *, room_bytes: int | None = None) -> bytes:
    """Return a Binding success response that tells the asker the address it was *seen* from.

    With a FINGERPRINT where that fits into *room_bytes*, or where no limit is given.
    """
    address = ip_address(seen.address)
    family = 1 if address.version == 4 else 2  # noqa: PLR2004 - the number is the protocol's name
    value = struct.pack("!xBH", family, seen.port ^ COOKIE >> 16) + _mask(address.packed, transaction)
    attribute = struct.pack("!HH", _XOR_MAPPED_ADDRESS, len(value)) + value
    whole = HEADER_BYTES + len(attribute) + _FINGERPRINT_BYTES
    if room_bytes is not None and whole > room_bytes:
        return _HEADER.pack(SUCCESS, len(attribute), COOKIE, transaction) + attribute
    packet = _HEADER.pack(SUCCESS, whole - HEADER_BYTES, COOKIE, transaction) + attribute
    return packet + struct.pack("!HHI", _FINGERPRINT, 4, _fingerprint(packet))


def build_unknown_attributes(transaction: bytes, unknown: Sequence[int]) -> bytes:
    """Return the error response 420 to a request with attributes that must be, and are not, understood.

    Source: RFC 8489 sections 6.3.1, 14.8 and 14.9; the reason phrase is left empty.
    """
    value = struct.pack(f"!{len(unknown)}H", *unknown)
    attributes = struct.pack("!HHHBB", _ERROR_CODE, 4, 0, 4, 20) + struct.pack("!HH", _UNKNOWN_ATTRIBUTES, len(value))
    body = attributes + value + bytes(-len(value) % 4)
    return _HEADER.pack(ERROR, len(body), COOKIE, transaction) + body


def not_understood(message: Message) -> tuple[int, ...]:
    """Return the attributes of *message* that must be understood and are not (RFC 8489 section 14: below 0x8000)."""
    return tuple(kind for kind, _ in message.attributes if kind < _OPTIONAL and kind not in _UNDERSTOOD)


def parse(packet: bytes) -> Message | Malformed:
    """Read a Binding message; its fingerprint is checked where it has one."""
    if len(packet) < HEADER_BYTES:
        return Malformed("shorter than a STUN header")
    kind, length, cookie, transaction = _HEADER.unpack_from(packet)
    if kind not in (REQUEST, SUCCESS, ERROR) or cookie != COOKIE:
        return Malformed("not a STUN Binding message")
    if length % 4 or length != len(packet) - HEADER_BYTES:
        return Malformed("length does not fit")
    attributes = _attributes(packet)
    if isinstance(attributes, Malformed):
        return attributes
    return _message(kind, transaction, attributes)


def _attributes(packet: bytes) -> tuple[tuple[int, bytes], ...] | Malformed:
    found = []
    at = HEADER_BYTES
    while at < len(packet):
        # The total length is a multiple of four, so four octets are there.
        kind, length = struct.unpack_from("!HH", packet, at)
        value = packet[at + 4 : at + 4 + length]
        if len(value) < length:
            return Malformed("an attribute is cut short")
        if kind == _MESSAGE_INTEGRITY and length != _INTEGRITY_BYTES:
            return Malformed("an integrity value of the wrong length")
        if kind == _FINGERPRINT and value != struct.pack("!I", _fingerprint(packet[:at])):
            return Malformed("wrong fingerprint")
        found.append((kind, value))
        at += 4 + (length + 3 & ~3)
    return tuple(found)


def _message(kind: int, transaction: bytes, attributes: tuple[tuple[int, bytes], ...]) -> Message | Malformed:
    values = dict(reversed(attributes))  # of two alike the first counts, RFC 8489 section 14
    mapped = error_code = None
    if (value := values.get(_XOR_MAPPED_ADDRESS)) is not None:
        mapped = _address(value, transaction)
    elif (value := values.get(_MAPPED_ADDRESS)) is not None:
        mapped = _address(value, None)
    if isinstance(mapped, Malformed):
        return mapped
    if (value := values.get(_ERROR_CODE)) is not None:
        if len(value) < 4:  # noqa: PLR2004 - RFC 8489 section 14.8
            return Malformed("an error code is cut short")
        error_code = (value[2] & 7) * 100 + value[3]
    return Message(kind, transaction, attributes, mapped, error_code, _FINGERPRINT in values)


def _address(value: bytes, transaction: bytes | None) -> Mapped | Malformed:
    if len(value) not in (8, 20) or _ADDRESS_BYTES.get(value[1]) != len(value) - 4:
        return Malformed("a mapped address of no known family")
    port = int.from_bytes(value[2:4], "big")
    address = value[4:]
    if transaction is not None:
        port ^= COOKIE >> 16
        address = _mask(address, transaction)
    return Mapped(str(ip_address(address)), port)


def _mask(address: bytes, transaction: bytes) -> bytes:
    mask = COOKIE.to_bytes(4, "big") + transaction
    return bytes(a ^ b for a, b in zip(address, mask, strict=False))


def _fingerprint(before: bytes) -> int:
    return zlib.crc32(before) ^ _FINGERPRINT_MASK
