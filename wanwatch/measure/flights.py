"""Probes under way: one sample for each, whatever comes back and when. Pure but for the listener it tells.

A probe waits until its deadline. An answer that the kernel received by then is its outcome; without one it is lost
(RFC 6673 with the waiting time of RFC 7680), unless we may have thrown the answer away ourselves: then it was not
measured. An answered probe is remembered until its deadline and a lost one for 10 s longer, so that a duplicate or a
late answer can be told in an afterword; what comes later still is ignored.
"""

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final, NamedTuple

from wanwatch.core.model import NS_PER_S, Afterword, Cause, Json, Observation, Outcome, Sample, Series
from wanwatch.measure.sockets import Sender

LINGER_NS: Final = 10 * NS_PER_S
OLDEST: Final = -1
"""Stands for the number of a probe where a reply is too broken to say which: the oldest that still waits."""
_STEP_NS: Final = 200_000
_MOST_AGE_NS: Final = NS_PER_S


@dataclass(slots=True, eq=False)
class Track:
    """What the probes of one question share.

    Attributes:
        series: Whose samples they give.
        to: Where they go.
        timeout_ns: How long each waits.
        sent: How many were sent.
        furthest: The highest number among those answered, -1 at first.
    """

    series: Series
    to: Sender
    timeout_ns: int
    sent: int = 0
    furthest: int = -1


class _Phase(Enum):
    WAITING = auto()
    TOLD = auto()
    LOST = auto()
    LATE = auto()


_WAITING: Final = _Phase.WAITING


@dataclass(slots=True, eq=False)
class Flight:
    """One probe under way."""

    track: Track
    number: int
    key: int
    sent_ns: int
    sent_unix_ns: int
    deadline_ns: int
    phase: _Phase = _WAITING


class Reading(NamedTuple):
    """What a codec made of a reply.

    Attributes:
        key: Which probe it answers, or `OLDEST`.
        outcome: `ANSWERED`, `REFUSED` or `MALFORMED`; None where the answer has to be fetched another way.
        cause: Why, where refused.
        facts: What else it says.
        residence_ns: How long the far end kept the probe; not part of the round trip.
    """

    key: int
    outcome: Outcome | None = Outcome.ANSWERED
    cause: Cause | None = None
    facts: Mapping[str, Json] | None = None
    residence_ns: int = 0


def arrived_ns(flight: Flight, now_ns: int, now_unix_ns: int, stamp_unix_ns: int | None) -> int:
    """Return the monotonic instant at which a reply to *flight* came, that was read now (told by both clocks).

    The kernel stamps arrivals with the wall clock. Its stamp says how long the reply has been lying here, which is
    believed only while the two clocks kept their distance since the probe was sent: a step of the wall clock must
    never change a round-trip time.
    """
    if stamp_unix_ns is None:
        return now_ns
    stepped_ns = (now_unix_ns - now_ns) - (flight.sent_unix_ns - flight.sent_ns)
    age_ns = now_unix_ns - stamp_unix_ns
    if age_ns < 0 or not -_STEP_NS < stepped_ns < _STEP_NS:
        return now_ns
    return max(now_ns - min(age_ns, _MOST_AGE_NS), flight.sent_ns)


def _round_trip_ns(flight: Flight, reading: Reading, known_ns: int) -> int:
    elapsed_ns = known_ns - flight.sent_ns
    # A far end that claims to have kept the probe longer than it was away is not believed.
    return elapsed_ns - reading.residence_ns if 0 <= reading.residence_ns <= elapsed_ns else elapsed_ns


