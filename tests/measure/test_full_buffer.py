"""What our own full buffer threw away was not measured, and is no loss of the line."""

import contextlib
import socket
from collections import Counter

import pytest

from tests.measure.far_ends import MS, Told, udp_server
from wanwatch.clock import RealClock
from wanwatch.core.model import Cause, Kind, Outcome, Pin, Role, Series
from wanwatch.measure import sockets
from wanwatch.measure.codecs import EchoCodec, StampCodec
from wanwatch.measure.flights import Track
from wanwatch.measure.lane import Ground, Lane, Opened
from wanwatch.measure.sockets import dropped, open_datagram, open_icmp

PROBES = 200


def track(kind: Kind, to: tuple[str, int]) -> Track:
    """A series whose probes wait for 100 ms."""
    return Track(Series("fibre", "near", kind, Role.LINE), to, 100 * MS)


async def test_an_answer_that_finds_no_room_is_a_gap_and_not_a_loss(monkeypatch: pytest.MonkeyPatch) -> None:
    """Linux socket(7): the kernel drops what exceeds the receive buffer; here it holds a few of 200 answers."""
    monkeypatch.setattr(sockets, "_RECEIVE_BUFFER_BYTES", 4096)
    told = Told()

    def opened() -> Opened:
        sock, raw = open_icmp(Pin(), socket.AF_INET)
        return Opened(sock, EchoCodec(4, raw=raw))

    lane = Lane(Ground(RealClock(), told), Pin(), opened)
    asked = track(Kind.ECHO, ("127.0.0.1", 0))
    for _ in range(PROBES):  # all at once: nobody reads in between, and the kernel answers each at once
        lane.ask(asked)
    await told.until(lambda: len(told.samples) == PROBES)
    seen = Counter((sample.outcome, sample.cause) for sample in told.samples)
    assert set(seen) == {(Outcome.ANSWERED, None), (Outcome.NOT_SENT, Cause.NO_BUFFER)}
    for _ in range(3):  # afterwards there is room again
        lane.ask(asked)
    await told.until(lambda: len(told.samples) == PROBES + 3)
    lane.close()
    assert [sample.outcome for sample in told.samples[PROBES:]] == [Outcome.ANSWERED] * 3


async def test_silence_is_a_loss_where_nothing_was_thrown_away() -> None:
    """RFC 6673: no answer within the waiting time."""
    told = Told()
    async with udp_server(lambda _: []) as server:
        lane = Lane(
            Ground(RealClock(), told), Pin(), lambda: Opened(open_datagram(Pin(), socket.AF_INET), StampCodec())
        )
        lane.ask(track(Kind.STAMP, ("127.0.0.1", server.port)))
        await told.until(lambda: len(told.samples) == 1)
        lane.close()
    assert (told.samples[0].outcome, told.samples[0].cause) == (Outcome.LOST, None)


def test_the_kernel_counts_what_it_throws_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """Linux linux/sock_diag.h: SK_MEMINFO_DROPS, of each socket by itself."""
    monkeypatch.setattr(sockets, "_RECEIVE_BUFFER_BYTES", 4096)
    sent = 100
    with (
        open_datagram(Pin(), socket.AF_INET) as full,
        open_datagram(Pin(), socket.AF_INET) as other,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as far,
    ):
        full.bind(("127.0.0.1", 0))
        assert dropped(full) == 0
        for _ in range(sent):
            far.sendto(bytes(44), full.getsockname())
        kept = 0
        with contextlib.suppress(BlockingIOError):
            while full.recv(100):
                kept += 1
        assert 0 < kept < sent
        assert (dropped(full), dropped(other)) == (sent - kept, 0)
