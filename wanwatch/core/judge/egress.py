"""Egress: the public addresses that STUN servers saw, pinned against unpinned (RFC 8489 XOR-MAPPED-ADDRESS)."""

from collections.abc import Iterable

from wanwatch.core.judge.carrying import Word
from wanwatch.core.model import UNPINNED, Kind, Outcome, Question, Sample

_Key = tuple[str, int]


class Egress:
    """Which uplink an unpinned answer came by: the one whose pinned answer names the same address.

    Servers and address families are compared each for itself: a provider may map them differently.

    Attributes:
        ambiguous: Two uplinks show one public address to a server, so that STUN cannot tell them apart.
    """

    def __init__(self) -> None:
        self.ambiguous = False
        self._pins: set[tuple[str, str]] = set()
        self._heard: set[tuple[str, str]] = set()
        self._pinned: dict[_Key, dict[str, str]] = {}
        self._unmatched: dict[_Key, tuple[int, int, str]] = {}

    def reconfigure(self, questions: Iterable[Question]) -> None:
        """Take other questions; the addresses of uplinks that are gone are forgotten.

        Nothing is said of a server before every uplink's first pinned question to it has had its outcome: a single
        address that matches is no proof while another uplink may show the same.
        """
        pinned = {q.series for q in questions if q.series.kind is Kind.STUN and q.series.uplink != UNPINNED}
        self._pins = {(series.target, series.uplink) for series in pinned}
        self._heard &= self._pins
        uplinks = {series.uplink for series in pinned}
        for known in self._pinned.values():
            for gone in known.keys() - uplinks:
                del known[gone]

    def forget(self, uplink: str) -> None:
        """Forget what *uplink* showed, and wait for it no longer: its pin is lost."""
        self._heard |= {pin for pin in self._pins if pin[1] == uplink}
        for known in self._pinned.values():
            known.pop(uplink, None)

    def hear(self, sample: Sample) -> Word | None:
        """Take in a STUN sample; return the word that follows, if one does.

        The last pinned address is kept while an uplink is down. An unpinned answer that matches none waits for the
        next pinned answers: an uplink may have got a new address.
        """
        target, uplink = sample.series.target, sample.series.uplink
        address = (sample.facts or {}).get("address") if sample.outcome is Outcome.ANSWERED else None
        if uplink == UNPINNED:
            if not isinstance(address, str):
                return None
            return self._match((target, _family(address)), (sample.sent_ns, sample.known_ns, address))
        self._heard.add((target, uplink))
        if isinstance(address, str):
            self._pinned.setdefault((target, _family(address)), {})[uplink] = address
        for key, waiting in self._unmatched.items():
            if key[0] == target:
                return self._match(key, waiting)
        return None

    def _match(self, key: _Key, seen: tuple[int, int, str]) -> Word | None:
        sent_ns, known_ns, address = seen
        names = [uplink for uplink, pinned in self._pinned.get(key, {}).items() if pinned == address]
        if len(names) > 1:
            self.ambiguous = True
        if len(names) != 1 or any(pin[0] == key[0] for pin in self._pins - self._heard):
            self._unmatched[key] = seen
            return None
        self._unmatched.pop(key, None)
        return Word(sent_ns, known_ns, names[0])


def _family(address: str) -> int:
    return 6 if ":" in address else 4
