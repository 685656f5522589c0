"""A write request as bytes.

Sources:  Prometheus remote write 1.0 (messages WriteRequest, TimeSeries, Label, Sample); Protocol Buffers encoding
          (wire types 0, 1 and 2; base-128 varints); the Snappy block format.
"""

import struct
from collections.abc import Iterable, Mapping
from typing import Final, TypeAlias

from wanwatch.core.errors import WanwatchError

Labels: TypeAlias = tuple[tuple[str, str], ...]
"""Names and values, sorted by name, among them `__name__`; no empty ones."""
Points: TypeAlias = list[tuple[int, float]]
"""Milliseconds since 1970 and value, in order of time."""

_DOUBLE: Final = struct.Struct("<d")
# Tags: field number << 3 | wire type.
_SERIES, _LABEL, _SAMPLE, _NAME, _VALUE, _FLOAT, _TIME = 0x0A, 0x0A, 0x12, 0x0A, 0x12, 0x09, 0x10


class NoSnappyError(WanwatchError):
    """The compression that receivers ask for is not installed."""

    def __init__(self) -> None:
        super().__init__(
            "remote_write: cannot compress: cramjam is not installed; pip install 'wanwatch[remote-write]', or take "
            "[[remote_write]] out"
        )


def needs_snappy() -> None:
    """Make sure that `compressed` can be had.

    Raises:
        NoSnappyError: It cannot.
    """
    try:
        import cramjam  # noqa: F401, PLC0415 - an extra; most sites do without
    except ImportError:
        raise NoSnappyError from None


def compressed(request: bytes) -> bytes:
    """Return *request* as one Snappy block."""
    import cramjam  # noqa: PLC0415 - as above

    return bytes(cramjam.snappy.compress_raw(request))


def labels(name: str, values: Mapping[str, str]) -> Labels:
    """Return the labels of one series in their order; empty values are left out, as the protocol wants it."""
    return tuple(sorted([("__name__", name), *(pair for pair in values.items() if pair[1])]))


def write_request(series: Mapping[Labels, Points]) -> bytes:
    """Return the WriteRequest that holds these series."""
    return b"".join(_field(_SERIES, _time_series(*one)) for one in series.items())


def _time_series(of: Labels, points: Points) -> bytes:
    names = (_field(_LABEL, _field(_NAME, name.encode()) + _field(_VALUE, value.encode())) for name, value in of)
    samples = (_field(_SAMPLE, _sample(*point)) for point in points)
    return b"".join((*names, *samples))


def _sample(at_ms: int, value: float) -> bytes:
    return bytes((_FLOAT,)) + _DOUBLE.pack(value) + bytes((_TIME,)) + _varint(at_ms)


def _field(tag: int, body: bytes) -> bytes:
    return bytes((tag,)) + _varint(len(body)) + body


def _varint(number: int) -> bytes:
    octets = bytearray()
    number &= 0xFFFF_FFFF_FFFF_FFFF  # a negative int64 is written in two's complement
    while number > 0x7F:  # noqa: PLR2004 - seven bits an octet
        octets.append(number & 0x7F | 0x80)
        number >>= 7
    octets.append(number)
    return bytes(octets)


def in_order(found: Iterable[tuple[Labels, int, float]]) -> dict[Labels, Points]:
    """Return points by their series, each in order of time; of several at one instant the sum."""
    sums: dict[Labels, dict[int, float]] = {}
    for of, at_ms, value in found:
        points = sums.setdefault(of, {})
        points[at_ms] = points.get(at_ms, 0.0) + value
    return {of: sorted(points.items()) for of, points in sums.items()}
