"""Far ends on loopback that answer as they are told."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from typing import cast

from wanwatch.clock import RealClock
from wanwatch.core.model import NS_PER_S, Afterword, Kind, Observation, Pin, Question, Role, Sample, Series
from wanwatch.core.wire import stamp
from wanwatch.measure.measurer import Measurer

MS = 1_000_000
Reply = Callable[[bytes], list[tuple[float, bytes]]]
"""From a request to replies, each with the seconds after which it goes out."""


class _Server(asyncio.DatagramProtocol):
    def __init__(self, reply: Reply) -> None:
        self._reply = reply
        self.requests: list[tuple[bytes, tuple[str, int]]] = []

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # The class that asyncio uses is no subclass of the one that it documents.
        self.transport = cast("asyncio.DatagramTransport", transport)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.requests.append((data, addr))
        for after_s, answer in self._reply(data):
            asyncio.get_running_loop().call_later(after_s, self._send, answer, addr)

    def _send(self, answer: bytes, addr: tuple[str, int]) -> None:
        if not self.transport.is_closing():
            self.transport.sendto(answer, addr)

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.transport.get_extra_info("sockname")[1])


@contextlib.asynccontextmanager
async def udp_server(reply: Reply, address: str = "127.0.0.1", port: int = 0) -> AsyncIterator[_Server]:
    """A UDP server."""
    loop = asyncio.get_running_loop()
    transport, server = await loop.create_datagram_endpoint(lambda: _Server(reply), local_addr=(address, port))
    try:
        yield server
    finally:
        transport.close()
        await asyncio.sleep(0)


def reflect(packet: bytes) -> bytes:
    """What a stateless STAMP reflector answers."""
    asked = stamp.parse_sender(packet)
    assert isinstance(asked, stamp.SenderPacket)
    sent = (asked.sequence, asked.timestamp, asked.error_estimate)
    return stamp.build_reflector(stamp.ReflectorPacket(asked.sequence, 1 << 32, 1, asked.ssid, 1 << 32, *sent, 64))


def question(kind: Kind, address: str, port: int | None = None, **changes: object) -> Question:
    """A question each 50 ms that waits for 100 ms."""
    series = Series(str(changes.pop("uplink", "fibre")), str(changes.pop("target", address)), kind, Role.LINE)
    usual: dict[str, object] = {"every_ns": 50 * MS, "pulse_ns": 10 * MS, "timeout_ns": 100 * MS, "pin": Pin()}
    return Question(series=series, address=address, port=port, **usual | changes)  # type: ignore[arg-type]


def once(kind: Kind, address: str, port: int | None = None, **changes: object) -> Question:
    """A question that is asked at once, and not again within a test."""
    return question(kind, address, port, **{"every_ns": 100 * NS_PER_S, "timeout_ns": NS_PER_S} | changes)


class Told:
    """What a measurer has told, and a way to wait for it."""

    def __init__(self) -> None:
        self.seen: list[Observation] = []
        self._news = asyncio.Event()

    def __call__(self, seen: Observation) -> None:
        """Take it down."""
        self.seen.append(seen)
        self._news.set()

    @property
    def samples(self) -> list[Sample]:
        """The samples."""
        return [seen for seen in self.seen if isinstance(seen, Sample)]

    @property
    def afterwords(self) -> list[Afterword]:
        """The afterwords."""
        return [seen for seen in self.seen if isinstance(seen, Afterword)]

    async def until(self, enough: Callable[[], bool], seconds: float = 10.0) -> None:
        """Wait until *enough* has been told."""
        async with asyncio.timeout(seconds):
            while not enough():
                self._news.clear()
                await self._news.wait()


@contextlib.asynccontextmanager
async def measuring(*questions: Question) -> AsyncIterator[tuple[Measurer, Told]]:
    """A measurer that asks these questions."""
    told = Told()
    measurer = Measurer(RealClock(), told)
    try:
        await measurer.apply(questions)
        yield measurer, told
    finally:
        await measurer.close()


async def ask_once(asked: Question) -> Sample:
    """The one sample of one question."""
    async with measuring(asked) as (_, told):
        await told.until(lambda: bool(told.samples))
    assert len(told.samples) == 1
    return told.samples[0]
