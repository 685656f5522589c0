"""A far end that stalls, resets, lies, drips or sends elsewhere: a clear ending, in bounded time and memory."""

import asyncio
import time
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.speed import hostile
from tests.measure.speed.hostile import OK, Behave, far_end, says
from wanwatch.clock import RealClock
from wanwatch.core.account.speed_result import Direction, Ending
from wanwatch.core.model import Pin
from wanwatch.measure.speed import far, lanes, worker
from wanwatch.measure.speed.answer import Body, Trouble, read_answer
from wanwatch.measure.speed.job import Job, Transfer
from wanwatch.measure.speed.worker import Worker

PATIENCE_S = 0.6
SECONDS = 1.0
MOST_S = 3 + SECONDS + 2 * PATIENCE_S + 1.5


@pytest.fixture(autouse=True)
def hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    """Less patience than in life, so that tests are short; what it bounds is the same."""
    monkeypatch.setattr(lanes, "PATIENCE_S", PATIENCE_S)
    monkeypatch.setattr(worker, "STALL_NS", int(PATIENCE_S * 1e9))


async def moved(port: int, direction: Direction = Direction.DOWN, *, tls: bool = False, most: int = 10**9) -> Transfer:
    """Run one direction against a port of loopback."""
    job = Job(
        direction=direction, pin=Pin(), addresses=["127.0.0.1"], port=port, host="127.0.0.1",
        authority=f"127.0.0.1:{port}", path="/bytes", tls=tls, ca_file=None, token=None, connections=2,
        seconds=SECONDS, most_bytes=most,
    )  # fmt: skip
    return await Worker(job, RealClock(), lambda _mark: None).run()


