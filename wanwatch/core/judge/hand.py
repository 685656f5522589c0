"""Hands: what this machine's kernel shows of a person who moved traffic or switched a line off.

Only where the kernel is the witness of ordinary traffic, or where an uplink has an interface of its own here, is there
anything to see; a hand at a gateway beyond leaves no trace.

Sources:     rtnetlink(7): RTPROT_BOOT and RTPROT_STATIC are what an administrator's tools write into `rtm_protocol`,
             daemons of routing, DHCP and the kernel itself have numbers of their own; netdevice(7): IFF_UP.
Departures:  a script that changes routes by such a tool looks like the hand that might have typed it.
"""

from collections import deque
from enum import Enum
from typing import Final, NamedTuple

from wanwatch.core.judge.carrying import Change
from wanwatch.core.judge.evidence import NEVER
from wanwatch.core.judge.line import Cut
from wanwatch.core.model import NS_PER_S, LinkSeen, RouteSeen

_BOOT, _STATIC = 3, 4
BY_HAND: Final = frozenset({_BOOT, _STATIC})
"""The values of `rtm_protocol` that stand for an administrator."""

_REACH_NS: Final = NS_PER_S
"""The kernel is asked once a second at least: so late may the sight of a hand follow the first word of what it did."""


class Hand(Enum):
    """What was seen of one."""

    NONE = "none"
    ROUTE = "route"  # a default route was changed as an administrator's tools do, though the line's link was well
    SWITCHED_OFF = "interface"  # the line's interface was switched off, before the line fell silent


class _Off(NamedTuple):
    """An interface was switched off: last seen on, first seen off, and since when it is on again."""

    on_ns: int
    off_ns: int
    back_ns: int | None = None


class Hands:
    """What was seen of hands at the routes and links of this machine."""

    def __init__(self) -> None:
        self._changes: deque[tuple[int, bool]] = deque(maxlen=64)
        self._links: dict[str, LinkSeen] = {}
        self._dark_ns: dict[str, int] = {}
        self._off: dict[str, _Off] = {}

    def route(self, seen: RouteSeen) -> None:
        """Take in the kernel's route, and who changed it."""
        if seen.changed_by:
            self._changes.append((seen.at_ns, BY_HAND.issuperset(seen.changed_by)))

    def link(self, seen: LinkSeen) -> None:
        """Take in what the kernel says of an uplink's interface."""
        name, before = seen.uplink, self._links.get(seen.uplink)
        self._links[name] = seen
        if seen.carrier:
            self._dark_ns.pop(name, None)
        else:
            self._dark_ns.setdefault(name, seen.at_ns)
        off = self._off.get(name)
        if before is not None and before.enabled and not seen.enabled:
            self._off[name] = _Off(before.at_ns, seen.at_ns)
        elif off is not None and off.back_ns is None and seen.enabled:
            self._off[name] = off._replace(back_ns=seen.at_ns)

    def behind(self, change: Change, cut: Cut | None) -> Hand:
        """Return what was seen of a hand behind *change*; *cut* is where the line that was left fell silent, if it did.

        An interface that is switched off under a line which is dead already has not made traffic move.
        """
        until_ns = change.first.known_ns + _REACH_NS
        if self._switched_off(self._off.get(change.from_uplink or ""), change.last_ns, until_ns, cut):
            return Hand.SWITCHED_OFF
        hands = [hand for at_ns, hand in self._changes if change.last_ns < at_ns <= until_ns]
        return Hand.ROUTE if hands and all(hands) and self._had_carrier(change, until_ns) else Hand.NONE

    def _had_carrier(self, change: Change, until_ns: int) -> bool:
        name = change.from_uplink or ""
        return name in self._links and self._dark_ns.get(name, until_ns + 1) > until_ns

    @staticmethod
    def _switched_off(off: _Off | None, last_ns: int, until_ns: int, cut: Cut | None) -> bool:
        if off is None or off.off_ns > until_ns:
            return False
        if cut is None or cut.first_ns == NEVER:
            return off.off_ns > last_ns
        return off.on_ns <= cut.by_ns and (off.back_ns is None or cut.first_ns <= off.back_ns)
