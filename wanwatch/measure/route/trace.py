"""Tracing: which routers stand on the way, by probes whose time to live runs out there (RFC 792, RFC 4443)."""

import time
from typing import Final

from wanwatch.measure.route import packets
from wanwatch.measure.route.packets import Word
from wanwatch.measure.route.protocol import Hop, Trace, Traced
from wanwatch.measure.route.wire import Heard, Wire

_ATTEMPTS: Final = 2


def trace(question: Trace) -> Traced:
    """Trace the way to the target. Raises OSError if it cannot be asked."""
    known = _Known(question.most)
    with Wire(question.pin, question.target, question.method, question.port, question.flow) as wire:
        for attempt in range(_ATTEMPTS):
            for distance in known.missing():
                number = distance - 1 + attempt * question.most
                wire.expire_after(distance)
                known.sent_ns[packets.key(question.method, number)] = distance, wire.send(number)
            for heard in wire.hear(time.monotonic_ns() + question.wait_ns):
                known.hear(heard)
                if not known.missing():
                    break
            if not known.missing():
                break
        hops = known.hops()
        return Traced(hops, bool(hops) and hops[-1].address == question.target, wire.source)


class _Known:
    """What is known of each distance up to *most*."""

    def __init__(self, most: int) -> None:
        self.sent_ns: dict[int, tuple[int, int]] = {}
        self._most = most
        self._hops: dict[int, Hop] = {}

    def hear(self, heard: Heard) -> None:
        """Take in an answer; the first for a distance counts."""
        distance, sent_ns = self.sent_ns.get(heard.read.key, (0, 0))
        if distance and distance not in self._hops:
            self._hops[distance] = Hop(distance, heard.sender, heard.at_ns - sent_ns)
            if heard.read.word is not Word.EXPIRED:  # no passing router: the way ends here
                self._most = min(self._most, distance)

    def missing(self) -> list[int]:
        """Return the distances on the way of which nothing is known yet."""
        return [distance for distance in range(1, self._most + 1) if distance not in self._hops]

    def hops(self) -> tuple[Hop, ...]:
        """Return the hops; silence at the far end is not told as a row of silent routers."""
        last = max((distance for distance in self._hops if distance <= self._most), default=0)
        return tuple(self._hops.get(distance, Hop(distance)) for distance in range(1, last + 1))