CASES: list[tuple[str, Behave, Ending, str]] = [
    ("silent", hostile.silent, Ending.STALLED, "no answer within"),
    ("a dripping head", hostile.drips_a_head, Ending.STALLED, "no answer within"),
    ("a head without end", hostile.head_without_end, Ending.MALFORMED, "its head has no end"),
    ("no HTTP", says(b"220 mail.example.net\r\n", then=hostile.silent), Ending.MALFORMED, "220 mail.example.net"),
    ("an impossible length", says(OK + b"Content-Length: -5\r\n"), Ending.MALFORMED, "'-5'"),
    ("a stall", says(OK, then=hostile.gives_some_and_stalls), Ending.STALLED, "for "),
    ("a reset", says(OK, then=hostile.resets), Ending.RESET, ""),
    ("a close without a word", hostile.gives(0), Ending.RESET, ""),
    ("too few", says(OK + b"Content-Length: 5000\r\n", then=hostile.gives(10)), Ending.SHORT, "4990 bytes"),
    ("too many", says(OK + b"Content-Length: 10\r\n", then=hostile.gives(5000)), Ending.SHORT, "more than announced"),
    (
        "a redirection to itself", says(b"HTTP/1.1 302 Found\r\nLocation: /bytes\r\n", then=hostile.silent),
        Ending.REDIRECTED, "status 302, to /bytes",
    ),
    ("a refusal", says(b"HTTP/1.1 503 Busy\r\n", then=hostile.silent), Ending.HTTP_STATUS, "status 503"),
    ("a portal", says(b"HTTP/1.1 511 Sign in\r\n", then=hostile.silent), Ending.PORTAL, "status 511"),
    (
        "a portal's page", says(b"HTTP/1.1 200 OK\r\nContent-Type: text/html; charset=utf-8\r\n"),
        Ending.PORTAL, "HTML",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("behave", "ending", "why"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
async def test_a_bad_far_end_has_a_clear_ending_in_bounded_time(behave: Behave, ending: Ending, why: str) -> None:
    """RFC 9112: whatever breaks its rules ends the run, with its reason, and nothing is raised."""
    begun = time.monotonic()
    async with far_end(behave) as port:
        found = await moved(port)
    assert found.ending is ending, found.why
    assert why in found.why
    assert time.monotonic() - begun < MOST_S


async def test_a_far_end_that_drips_for_ever_is_measured_as_slow_as_it_is() -> None:
    """Slow is not broken: 20 bytes a second and connection, and the run ends when its time is over."""
    begun = time.monotonic()
    async with far_end(says(OK, then=hostile.drips)) as port:
        found = await moved(port)
    assert found.ending is Ending.DONE
    assert found.begin is not None
    assert 0 < found.used < 1000
    assert time.monotonic() - begun < MOST_S


async def test_an_interim_answer_is_not_the_answer() -> None:
    """RFC 9110 section 15.2: any number of 1xx may come before, in one packet with what counts."""
    interim = b"HTTP/1.1 103 Early Hints\r\nLink: x\r\n\r\n"
    refusal = b"HTTP/1.1 503 Busy\r\n"
    async with far_end(says(interim * 2 + refusal, then=hostile.silent)) as port:
        found = await moved(port)
    assert (found.ending, found.why) == (Ending.HTTP_STATUS, "status 503")


async def test_the_most_bytes_of_a_test_are_a_hard_cap() -> None:
    """However fast the far end pours, no more is read than one buffer a connection above the cap."""
    async with far_end(says(OK, then=hostile.pours)) as port:
        found = await moved(port, most=20_000_000)
    assert found.ending is Ending.CAPPED
    assert 20_000_000 <= found.used <= 20_000_000 + 2 * 262_144


async def test_memory_does_not_grow_with_what_is_poured_in() -> None:
    """One buffer for all connections: hundreds of megabytes leave less than two behind."""
    async with far_end(says(OK, then=hostile.pours)) as port:
        await moved(port, most=1_000_000)
        tracemalloc.start()
        try:
            before, _ = tracemalloc.get_traced_memory()
            found = await moved(port, most=300_000_000)
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
    assert found.used > 50_000_000
    assert peak - before < 4_000_000  # of which the far end in this very process holds its own


@pytest.mark.parametrize(
    ("behave", "ending"),
    [
        (hostile.stops_reading, Ending.STALLED),
        (says(b"HTTP/1.1 413 Too Large\r\n", then=hostile.silent), Ending.HTTP_STATUS),
        (says(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n", then=hostile.silent), Ending.SHORT),
        (hostile.resets, Ending.MALFORMED),
    ],
    ids=["a stall", "a refusal", "thanks before all was sent", "noise"],
)
async def test_an_upload_has_clear_endings_too(behave: Behave, ending: Ending) -> None:
    """RFC 9110 section 15.5.14 (413); a far end that answers before it has everything did not take it."""
    async with far_end(behave) as port:
        found = await moved(port, Direction.UP)
    assert found.ending is ending, found.why


async def test_tls_with_somebody_who_speaks_none_is_told_as_such() -> None:
    """RFC 8446: what answers in plain text is no TLS."""
    async with far_end(hostile.gives(100)) as port:
        found = await moved(port, tls=True)
    assert found.ending in (Ending.TLS, Ending.UNREACHABLE)  # by how much of our greeting was read before it closed
    assert found.why


async def test_nobody_there_is_unreachable() -> None:
    """A refused connection."""
    async with far_end(hostile.silent) as port:
        pass
    found = await moved(port)
    assert (found.ending, found.why) == (Ending.UNREACHABLE, "Connection refused")


async def test_a_small_file_again_and_again_is_seen_as_waiting() -> None:
    """What small bodies lack says nothing of the line: most of the time nothing is under way."""
    async with far_end(says(OK + b"Content-Length: 5000\r\n", then=hostile.gives(5000))) as port:
        found = await moved(port)
    assert found.ending is Ending.DONE
    assert found.counted is not None
    assert found.counted.waiting > 0.5


async def test_a_cancelled_run_leaves_no_connection_behind() -> None:
    """Cancellation passes through, and the far end sees its connections end."""
    gone = asyncio.Event()

    async def watches(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await hostile.pours(reader, writer)
        finally:
            gone.set()

    async with far_end(says(OK, then=watches)) as port:
        task = asyncio.create_task(moved(port))
        await asyncio.sleep(0.3)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        await asyncio.wait_for(gone.wait(), 5)


@given(data=st.binary(max_size=300))
def test_no_head_raises_whatever_is_in_it(data: bytes) -> None:
    """RFC 9112: a bad answer is a value, not an exception."""
    for head in (data, b"HTTP/1.1 200 OK\r\n" + data, b"HTTP/1.1 200 OK\r\nContent-Length: " + data):
        assert isinstance(read_answer(head), Body | Trouble | None)


@given(data=st.binary(max_size=100) | st.text(max_size=100).map(str.encode))
def test_no_account_of_what_was_sent_raises(data: bytes) -> None:
    """What a stranger says of its TCP is told only where it can be so."""
    for body in (data, b'{"sent": ' + data + b', "retransmitted": 0}'):
        found = far.read(b"HTTP/1.1 200 OK\r\n\r\n" + body)
        assert found is None or 0 <= found.retransmitted <= found.sent
    assert far.read(b'HTTP/1.1 200 OK\r\n\r\n{"sent": 5, "retransmitted": 2}') == (5, 2)
    assert far.read(b'HTTP/1.1 200 OK\r\n\r\n{"sent": 5, "retransmitted": 6}') is None
    assert far.read(b'HTTP/1.1 404 Not Found\r\n\r\n{"sent": 5, "retransmitted": 2}') is None


def test_a_head_is_read_as_rfc_9112_has_it() -> None:
    """RFC 9112 sections 4, 5 and 6.3: names in any case, space around values; 1xx comes before the answer itself."""
    assert read_answer(b"HTTP/1.0 200 OK\r\ncontent-LENGTH:  42 ") == Body(42)
    assert read_answer(b"HTTP/1.1 206 \r\nX: y") == Body(None)
    assert read_answer(b"HTTP/1.1 100 Continue") is None
