"""Verdicts on switches: what each was, how long people were cut off, how long it took; again once its silence ends."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wanwatch.core.judge.carrying import Change
from wanwatch.core.judge.events import Book, Draft, Moment, resumed
from wanwatch.core.judge.evidence import NEVER
from wanwatch.core.judge.hand import Hand, Hands
from wanwatch.core.judge.interruption import Interruptions
from wanwatch.core.judge.line import Phase
from wanwatch.core.judge.path import Path
from wanwatch.core.judge.run import Gap
from wanwatch.core.judge.stays import Stays, bounds, coming_back, failure, half_cut_off, lasted
from wanwatch.core.judge.switch import cause, classify, way
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import NS_PER_S, Event, EventKind, State

REACH_NS: Final = NS_PER_S
"""A silence belongs to a switch if it begins no later than this after the first word for the new uplink."""


@dataclass(slots=True)
class _Running:
    """A switch that was told while traffic was still cut off."""

    draft: Draft
    gap: Gap | None
    failed: Moment | None = None


class Verdicts:
    """Tells switches.

    Args:
        uplinks: The site's uplinks in order of preference; shared with the judge, who keeps it up to date.
        book: Where switches are told.
        path: The path of ordinary traffic.
        interruptions: What follows each kind of ordinary traffic.
        open_events: Switches that were open when an earlier run ended.
        alive_unix_ns: When that run was last known alive.

    Attributes:
        hands: What is seen of a person who moves traffic.
        unheard_ns: When each STUN server was last asked in vain.
    """

    def __init__(
        self, uplinks: Mapping[str, Uplink], book: Book, *, path: Path, interruptions: Interruptions,
        open_events: Sequence[Event], alive_unix_ns: int | None,
    ) -> None:  # fmt: skip
        self.hands = Hands()
        self.unheard_ns: dict[str, int] = {}
        self._uplinks = uplinks
        self._book = book
        self._path = path
        self._interruptions = interruptions
        self._alive_unix_ns = alive_unix_ns
        self._running = [_Running(resumed(event), None) for event in open_events]
        self._stays = Stays()

    @property
    def open(self) -> bool:
        """Whether traffic is still cut off by a switch that was told."""
        return bool(self._running)

    def tell(self, change: Change, now_ns: int, *, sure: bool) -> None:
        """Tell what a switch was; if it is not *sure*, a line that seems up is not claimed to have been."""
        self._path.ledger.settle(now_ns)
        first_ns = change.first.sent_ns
        gap = self._path.ledger.longest(change.last_ns, first_ns + REACH_NS) if change.watched else None
        if gap is None and change.shared:
            gap = half_cut_off(change, failure(self._uplinks[change.from_uplink or ""]), self.unheard_ns.values())
        start, end = bounds(change, gap, self._alive_unix_ns)
        left = self._uplinks.get(change.from_uplink or "")
        lo_ns, hi_ns = change.last_ns, first_ns if end is None else end.latest_ns
        was = State.UNOBSERVED if left is None or not change.watched else left.was(lo_ns, hi_ns)
        if was is State.UP and not sure:
            was = State.UNOBSERVED
        fell = left is not None and was is State.DOWN
        hand = self.hands.behind(change, left.line.cut if left is not None and fell else None)
        draft = Draft(
            kind=classify(was, way(tuple(self._uplinks), change.from_uplink, change.to_uplink)), uplink=None,
            start=start, end=end, from_uplink=change.from_uplink, to_uplink=change.to_uplink,
            interruption_s=self._path.interruption_s(gap) if change.watched else None,
            detail={"cause": cause(was, hand)},
        )  # fmt: skip
        if hand is not Hand.NONE and draft.detail["cause"] == "by-hand":
            draft.detail["hand"] = hand.value
        if change.from_uplink is None:
            del draft.detail["cause"]  # a restoration leaves no line behind that could have caused it
        if not change.watched:
            draft.detail["watched"] = False
        else:
            self._interruptions.follow(draft, gap, lo_ns=lo_ns, hi_ns=first_ns + REACH_NS, now_ns=now_ns)
        failed = failure(left) if left is not None and fell and draft.kind is EventKind.FAILOVER else None
        self._time(draft, change, gap, failed)
        self._told(draft, gap, failed)

    def _time(self, draft: Draft, change: Change, gap: Gap | None, failed: Moment | None) -> None:
        """Say how long the failure took to be noticed, or how long traffic was away from where it is back."""
        first = change.first
        arrival = Moment(first.sent_ns, first.sent_ns if change.last_ns == NEVER else change.last_ns, first.known_ns)
        if gap is not None and gap.end_ns is not None:
            arrival = Moment(gap.end_ns, gap.last_ns, gap.end_known_ns)
        absence = self._stays.moved(change, arrival)
        took = self._uplinks.get(change.to_uplink or "")
        if draft.kind is EventKind.FAILBACK and absence is not None and took is not None:
            draft.detail |= coming_back(absence, took, arrival)
        if failed is not None and draft.end is not None:
            draft.detail |= lasted("detection", failed, arrival)

    def _told(self, draft: Draft, gap: Gap | None, failed: Moment | None) -> None:
        if draft.from_uplink is None:
            self._end_blackouts(draft, gap)
        if draft.end is None:
            self._running.append(_Running(draft, gap, failed))
        self._book.tell(draft)

    def run_on(self) -> None:
        """Tell again the switches whose silence has ended."""
        for running in tuple(self._running):
            gap, draft, woken = running.gap, running.draft, self._path.line.woken
            if gap is not None and gap.end_ns is not None:
                draft.end = Moment(gap.end_ns, gap.last_ns, gap.end_known_ns)
                draft.interruption_s = self._path.interruption_s(gap)
                if running.failed is not None:
                    draft.detail |= lasted("detection", running.failed, draft.end)
            elif gap is None and draft.kind is not EventKind.BLACKOUT and self._path.line.phase is Phase.UP:
                # From before a restart, and the end of its silence was not watched.
                draft.end = Moment(woken.first_ns, woken.first_ns, woken.known_ns, floor_unix_ns=self._alive_unix_ns)
            else:
                continue
            self._running.remove(running)
            self._book.tell(draft)

    def _end_blackouts(self, restoration: Draft, gap: Gap | None) -> None:
        """A blackout whose silence was not timed ends with the restoration."""
        for running in tuple(self._running):
            if running.gap is None and running.draft.kind is EventKind.BLACKOUT:
                running.draft.end = restoration.end or restoration.start
                running.draft.interruption_s = None if gap is None else self._path.interruption_s(gap)
                self._running.remove(running)
                self._book.tell(running.draft)
