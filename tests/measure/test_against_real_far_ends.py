"""Our questions against the project's own reflector, and against a STUN server that others wrote."""

import asyncio
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from tests.measure.far_ends import ask_once, measuring, once, question, udp_server
from wanwatch.core.model import Kind, Outcome
from wanwatch.reflector import StampReflector, StunServer

KEY = b"an example key of some length"


@asynccontextmanager
async def way(port: int, tamper: Callable[[int, bytes], bytes | None]) -> AsyncIterator[int]:
    """A way to *port* on which each answer, by its number from 0, goes through *tamper*; gives the way's own port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as far:
        far.connect(("127.0.0.1", port))
        far.settimeout(2)
        loop, count = asyncio.get_running_loop(), 0
        async with udp_server(lambda _: []) as near:

            async def carry(packet: bytes, sender: tuple[str, int]) -> None:
                nonlocal count
                far.send(packet)
                far.setblocking(False)  # noqa: FBT003 - the call's own shape
                answer = tamper(count, await loop.sock_recv(far, 2000))
                count += 1
                if answer is not None:
                    near.transport.sendto(answer, sender)

            tasks = set()

            def received(data: bytes, addr: tuple[str, int]) -> None:
                tasks.add(loop.create_task(carry(data, addr)))

            near.datagram_received = received  # type: ignore[method-assign]
            yield near.port
            for task in tasks:
                task.cancel()


async def test_an_authenticated_session_tells_what_was_lost_and_what_was_tampered_with() -> None:
    """RFC 8762 section 4.4: one flipped bit, and the answer is malformed; section 4.3: which direction lost."""

    def tamper(number: int, answer: bytes) -> bytes | None:
        if number == 1:
            return None
        return answer[:60] + bytes([answer[60] ^ 4]) + answer[61:] if number == 3 else answer

    reflector = StampReflector("127.0.0.1", 0, key=KEY, stateful=True)
    try:
        async with (
            way(reflector.port, tamper) as port,
            measuring(question(Kind.STAMP, "127.0.0.1", port, stamp_key=KEY)) as (_, told),
        ):
            await told.until(lambda: len(told.samples) >= 6)
    finally:
        reflector.close()
    samples = sorted(told.samples, key=lambda sample: sample.sent_ns)[:5]
    answered, lost, malformed = Outcome.ANSWERED, Outcome.LOST, Outcome.MALFORMED
    assert [sample.outcome for sample in samples] == [answered, lost, answered, malformed, answered]
    # Nothing was lost on its way there, so the reflector's numbers are the sender's, and no direction can be named.
    assert samples[4].facts == {"reflector_seq": 4, "ttl": 64}


@pytest.mark.parametrize("key", [None, b"another key"])
async def test_without_the_right_key_there_is_no_answer(key: bytes | None) -> None:
    """What the reflector cannot verify it does not answer."""
    reflector = StampReflector("127.0.0.1", 0, key=KEY)
    try:
        sample = await ask_once(once(Kind.STAMP, "127.0.0.1", reflector.port, stamp_key=key, timeout_ns=100_000_000))
    finally:
        reflector.close()
    assert sample.outcome is Outcome.LOST
    assert (reflector.ignored, reflector.answered) == (1, 0)


async def test_our_stun_client_is_answered_by_our_own_server() -> None:
    """RFC 8489: with no more than was asked."""
    server = StunServer("127.0.0.1", 0)
    try:
        sample = await ask_once(once(Kind.STUN, "127.0.0.1", server.port))
    finally:
        server.close()
    assert sample.facts is not None
    assert (sample.outcome, sample.facts["address"]) == (Outcome.ANSWERED, "127.0.0.1")


@asynccontextmanager
async def coturn(folder: Path) -> AsyncIterator[int]:
    """A STUN server of Debian's coturn on loopback."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    words = ["-n", "--stun-only", "--listening-ip=127.0.0.1", f"--listening-port={port}", "--no-tls", "--no-dtls"]
    words += ["--no-tcp", "--no-cli", f"--pidfile={folder / 'pid'}", f"--log-file={folder / 'log'}", "--simple-log"]
    process = await asyncio.create_subprocess_exec(
        "turnserver", *words, stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL, cwd=folder
    )
    try:
        yield port
    finally:
        process.terminate()
        await asyncio.wait_for(process.wait(), 10)


async def test_our_stun_client_is_answered_by_coturn(tmp_path: Path) -> None:
    """RFC 8489: a server that others wrote skips our padding and tells where we asked from."""
    async with coturn(tmp_path) as port:
        for _ in range(50):  # until it listens
            sample = await ask_once(once(Kind.STUN, "127.0.0.1", port, timeout_ns=100_000_000))
            if sample.outcome is Outcome.ANSWERED:
                break
            await asyncio.sleep(0.1)
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    assert sample.facts["address"] == "127.0.0.1"
