"""What a receiver reads in a write request: a decoder of its own, by the encoding's description.

Sources:  Protocol Buffers encoding (varints; wire types 0, 1 and 2); Prometheus remote write 1.0 (field numbers of
          WriteRequest, TimeSeries, Label and Sample).
"""

import struct
from collections.abc import Iterator

Points = dict[tuple[tuple[str, str], ...], list[tuple[int, float]]]


def points(request: bytes) -> Points:
    """The points of each series, by its labels as they were sent: milliseconds since 1970, and value."""
    found: Points = {}
    for _, series in fields(request):
        labels: list[tuple[str, str]] = []
        samples: list[tuple[int, float]] = []
        for number, part in fields(series):
            inner = dict(fields(part))
            if number == 1:
                labels.append((inner[1].decode(), inner[2].decode()))
            else:
                samples.append((int.from_bytes(inner[2]), *struct.unpack("<d", inner[1])))
        found.setdefault(tuple(labels), []).extend(samples)
    return found


def fields(message: bytes) -> Iterator[tuple[int, bytes]]:
    """The fields of a message: number, and content; of a varint its value in eight bytes, the greatest first."""
    at = 0
    while at < len(message):
        tag, at = varint(message, at)
        if tag & 7 == 0:
            value, at = varint(message, at)
            yield tag >> 3, value.to_bytes(8)
            continue
        length, at = (8, at) if tag & 7 == 1 else varint(message, at)
        yield tag >> 3, message[at : at + length]
        at += length


def varint(message: bytes, at: int) -> tuple[int, int]:
    """A number in groups of seven bits, the least first, and where it ends."""
    value = shift = 0
    while True:
        octet = message[at]
        at, value, shift = at + 1, value | (octet & 0x7F) << shift, shift + 7
        if octet < 0x80:
            return value, at
