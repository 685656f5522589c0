"""Path MTU: the largest packet that gets to a target whole, found by echo requests that must not be cut up.

Sources: RFC 1191 and RFC 8201 (who cannot pass a packet on says so, and what would pass); RFC 2923 section 2.1 and
RFC 8899 (where nobody says so, only searching helps); RFC 1122 section 3.3.2 (576 bytes get everywhere in IPv4) and
RFC 8200 section 5 (1280 in IPv6).
"""

import errno
import time
from collections.abc import Callable
from enum import Enum
from typing import Final, NamedTuple

from wanwatch.measure.route import packets
from wanwatch.measure.route.packets import Word
from wanwatch.measure.route.protocol import FindMtu, Method, Mtu
from wanwatch.measure.route.wire import Wire

_SMALLEST: Final = {packets.V4: 576, packets.V6: 1280}
_ATTEMPTS: Final = 3
_SLACK_NS: Final = 200_000_000
_NUMBERS: Final = 256


class Fate(Enum):
    """What became of a packet."""

    PASSED = "passed"
    TOO_BIG = "too-big"
    VANISHED = "vanished"


class Told(NamedTuple):
    """The fate of one size; for a packet that was too big who said so, and the size that would pass (0: not said)."""

    fate: Fate
    mtu: int = 0
    by: str = ""


def find_mtu(question: FindMtu) -> Mtu:
    """Find the path MTU to the target. Raises OSError if it cannot be asked."""
    with Wire(question.pin, question.target, Method.ICMP, flow=question.flow) as wire:
        wire.forbid_fragments()
        return search(_Prober(wire, question.wait_ns).fate, _SMALLEST[wire.version], question.largest)


def search(fate: Callable[[int], Told], smallest: int, largest: int) -> Mtu:
    """Search the largest size whose *fate* is to pass.

    Args:
        fate: Sends packets of a size and says what became of them.
        smallest: What passes everywhere; if it does not, nothing can be measured.
        largest: The largest size to try.
    """
    low, high = min(smallest, largest), largest
    if fate(low).fate is not Fate.PASSED:
        return Mtu(None, limited=False, black_hole=False)
    told_by: list[str] = []
    vanished = high + 1  # the smallest size that vanished without a word
    at, named = high, False
    while low < high:
        told = fate(at)
        if told.fate is Fate.PASSED:
            low = at
        else:
            high = at - 1
        if told.fate is Fate.VANISHED:
            vanished = at
        if told.fate is Fate.TOO_BIG and told.by not in told_by:
            told_by.append(told.by)
        # What a router names is tried at once, and what lies just above it: it may lie, or another limit may follow.
        if told.fate is Fate.TOO_BIG and low < told.mtu <= high:
            at, named = told.mtu, True
        else:
            at, named = low + 1 if named and low == at else (low + high + 1) // 2, False
    return Mtu(low, limited=low < largest, black_hole=low < largest and vanished == low + 1, told_by=tuple(told_by))


class _Prober:
    """Learns the fate of sizes over one wire; a size vanished when every attempt at it stayed without an answer."""

    def __init__(self, wire: Wire, wait_ns: int) -> None:
        self._wire = wire
        self._wait_ns = self._longest_ns = wait_ns
        self._number = 0

    def fate(self, size: int) -> Told:
        for _ in range(_ATTEMPTS):
            told = self._once(size)
            if told.fate is not Fate.VANISHED:
                return told
        return Told(Fate.VANISHED)

    def _once(self, size: int) -> Told:
        self._number = (self._number + 1) % _NUMBERS
        try:
            sent_ns = self._wire.send_echo(self._number, size)
        except OSError as error:
            if error.errno != errno.EMSGSIZE:
                raise
            return Told(Fate.TOO_BIG, by=self._wire.source)  # our own interface carries no more
        for heard in self._wire.hear(time.monotonic_ns() + self._wait_ns):
            if heard.read.key != self._number:
                continue
            if heard.read.word is Word.REPLY:
                # Ten times what the first one took is patience enough; lines with long queues take their time.
                rtt_ns = heard.at_ns - sent_ns
                self._wait_ns = min(self._longest_ns, max(10 * rtt_ns, 0) + _SLACK_NS)
                return Told(Fate.PASSED)
            if heard.read.word is Word.TOO_BIG:
                return Told(Fate.TOO_BIG, heard.read.mtu, heard.sender)
        return Told(Fate.VANISHED)
