"""An hour of an office in a real record, a forwarder over it, and a receiver that answers as it is told."""

import socket
import ssl
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, closing
from pathlib import Path
from typing import Any, Final

import cramjam
import trustme
from aiohttp import web

from tests.fakes.clock import FakeClock
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
    Bounds,
    Domain,
    Event,
    EventKind,
    Json,
    Kind,
    Measurement,
    MeasurementKind,
    Outcome,
    Role,
    Sample,
    Series,
)
from wanwatch.publish.remote_write import Forwarder, Receiver, Source
from wanwatch.publish.ways import Line
from wanwatch.store import SqliteKeeper, SqliteRecord

SITE: Final = "harbour-lane"
NEAR: Final = Series("fibre", "near", Kind.ECHO, Role.LINE)
ORDINARY: Final = Series(UNPINNED, "near", Kind.ECHO, Role.LINE)
MINUTES: Final = 60
EVERY_S: Final = 5


def at(unix_ns: int) -> Bounds:
    """An instant that is known exactly."""
    return Bounds(unix_ns, unix_ns, unix_ns)


async def an_hour(path: Path, begun_unix_ns: int) -> FakeClock:
    """Keep an hour of two series, an outage with its failover, and two speed tests; return the clock, past the end."""
    clock = FakeClock(begun_unix_ns)
    keeper = SqliteKeeper(path, SITE, clock, tell_trouble=print, flush_every_s=3600)
    keeper.open()
    down, up = begun_unix_ns + 1800 * NS_PER_S, begun_unix_ns + 1950 * NS_PER_S
    for turn in range(MINUTES * 60 // EVERY_S):
        for series in (NEAR, ORDINARY):
            now_ns, now_unix_ns = clock.now_ns(), clock.now_unix_ns()
            silent = series is NEAR and down <= now_unix_ns < up
            rtt_ns = None if silent else 8_000_000 + 1000 * (turn % 97)
            outcome = Outcome.LOST if silent else Outcome.ANSWERED
            keeper.sample(Sample(series, now_ns, now_unix_ns, now_ns + 10, outcome, rtt_ns))
        clock.advance(EVERY_S)
        if turn % 10 == 0:
            await keeper.flush()
    await keeper.event(Event("o", SITE, EventKind.OUTAGE, "fibre", at(down), at(up), Domain.PROVIDER))
    switch = Event("f", SITE, EventKind.FAILOVER, None, at(down + NS_PER_S), at(down + NS_PER_S), None,
                   from_uplink="fibre", to_uplink="copper", interruption_s=4.2)  # fmt: skip
    await keeper.event(switch)
    for after_s, bps in ((600, 5e8), (630, 9e8)):
        found: dict[str, Json] = {"down": {"goodput": {"bps": bps}}}
        await keeper.measurement(Measurement(down + after_s * NS_PER_S, "fibre", MeasurementKind.SPEED, found))
    await keeper.close()
    clock.advance(180)
    return clock


def opened(address: Any) -> socket.socket:
    """A socket without a pin."""
    family, kind, protocol, *_ = address
    return socket.socket(family, kind | socket.SOCK_NONBLOCK, protocol)


async def unknown(host: str) -> list[str]:
    """What a resolver says that knows no name."""
    del host
    return []


OPEN: Final = Line("open", opened, unknown)


def forwarder(
    path: Path, clock: FakeClock, receiver: Receiver, told: list[str], kept: list[int],
    line: Callable[[], Line | None] = lambda: OPEN,
) -> Forwarder:  # fmt: skip
    """A forwarder over the record at *path*, which goes on from the last position in *kept*."""
    source = Source(
        site=SITE, open_record=lambda: closing(SqliteRecord(path)), writable=lambda: True,
        position=kept[-1] if kept else None, keep=kept.append,
    )  # fmt: skip
    return Forwarder(receiver, source, line=line, tell=told.append, clock=clock)


class Answering:
    """A receiver: gives the answers in order, the last one for good, and keeps what came."""

    def __init__(self, *answers: web.Response | int) -> None:
        self.answers = list(answers)
        self.requests: list[tuple[dict[str, str], bytes]] = []

    async def handle(self, request: web.Request) -> web.Response:
        """Take one request."""
        self.requests.append((dict(request.headers), bytes(cramjam.snappy.decompress_raw(await request.read()))))
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        return answer if isinstance(answer, web.Response) else web.Response(status=answer)


@asynccontextmanager
async def listening(answering: Answering, authority: trustme.CA | None = None) -> AsyncIterator[str]:
    """Listen on loopback; the URL to send to."""
    app = web.Application()
    app.add_routes([web.post("/api/v1/write", answering.handle)])
    runner = web.AppRunner(app)
    await runner.setup()
    context = None
    if authority is not None:
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        authority.issue_cert("127.0.0.1").configure_cert(context)
    await web.TCPSite(runner, "127.0.0.1", 0, ssl_context=context).start()
    try:
        yield f"http{'s' if context else ''}://127.0.0.1:{runner.addresses[0][1]}/api/v1/write"
    finally:
        await runner.cleanup()
