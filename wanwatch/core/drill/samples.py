"""What was tried on the second line while traffic was there, counted from the stored minutes."""

import struct
from collections.abc import Iterable, Sequence

from wanwatch.core.drill.answers import Speed, Tally
from wanwatch.core.model import UNPINNED, Kind, Measurement, Series, Span
from wanwatch.core.ports import MARK_NOT_SENT, RTT_LIMIT, MinuteBlock

NAMES = frozenset({Kind.DNS})
CONNECTIONS = frozenset({Kind.TCP, Kind.HTTP})
_NS_PER_US = 1000
_MINUTE_NS = 60_000_000_000


def tally(blocks: Iterable[MinuteBlock], kinds: frozenset[Kind], second: str, span: Span) -> Tally | None:
    """Count the probes of some kinds that were sent within a span; None if there were none.

    Probes that go the way of ordinary traffic speak first; without them, those that are pinned to the second line.

    Args:
        blocks: Minutes that overlap the span.
        kinds: The kinds that count.
        second: The second line.
        span: When traffic was on it.
    """
    found = [block for block in blocks if block.series.kind in kinds]
    for uplink in (UNPINNED, second):
        sent = [rtt for block in found if block.series.uplink == uplink for rtt in _sent(block, span)]
        if sent:
            return Tally(sum(rtt < RTT_LIMIT for rtt in sent), len(sent), ordinary=uplink == UNPINNED)
    return None


def wanted(series: Sequence[Series], second: str) -> list[Series]:
    """Return the series that `tally` can be asked about."""
    return [one for one in series if one.uplink in {UNPINNED, second} and one.kind in NAMES | CONNECTIONS]


def speed(tests: Sequence[Measurement]) -> Speed | None:
    """Return the latest of some speed tests that measured the way to the office; None if none did."""
    found = [_speed(test) for test in tests]
    return next((one for one in reversed(found) if one is not None), None)


def _speed(test: Measurement) -> Speed | None:
    down = test.result.get("down")
    goodput = down.get("goodput") if isinstance(down, dict) else None
    bps = goodput.get("bps") if isinstance(goodput, dict) else None
    if not isinstance(down, dict) or not isinstance(bps, int | float):
        return None
    return Speed(float(bps), down.get("counts") is True, test.at_unix_ns)


def _sent(block: MinuteBlock, span: Span) -> Iterable[int]:
    """Round-trip times in microseconds, or marks, of what was sent within the span."""
    begin_ns = block.minute * _MINUTE_NS
    pairs = zip(struct.iter_unpack("<I", block.offsets), struct.iter_unpack("<I", block.rtts), strict=True)
    for (offset_us,), (rtt_us,) in pairs:
        inside = span.start_unix_ns <= begin_ns + offset_us * _NS_PER_US < span.end_unix_ns
        if inside and rtt_us != MARK_NOT_SENT:
            yield rtt_us
