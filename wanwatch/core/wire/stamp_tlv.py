"""What follows a STAMP base packet: how a reflector hands the TLVs of RFC 8972 back.

Sources:     RFC 8972 sections 4 (layout, flags U, M and I), 4.1 (extra padding) and 4.8 (HMAC), flags and HMAC from
             memory.
Departures:  extra padding and HMAC are all that is understood here; every other TLV comes back with its U flag set.
             A failed HMAC sets the I flags; no ICMP error is sent for it, since that takes a raw socket.

Nothing ever grows or shrinks: what comes back has the length of what came.
"""

import hmac
import struct
from typing import Final, NamedTuple

from wanwatch.core.wire.stamp import HMAC_BYTES, signature

UNRECOGNIZED: Final = 0x80
MALFORMED: Final = 0x40
INTEGRITY: Final = 0x20
EXTRA_PADDING: Final = 1
HMAC: Final = 8
_HEADER: Final = struct.Struct("!BBH")


class Tlv(NamedTuple):
    """One TLV; *cut* where it claims more than there is, or has no room for a header."""

    type: int
    value: bytes
    cut: bool = False


def parse(data: bytes) -> list[Tlv]:
    """Split *data* into TLVs; the last may be cut short."""
    found = []
    at = 0
    while at < len(data):
        if at + _HEADER.size > len(data):
            found.append(Tlv(0, data[at + 1 :], cut=True))
            break
        _, kind, length = _HEADER.unpack_from(data, at)
        value = data[at + _HEADER.size : at + _HEADER.size + length]
        found.append(Tlv(kind, value, cut=len(value) < length))
        at += _HEADER.size + length
    return found


def build(kind: int, value: bytes, flags: int = UNRECOGNIZED) -> bytes:
    """Return one TLV; a sender sets U, and a reflector that understands the TLV takes it away."""
    return _HEADER.pack(flags, kind, len(value)) + value


def reflect(data: bytes, key: bytes | None = None, sequences: tuple[int, int] = (0, 0)) -> bytes:
    """Return the TLVs *data* as a reflector sends them back.

    Args:
        data: What followed the sender's base packet.
        key: The session's key in the authenticated mode.
        sequences: The sequence numbers of the request and of the answer, which the HMAC covers too.
    """
    tlvs = parse(data)
    sealed = _seal(tlvs)
    broken = key is not None and not _authentic(data, tlvs, sealed, key, sequences[0])
    answer = bytearray(data)
    at = 0
    for number, tlv in enumerate(tlvs):
        answer[at] = _flags(tlv, known=key is not None) | (INTEGRITY if broken else 0)
        if key is not None and number == sealed:
            seal = signature(sequences[1].to_bytes(4, "big") + answer[:at], key)
            answer[at + _HEADER.size : at + _HEADER.size + HMAC_BYTES] = seal
        at += _HEADER.size + len(tlv.value)
    return bytes(answer)


def _flags(tlv: Tlv, *, known: bool) -> int:
    if tlv.cut or (tlv.type == HMAC and known and len(tlv.value) != HMAC_BYTES):
        return MALFORMED
    return 0 if tlv.type == EXTRA_PADDING or (tlv.type == HMAC and known) else UNRECOGNIZED


def _seal(tlvs: list[Tlv]) -> int | None:
    """Return which TLV is the HMAC over those before it: only extra padding may follow it."""
    for number in range(len(tlvs) - 1, -1, -1):
        tlv = tlvs[number]
        if tlv.type == HMAC and len(tlv.value) == HMAC_BYTES and not tlv.cut:
            return number
        if tlv.type != EXTRA_PADDING or tlv.cut:
            break
    return None


def _authentic(data: bytes, tlvs: list[Tlv], sealed: int | None, key: bytes, sequence: int) -> bool:
    if sealed is None:  # a lone padding has nothing to protect
        return not tlvs or (len(tlvs) == 1 and tlvs[0].type == EXTRA_PADDING and not tlvs[0].cut)
    before = sum(_HEADER.size + len(tlv.value) for tlv in tlvs[:sealed])
    return hmac.compare_digest(signature(sequence.to_bytes(4, "big") + data[:before], key), tlvs[sealed].value)
