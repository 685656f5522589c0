"""The measurer: asks every question on time, and tells one sample for each probe."""

import asyncio
import socket
from collections import Counter
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import dns.exception
import dns.message

from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import NS_PER_S, Kind, Observation, Outcome, Pin, Question, Role, Sample
from wanwatch.core.ports import Clock
from wanwatch.core.resolver import Resolver, Transport
from wanwatch.core.wire import stamp, stun
from wanwatch.measure import attempt, fetch, names, resolvers
from wanwatch.measure.codecs import DnsCodec, EchoCodec, StampCodec, StunCodec, version_of
from wanwatch.measure.flights import Flight, Track
from wanwatch.measure.held import Held
from wanwatch.measure.lane import Ground, Lane, Opened
from wanwatch.measure.pace import WHOLE, Pacer, Turn, spread
from wanwatch.measure.sockets import open_datagram, open_icmp, resolve
from wanwatch.measure.stream import CannotSendError

_PORTS: Final = {Kind.STAMP: stamp.PORT, Kind.STUN: stun.PORT, Kind.DNS: names.PORT}

# Multiples of the golden ratio fall far apart, so that kin of one role rarely fire along with those of another.
_FIRST: Final = {role: number * 0x9E37_79B9 % WHOLE for number, role in enumerate(Role)}


class BadQuestionError(WanwatchError):
    """A question that cannot be asked as it stands."""

    def __init__(self, question: Question, why: str) -> None:
        super().__init__(f"target {question.series.target!r}: cannot ask {question.address!r}: {why}")
        self.question = question


@dataclass(slots=True)
class _Asking:
    """A question that is being asked: its turn, and what ends it."""

    turn: Turn
    stop: Callable[[], None]


@dataclass(slots=True)
class _Shared:
    """A lane that several questions use."""

    lane: Lane
    users: int = 0