class Flights:
    """The probes under way on one socket, by key.

    Args:
        tell: Called with each sample and afterword.
    """

    def __init__(self, tell: Callable[[Observation], None]) -> None:
        self._tell = tell
        self._by_key: dict[int, Flight] = {}
        self._waiting: dict[int, deque[Flight]] = {}  # by waiting time, so that each queue is in order of deadlines
        self._lost: deque[Flight] = deque()

    def __len__(self) -> int:
        """How many are remembered."""
        return len(self._by_key)

    def launch(self, track: Track, key: int, sent_ns: int, sent_unix_ns: int) -> None:
        """Remember a probe that has just been sent."""
        timeout_ns = track.timeout_ns
        flight = Flight(track, track.sent, key, sent_ns, sent_unix_ns, sent_ns + timeout_ns)
        track.sent += 1
        self._by_key[key] = flight
        queue = self._waiting.get(timeout_ns)
        if queue is None:
            queue = self._waiting[timeout_ns] = deque()
        queue.append(flight)

    def settle(
        self, reading: Reading, sender: Sender, now_ns: int, now_unix_ns: int, stamp_unix_ns: int | None = None
    ) -> Flight | None:
        """Take in a reply that was read now, and received by the kernel at *stamp_unix_ns* (wall clock).

        Returns:
            The flight, where the answer has to be fetched another way: whoever takes it owes its sample.
        """
        key = reading.key
        flight = self._by_key.get(key) if key != OLDEST else self._oldest(sender)
        # Nobody but the target may answer for it; for refusals the caller names the target.
        if flight is None or flight.track.to[:2] != sender[:2]:
            return None
        known_ns = arrived_ns(flight, now_ns, now_unix_ns, stamp_unix_ns)
        if flight.phase is _WAITING and known_ns <= flight.deadline_ns:
            flight.phase = _Phase.TOLD
            if reading.outcome is None:
                return flight
            self._tell_sample(flight, reading, reading.outcome, known_ns)
        elif reading.outcome is Outcome.ANSWERED:
            self._tell_afterword(flight, reading, known_ns)
        return None

    def expire(self, now_ns: int, deaf_ns: int = 0) -> None:
        """Count as lost what has waited until *now_ns* in vain, and forget what has been remembered long enough.

        What was sent before *deaf_ns* may have been answered into a full buffer of ours: it was not measured.
        """
        for queue in self._waiting.values():
            while queue and queue[0].deadline_ns <= now_ns:
                flight = queue.popleft()
                if flight.phase is _WAITING:
                    self._give_up(flight, measured=flight.sent_ns >= deaf_ns)
                if flight.phase is _Phase.TOLD:
                    del self._by_key[flight.key]
                else:
                    self._lost.append(flight)
        while self._lost and self._lost[0].deadline_ns + LINGER_NS <= now_ns:
            del self._by_key[self._lost.popleft().key]

    def next_ns(self) -> int | None:
        """Return when `expire` has something to do next (monotonic), or None."""
        fronts = [queue[0].deadline_ns for queue in self._waiting.values() if queue]
        if self._lost:
            fronts.append(self._lost[0].deadline_ns + LINGER_NS)
        return min(fronts, default=None)

    def _oldest(self, sender: Sender) -> Flight | None:
        waiting = (f for queue in self._waiting.values() for f in queue if f.phase is _WAITING)
        return min((f for f in waiting if f.track.to[:2] == sender[:2]), key=lambda f: f.sent_ns, default=None)

    def _tell_sample(self, flight: Flight, reading: Reading, outcome: Outcome, known_ns: int) -> None:
        track = flight.track
        reordered = False
        if outcome is Outcome.ANSWERED:
            # RFC 4737 section 3: reordered is what arrives behind one that was sent later.
            reordered = flight.number < track.furthest
            if not reordered:
                track.furthest = flight.number
        rtt_ns = None if outcome is Outcome.MALFORMED else _round_trip_ns(flight, reading, known_ns)
        said = (track.series, flight.sent_ns, flight.sent_unix_ns, known_ns, outcome, rtt_ns)
        self._tell(Sample(*said, reading.cause, reordered, reading.facts))

    def _tell_afterword(self, flight: Flight, reading: Reading, known_ns: int) -> None:
        if flight.phase is _WAITING:  # it came after the deadline, but before anybody looked
            self._lose(flight)
        late = flight.phase is _Phase.LOST
        if late:
            flight.phase = _Phase.LATE
        rtt_ns = _round_trip_ns(flight, reading, known_ns)
        series = flight.track.series
        self._tell(Afterword(series, flight.sent_ns, flight.sent_unix_ns, known_ns, rtt_ns, late))

    def _give_up(self, flight: Flight, *, measured: bool) -> None:
        if measured:
            self._lose(flight)
            return
        flight.phase = _Phase.TOLD  # and forgotten: an answer that still comes is of a probe that never counted
        said = (flight.track.series, flight.sent_ns, flight.sent_unix_ns, flight.deadline_ns)
        self._tell(Sample(*said, Outcome.NOT_SENT, cause=Cause.NO_BUFFER))

    def _lose(self, flight: Flight) -> None:
        flight.phase = _Phase.LOST
        self._tell(Sample(flight.track.series, flight.sent_ns, flight.sent_unix_ns, flight.deadline_ns, Outcome.LOST))
