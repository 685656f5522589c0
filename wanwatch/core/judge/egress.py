"""Egress: the public addresses that STUN servers saw, pinned against unpinned (RFC 8489 XOR-MAPPED-ADDRESS)."""

from wanwatch.core.judge.carrying import Word
from wanwatch.core.model import UNPINNED, Sample

_Key = tuple[str, int]


class Egress:
    """Which uplink an unpinned answer came by: the one whose pinned answer names the same address.

    Servers and address families are compared each for itself: a provider may map them differently.

    Attributes:
        ambiguous: Two uplinks show one public address to a server, so that STUN cannot tell them apart.
    """

    def __init__(self) -> None:
        self.ambiguous = False
        self._pinned: dict[_Key, dict[str, str]] = {}
        self._unmatched: dict[_Key, tuple[int, int, str]] = {}

    def hear(self, sample: Sample) -> Word | None:
        """Take in an answered STUN sample; return the word that follows, if one does.

        The last pinned address is kept while an uplink is down. An unpinned answer that matches none waits for the
        next pinned answers: an uplink may have got a new address.
        """
        address = (sample.facts or {}).get("address")
        if not isinstance(address, str):
            return None
        key = (sample.series.target, 6 if ":" in address else 4)
        if sample.series.uplink == UNPINNED:
            return self._match(key, (sample.sent_ns, sample.known_ns, address))
        self._pinned.setdefault(key, {})[sample.series.uplink] = address
        waiting = self._unmatched.get(key)
        return None if waiting is None else self._match(key, waiting)

    def _match(self, key: _Key, seen: tuple[int, int, str]) -> Word | None:
        sent_ns, known_ns, address = seen
        names = [uplink for uplink, pinned in self._pinned.get(key, {}).items() if pinned == address]
        if len(names) > 1:
            self.ambiguous = True
        if len(names) != 1:
            self._unmatched[key] = seen
            return None
        self._unmatched.pop(key, None)
        return Word(sent_ns, known_ns, names[0])

    def keep(self, uplinks: frozenset[str]) -> None:
        """Forget the addresses of uplinks that are not among *uplinks*."""
        for pinned in self._pinned.values():
            for gone in pinned.keys() - uplinks:
                del pinned[gone]