class Measurer:
    """Asks questions, each at its own times, and tells what came of every probe.

    Create it inside a running event loop.

    Args:
        clock: Where time comes from.
        tell: Called in the event loop with each sample and afterword; must not block.
    """

    def __init__(self, clock: Clock, tell: Callable[[Observation], None]) -> None:
        self._ground = Ground(clock, tell)
        self._pacer = Pacer(clock)
        self._asking: dict[Question, _Asking] = {}
        self._shared: dict[tuple[Pin, int], _Shared] = {}
        self._lanes: set[Lane] = set()
        self._held: set[Held] = set()
        self._tasks: set[asyncio.Task[None]] = set()

    async def apply(self, questions: Sequence[Question]) -> None:
        """Ask these *questions* from now on, and no others; those asked already go on undisturbed.

        Probes under way of a question that ends are still told.

        Raises:
            BadQuestionError: One cannot be asked; nothing was changed then.
        """
        wanted = dict.fromkeys(questions)
        added = [question for question in wanted if question not in self._asking]
        for question in added:
            _check(question)
        for question in [question for question in self._asking if question not in wanted]:
            ended = self._asking.pop(question)
            self._pacer.remove(ended.turn)
            ended.stop()
        self._begin(added)

    def pace(self, uplink: str, *, quick: bool) -> None:
        """Ask the questions of *uplink* at their pulse (*quick*), or at their usual interval, from now on."""
        self._pacer.pace(uplink, quick=quick)

    async def close(self) -> None:
        """Stop at once. Probes under way are not told: nobody is looking any longer."""
        self._pacer.close()
        for lane in list(self._lanes):
            lane.close()
        for held in list(self._held):
            held.close()
        self._lanes.clear()
        self._held.clear()
        self._shared.clear()
        self._asking.clear()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def _begin(self, questions: list[Question]) -> None:
        turns = []
        numbers = Counter(_kin(question) for question in questions)
        shares = {kin: iter(spread(self._taken(kin), number, _FIRST[kin[1]])) for kin, number in numbers.items()}
        for question in questions:
            fire, stop = self._ways(question)
            share = next(shares[_kin(question)])
            turn = Turn(fire, question.series.uplink, share, question.every_ns, question.pulse_ns)
            self._asking[question] = _Asking(turn, stop)
            turns.append(turn)
        self._pacer.add(turns)

    def _taken(self, kin: tuple[str, Role]) -> list[int]:
        """The shares that questions of this *kin* hold."""
        return [asking.turn.share for question, asking in self._asking.items() if _kin(question) == kin]

    def _ways(self, question: Question) -> tuple[Callable[[], None], Callable[[], None]]:
        """Return what asks *question* once, and what ends it."""
        match question.series.kind:
            case Kind.TCP | Kind.HTTP:
                probe = fetch.tcp if question.series.kind is Kind.TCP else fetch.http
                return partial(self._start, question, probe), _nothing
            case Kind.HELD:
                held = Held(self._ground, question, self._spawn, ended=self._held.discard)
                self._held.add(held)
                return held.ask, held.retire
            case Kind.ECHO:
                return self._echo(question)
            case Kind.STAMP:
                family, track = _track(question)
                key = question.stamp_key
                lane = self._lane(question.pin, lambda: Opened(open_datagram(question.pin, family), StampCodec(key)))
                return partial(lane.ask, track), lane.retire
            case Kind.DNS if question.resolver and question.resolver.transport is not Transport.UDP:
                return partial(self._start, question, resolvers.probe), _nothing
            case Kind.STUN | Kind.DNS:
                family, track = _track(question)
                return partial(self._ask_fresh, question, family, track), _nothing

    def _echo(self, question: Question) -> tuple[Callable[[], None], Callable[[], None]]:
        family, track = _track(question)
        key = question.pin, family
        if key not in self._shared:
            self._shared[key] = _Shared(self._lane(question.pin, partial(_open_echo, question.pin, family)))
        shared = self._shared[key]
        shared.users += 1

        def release() -> None:
            shared.users -= 1
            if not shared.users:
                del self._shared[key]
                shared.lane.retire()

        return partial(shared.lane.ask, track), release

    def _ask_fresh(self, question: Question, family: socket.AddressFamily, track: Track) -> None:
        # A new port for each: resolvers want it so (RFC 5452 section 9.2), and a gateway that keeps old flows on a
        # dead line would else show where old traffic goes instead of new.
        query = names.question(question.ask or ".") if question.series.kind is Kind.DNS else None
        codec = DnsCodec(query) if query is not None else StunCodec()
        elsewhere = None if query is None else partial(self._ask_again, question, query)
        lane = self._lane(question.pin, lambda: Opened(open_datagram(question.pin, family), codec), elsewhere)
        lane.ask(track)
        lane.retire()

    def _ask_again(self, question: Question, query: dns.message.QueryMessage, flight: Flight) -> None:
        self._spawn(_over_tcp(self._ground, question, query, flight))

    def _lane(self, pin: Pin, opener: Callable[[], Opened], elsewhere: Callable[[Flight], None] | None = None) -> Lane:
        lane = Lane(self._ground, pin, opener, elsewhere=elsewhere, emptied=self._lanes.discard)
        self._lanes.add(lane)
        return lane

    def _start(self, question: Question, probe: attempt.Probe) -> None:
        self._spawn(attempt.run(self._ground, question, probe))

    def _spawn(self, work: Coroutine[None, None, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


async def _over_tcp(ground: Ground, question: Question, query: dns.message.QueryMessage, flight: Flight) -> None:
    """Fetch over TCP the answer that was too long for UDP (RFC 1035 section 4.2.1), within the same waiting time."""
    left_s = max(0, flight.deadline_ns - ground.clock.now_ns()) / NS_PER_S
    reading = None
    try:
        async with asyncio.timeout(left_s):
            resolver = Resolver(question.address, question.port or names.PORT)
            reply = await resolvers.over_tcp(resolvers.Way(question.pin, resolver, ground.clock), query)
            reading = names.reading(query, reply) if isinstance(reply, dns.message.Message) else None
    except (OSError, TimeoutError, CannotSendError):
        pass
    known_ns = ground.clock.now_ns()
    said = (flight.track.series, flight.sent_ns, flight.sent_unix_ns)
    if reading is None or reading.outcome is None:
        ground.tell(Sample(*said, known_ns, Outcome.LOST))
    else:
        rtt_ns = known_ns - flight.sent_ns
        ground.tell(Sample(*said, known_ns, reading.outcome, rtt_ns, reading.cause, facts=reading.facts))


def _open_echo(pin: Pin, family: socket.AddressFamily) -> Opened:
    sock, raw = open_icmp(pin, family)
    return Opened(sock, EchoCodec(version_of(family), raw=raw))


def _track(question: Question) -> tuple[socket.AddressFamily, Track]:
    kind = question.series.kind
    port = 0 if kind is Kind.ECHO else question.port or _PORTS[kind]
    family, to = resolve(question.address, port)
    return family, Track(question.series, to, question.timeout_ns)


def _kin(question: Question) -> tuple[str, Role]:
    """Whom a question must not fire together with: an instant is bounded by sends of one uplink and one role."""
    return question.series.uplink, question.series.role


def _check(question: Question) -> None:
    if question.series.kind is Kind.HTTP:
        return
    try:
        resolve(question.address)
    except OSError as error:
        raise BadQuestionError(question, "it is no IP address; write one, such as 192.0.2.1") from error
    try:
        names.question(question.ask or ".")
    except dns.exception.DNSException as error:
        why = f"{question.ask!r} is no domain name; write one, such as www.example.com"
        raise BadQuestionError(question, why) from error


def _nothing() -> None:
    pass
