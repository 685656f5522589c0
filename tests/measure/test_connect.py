"""TCP and HTTP(S) over pinned loopback sockets."""

import asyncio
import contextlib
import socket
import ssl
import subprocess
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.measure.far_ends import MS, ask_once, once, udp_server
from tests.measure.test_names import answer
from wanwatch.core.model import Cause, Kind, Outcome, Pin
from wanwatch.measure import connect, names


def closed_port() -> int:
    """A TCP port of loopback where nobody listens."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


@contextlib.asynccontextmanager
async def web(
    reply: bytes, *, after_s: float = 0.0, context: ssl.SSLContext | None = None
) -> AsyncIterator[tuple[int, list[bytes]]]:
    """A server that reads a request, waits, sends *reply* and closes; yields its port and the requests."""
    requests: list[bytes] = []
    gone = asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, asyncio.IncompleteReadError):
            requests.append(await reader.readuntil(b"\r\n\r\n"))
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(gone.wait(), after_s)
            writer.write(reply)
            await writer.drain()
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0, ssl=context)
    async with server:
        yield server.sockets[0].getsockname()[1], requests
        gone.set()
        await asyncio.sleep(0.05)  # let connections under way end


async def test_a_connection_is_timed() -> None:
    """Answered once the handshake is done."""
    async with web(b"") as (port, _):
        sample = await ask_once(once(Kind.TCP, "127.0.0.1", port))
    assert (sample.outcome, sample.cause) == (Outcome.ANSWERED, None)
    assert sample.rtt_ns is not None
    assert 0 < sample.rtt_ns < 1000 * MS


async def test_a_reset_is_a_timed_refusal() -> None:
    """RFC 9293 section 3.5.2: RST to a SYN for a closed port."""
    sample = await ask_once(once(Kind.TCP, "127.0.0.1", closed_port()))
    assert (sample.outcome, sample.cause) == (Outcome.REFUSED, Cause.RESET)
    assert sample.rtt_ns is not None


async def test_a_handshake_that_nobody_answers_is_lost_after_the_waiting_time() -> None:
    """A full queue drops SYNs."""
    with socket.socket() as full, contextlib.ExitStack() as fill:
        full.bind(("127.0.0.1", 0))
        full.listen(0)
        for _ in range(3):
            waiting = fill.enter_context(socket.socket())
            waiting.setblocking(False)  # noqa: FBT003 - the socket's own interface
            waiting.connect_ex(full.getsockname())
        await asyncio.sleep(0.05)
        sample = await ask_once(once(Kind.TCP, "127.0.0.1", full.getsockname()[1], timeout_ns=200 * MS))
    assert (sample.outcome, sample.rtt_ns) == (Outcome.LOST, None)
    assert sample.known_ns == sample.sent_ns + 200 * MS


async def test_a_page_is_answered_with_the_time_of_each_step() -> None:
    """The round trip runs to the first octet."""
    async with web(b"HTTP/1.1 204 No Content\r\n\r\n", after_s=0.05) as (port, requests):
        sample = await ask_once(once(Kind.HTTP, f"http://127.0.0.1:{port}/a?b=c"))
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    assert sorted(sample.facts) == ["connect_ns", "first_byte_ns", "status"]
    assert sample.facts["status"] == 204
    first = sample.facts["first_byte_ns"]
    assert isinstance(first, int)
    assert sample.rtt_ns is not None
    assert 50 * MS <= first <= sample.rtt_ns
    assert requests == [
        f"GET /a?b=c HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUser-Agent: wanwatch\r\nAccept: */*\r\n"
        "Connection: close\r\n\r\n".encode()
    ]


@pytest.mark.parametrize(
    ("reply", "outcome", "cause"),
    [
        (b"HTTP/1.1 404 Not Found\r\n\r\n", Outcome.REFUSED, Cause.HTTP_STATUS),
        (b"HTTP/1.0 503 \r\n\r\n", Outcome.REFUSED, Cause.HTTP_STATUS),
        (b"HTTP/1.1 301 Moved\r\nLocation: /\r\n\r\n", Outcome.ANSWERED, None),
        (b"HTTP/1.1 200", Outcome.MALFORMED, None),
        (b"hello\r\n\r\n", Outcome.MALFORMED, None),
        (b"x" * 200_000, Outcome.MALFORMED, None),
        (b"", Outcome.MALFORMED, None),
    ],
)
async def test_the_status_decides(reply: bytes, outcome: Outcome, cause: Cause | None) -> None:
    """RFC 9110 section 15: 4xx and 5xx are refusals; RFC 9112 section 4: what is no status line is malformed."""
    async with web(reply) as (port, _):
        sample = await ask_once(once(Kind.HTTP, f"http://127.0.0.1:{port}/"))
    assert (sample.outcome, sample.cause) == (outcome, cause)


async def test_a_server_that_never_answers_is_lost_and_the_steps_that_were_done_are_told() -> None:
    """The facts show how far it came."""
    async with web(b"HTTP/1.1 200 OK\r\n\r\n", after_s=0.5) as (port, _):
        sample = await ask_once(once(Kind.HTTP, f"http://127.0.0.1:{port}/", timeout_ns=200 * MS))
    assert sample.outcome is Outcome.LOST
    assert sample.facts is not None
    assert list(sample.facts) == ["connect_ns"]


async def test_a_host_name_is_looked_up_over_the_same_pin(monkeypatch: pytest.MonkeyPatch) -> None:
    """The names' time is told apart; a name that nobody knows leaves nothing to ask."""

    def resolver(wire: bytes) -> list[tuple[float, bytes]]:
        return [(0.03, answer(wire, "www.example.com. A 127.0.0.1") if b"www" in wire else answer(wire, rcode=3))]

    async with web(b"HTTP/1.1 200 OK\r\n\r\n") as (port, requests), udp_server(resolver, "127.0.0.2") as far:
        monkeypatch.setattr(names, "PORT", far.port)
        pin = Pin(sources=("127.0.0.5",))
        url = f"http://www.example.com:{port}/"
        sample = await ask_once(once(Kind.HTTP, url, resolvers=("127.0.0.2",), pin=pin))
        assert far.requests[0][1][0] == "127.0.0.5"
        unknown = once(Kind.HTTP, "http://none.example/", resolvers=("127.0.0.2",), timeout_ns=300 * MS)
        in_vain = await ask_once(unknown)
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    dns_ns = sample.facts["dns_ns"]
    assert isinstance(dns_ns, int)
    assert 30 * MS <= dns_ns < 500 * MS
    assert f"Host: www.example.com:{port}\r\n".encode() in requests[0]
    assert (in_vain.outcome, in_vain.facts) == (Outcome.LOST, None)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for localhost and 127.0.0.1 that nobody else trusts."""
    path = tmp_path_factory.mktemp("tls") / "both.pem"
    names_of_it = "subjectAltName=DNS:localhost,IP:127.0.0.1"
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    command += ["-subj", "/CN=localhost", "-addext", names_of_it, "-days", "2"]
    subprocess.run([*command, "-keyout", path, "-out", path.with_suffix(".crt")], check=True, capture_output=True)
    path.write_bytes(path.read_bytes() + path.with_suffix(".crt").read_bytes())
    return path


async def test_tls_is_timed_and_an_untrusted_certificate_is_a_refusal(
    certificate: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """RFC 8446: the handshake proves who answers; a far end that cannot prove it is refused as such."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    async with web(b"HTTP/1.1 200 OK\r\n\r\n", context=context) as (port, _):
        asked = once(Kind.HTTP, f"https://127.0.0.1:{port}/", timeout_ns=5000 * MS)
        untrusted = await ask_once(asked)
        trusting = ssl.create_default_context(cafile=str(certificate.with_suffix(".crt")))
        monkeypatch.setattr(connect, "_tls_context", lambda: trusting)
        trusted = await ask_once(asked)
    assert (untrusted.outcome, untrusted.cause) == (Outcome.REFUSED, Cause.TLS)
    assert trusted.outcome is Outcome.ANSWERED
    assert trusted.facts is not None
    assert sorted(trusted.facts) == ["connect_ns", "first_byte_ns", "status", "tls_ns"]


async def test_tls_to_a_server_that_speaks_none_is_a_refusal() -> None:
    """What comes back is no handshake."""

    async def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"hello hello hello\r\n")
        await writer.drain()
        writer.close()

    async with await asyncio.start_server(serve, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        sample = await ask_once(once(Kind.HTTP, f"https://127.0.0.1:{port}/"))
    assert (sample.outcome, sample.cause) == (Outcome.REFUSED, Cause.TLS)
