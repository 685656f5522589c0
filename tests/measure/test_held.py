"""A connection that is held open, over real loopback sockets: what becomes of it is told probe by probe."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from tests.measure.far_ends import MS, measuring, question
from wanwatch.core.model import NS_PER_S, Cause, Kind, Outcome, Question, Sample
from wanwatch.reflector import EchoServer

Streams = tuple[asyncio.StreamReader, asyncio.StreamWriter]


@dataclass
class FarEnd:
    """A server that does with each line as *answer* says.

    Attributes:
        answer: What to do with a line.
        port: Where it listens.
        open: The connections that it has taken, the newest last.
        ended: Set once a caller has ended one.
    """

    answer: Callable[[bytes, asyncio.StreamWriter], Awaitable[None]]
    port: int = 0
    open: list[asyncio.StreamWriter] = field(default_factory=list)
    ended: asyncio.Event = field(default_factory=asyncio.Event)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection."""
        self.open.append(writer)
        while line := await reader.readline():
            await self.answer(line, writer)
        self.ended.set()

    def reset(self) -> None:
        """Break the newest connection, as a gateway does that has forgotten it."""
        self.open[-1].transport.abort()


async def echo(line: bytes, writer: asyncio.StreamWriter) -> None:
    """Give the line back."""
    writer.write(line)


@asynccontextmanager
async def far_end(answer: Callable[[bytes, asyncio.StreamWriter], Awaitable[None]] = echo) -> AsyncIterator[FarEnd]:
    """A far end on loopback."""
    far = FarEnd(answer)
    server = await asyncio.start_server(far.serve, "127.0.0.1", 0)
    far.port = server.sockets[0].getsockname()[1]
    try:
        yield far
    finally:
        server.close()
        for writer in far.open:
            writer.transport.abort()
        await asyncio.sleep(0)


def held(port: int, **changes: object) -> Question:
    """A connection to hold, asked each 50 ms."""
    return question(Kind.HELD, "127.0.0.1", port, **changes)


def connection(sample: Sample) -> object:
    """On which connection a probe was sent."""
    return (sample.facts or {}).get("connection")


async def test_one_connection_is_kept_and_each_line_on_it_is_timed() -> None:
    """Against the project's own reflector: one number, growing age, and a round trip each."""
    server = EchoServer()
    await server.start("127.0.0.1", 0)
    async with measuring(held(server.port)) as (_, told):
        await told.until(lambda: len(told.samples) >= 5)
        assert server.connections == 1
    server.close()
    assert {sample.outcome for sample in told.samples} == {Outcome.ANSWERED}
    assert len({connection(sample) for sample in told.samples}) == 1
    assert all(sample.rtt_ns and sample.rtt_ns < NS_PER_S for sample in told.samples)
    ages = [(sample.facts or {})["age_ns"] for sample in told.samples]
    assert ages == sorted(int(str(age)) for age in ages)
    assert [bool((sample.facts or {}).get("opened")) for sample in told.samples[:3]] == [True, False, False]


async def test_an_echo_that_comes_late_is_an_afterword_and_the_connection_lives_on() -> None:
    """TCP sends again until it is heard, so a probe may be lost on a connection that survived."""
    slow = [False]

    async def at_leisure(line: bytes, writer: asyncio.StreamWriter) -> None:
        if slow[0]:
            slow[0] = False
            await asyncio.sleep(0.3)
        writer.write(line)

    async with far_end(at_leisure) as far, measuring(held(far.port)) as (_, told):
        await told.until(lambda: len(told.samples) >= 2)
        slow[0] = True
        await told.until(lambda: any(word.late for word in told.afterwords))
        before = len(told.samples)
        await told.until(lambda: len(told.samples) > before and told.samples[-1].outcome is Outcome.ANSWERED)
    assert Outcome.LOST in {sample.outcome for sample in told.samples}
    assert len({connection(sample) for sample in told.samples}) == 1
    assert len(far.open) == 1


async def test_a_reset_refuses_what_is_under_way_and_the_next_probe_opens_another() -> None:
    """RFC 9293 section 3.5.2: a reset ends a connection. The new one has a number of its own."""
    silent = [False]

    async def or_not(line: bytes, writer: asyncio.StreamWriter) -> None:
        if not silent[0]:
            writer.write(line)

    async with far_end(or_not) as far, measuring(held(far.port, timeout_ns=NS_PER_S)) as (_, told):
        await told.until(lambda: len(told.samples) >= 2)
        silent[0] = True
        await asyncio.sleep(0.12)
        silent[0] = False
        far.reset()
        await told.until(lambda: len({connection(sample) for sample in told.samples}) == 2)
    refused = [sample for sample in told.samples if sample.outcome is Outcome.REFUSED]
    assert refused
    assert {sample.cause for sample in refused} == {Cause.RESET}
    assert {connection(sample) for sample in refused} == {connection(told.samples[0])}
    assert told.samples[-1].outcome is Outcome.ANSWERED
    assert connection(told.samples[-1]) != connection(told.samples[0])


async def test_a_far_end_that_refuses_is_asked_less_and_less() -> None:
    """A refused attempt rests for an interval, then for two, four, eight."""
    async with far_end() as far:
        port = far.port
    async with measuring(held(port)) as (_, told):
        await asyncio.sleep(1.2)
    assert {(sample.outcome, sample.cause) for sample in told.samples} == {(Outcome.REFUSED, Cause.RESET)}
    # At 0, 50, 150, 350 and 750 ms, each at the turn after it.
    assert 3 <= len(told.samples) <= 6


async def test_a_far_end_that_takes_connections_and_says_nothing_is_lost() -> None:
    """Silence is not a refusal; the connection is kept, since it may yet answer."""

    async def nothing(line: bytes, writer: asyncio.StreamWriter) -> None:
        del line, writer

    async with far_end(nothing) as far, measuring(held(far.port)) as (_, told):
        await told.until(lambda: len(told.samples) >= 4)
        assert len(far.open) == 1
    assert {sample.outcome for sample in told.samples} == {Outcome.LOST}
    first = min(told.samples, key=lambda sample: sample.sent_ns)
    assert first.known_ns == first.sent_ns + 100 * MS


async def test_what_is_no_echo_is_malformed_and_ends_the_connection() -> None:
    """A line that was never sent, or no line at all: whoever is there speaks something else."""

    async def otherwise(line: bytes, writer: asyncio.StreamWriter) -> None:
        writer.write(line if line == b"0000000\n" else b"220 mail.example.net\n")

    async with far_end(otherwise) as far, measuring(held(far.port)) as (_, told):
        await told.until(lambda: len(told.samples) >= 4)
    assert Outcome.MALFORMED in {sample.outcome for sample in told.samples}
    assert len({connection(sample) for sample in told.samples}) > 1


async def test_a_question_that_ends_closes_its_connection_and_tells_what_was_under_way() -> None:
    """One sample for each probe, also for those sent before the configuration changed."""
    async with far_end() as far, measuring(held(far.port)) as (measurer, told):
        await told.until(lambda: len(told.samples) >= 2)
        await measurer.apply([])
        before = len(told.samples)
        await asyncio.wait_for(far.ended.wait(), 5)
        assert {sample.outcome for sample in told.samples} == {Outcome.ANSWERED}
        assert len(told.samples) <= before + 1
        assert not measurer._held
