"""The speed far end gives and takes bytes, for holders of its token and within its limits."""

import asyncio
import json
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
import trustme
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.reflector import Limits, ReflectorError, SpeedServer, read_certificate
from wanwatch.reflector._request import parse_head

TOKEN = "a-token-for-tests"  # noqa: S105 - a test's own
LIMITS = Limits(bytes_each=50_000_000, seconds_each=5, at_once=2)


@asynccontextmanager
async def far_end(limits: Limits = LIMITS, tls: ssl.SSLContext | None = None) -> AsyncIterator[int]:
    """A speed far end on loopback; gives its port."""
    server = SpeedServer(TOKEN, limits)
    await server.start("127.0.0.1", 0, tls)
    try:
        yield server.port
    finally:
        server.close()
        await asyncio.sleep(0)


async def ask(
    port: int,
    line: str,
    body: bytes = b"",
    fields: str = "",
    token: str | None = TOKEN,
    tls: ssl.SSLContext | None = None,
) -> tuple[str, bytes]:
    """Ask once: the answer's head, and what follows it until the far end closes."""
    name = "far.example" if tls else None
    reader, writer = await asyncio.open_connection("127.0.0.1", port, ssl=tls, server_hostname=name)
    shown = f"Authorization: Bearer {token}\r\n" if token else ""
    writer.write(f"{line} HTTP/1.1\r\nHost: far.example\r\n{shown}{fields}\r\n".encode() + body)
    try:
        async with asyncio.timeout(10):
            head, _, rest = (await reader.read()).partition(b"\r\n\r\n")
            return head.decode(), rest
    finally:
        writer.transport.abort()


async def test_as_many_bytes_come_down_as_were_asked_for_and_they_do_not_repeat_at_once() -> None:
    """RFC 9110 section 8.6: Content-Length says how many; a link that compresses must not look fast."""
    async with far_end() as port:
        head, body = await ask(port, "GET /down?bytes=10000000")
    assert head.startswith("HTTP/1.1 200 OK\r\n")
    assert "Content-Length: 10000000" in head
    assert len(body) == 10_000_000
    assert len({body[at : at + 64] for at in range(0, 4_000_000, 64)}) == 62_500


async def test_without_a_number_bytes_come_until_the_limit() -> None:
    """RFC 9112 section 6.3: no length, so the end of the connection is the end of the body."""
    async with far_end() as port:
        head, body = await ask(port, "GET /down")
    assert "Content-Length" not in head
    assert len(body) == LIMITS.bytes_each


async def test_an_upload_is_counted_and_timed() -> None:
    """The far end tells what came, and in how many seconds."""
    sent = bytes(3_000_000)
    async with far_end() as port:
        head, body = await ask(port, "POST /up", sent, f"Content-Length: {len(sent)}\r\n")
    assert head.startswith("HTTP/1.1 200 OK\r\n")
    said = json.loads(body)
    assert said["bytes"] == len(sent)
    assert 0 < said["seconds"] < 10


async def test_a_sender_that_waits_for_leave_is_given_it() -> None:
    """RFC 9110 section 10.1.1: 100 before the body."""
    async with far_end() as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        fields = f"Authorization: Bearer {TOKEN}\r\nContent-Length: 5\r\nExpect: 100-continue\r\n"
        writer.write(f"POST /up HTTP/1.1\r\nHost: x\r\n{fields}\r\n".encode())
        assert await reader.readuntil(b"\r\n\r\n") == b"HTTP/1.1 100 Continue\r\n\r\n"
        writer.write(b"12345")
        assert (await reader.read()).startswith(b"HTTP/1.1 200 OK\r\n")
        writer.close()


async def test_the_address_that_was_seen_is_told() -> None:
    """A second witness of a pin, where STUN does not get through."""
    async with far_end() as port:
        _, body = await ask(port, "GET /address")
    assert body == b"127.0.0.1\n"


async def test_what_tcp_sent_for_a_test_is_told_once() -> None:
    """RFC 6349 section 4.2: only the sender knows what it had to send again."""
    async with far_end() as port:
        for _ in range(2):
            await ask(port, "GET /down?bytes=1000000&test=one")
        await ask(port, "GET /down?bytes=5&test=another")
        await asyncio.sleep(0.05)
        _, said = await ask(port, "GET /sent?test=one")
        told = json.loads(said)
        # The last bytes may still wait to be sent when the connection is let go; the answers' heads are counted, too.
        assert 100_000 < told["sent"] < 2_002_000
        assert told["retransmitted"] == 0
        _, said = await ask(port, "GET /sent?test=one")
        assert json.loads(said) == {"sent": 0, "retransmitted": 0}


async def test_tests_that_nobody_asks_about_are_forgotten() -> None:
    """A client cannot fill the far end's memory with names."""
    async with far_end() as port:
        for number in range(70):
            await ask(port, f"GET /down?bytes=5&test=t{number}")
        await asyncio.sleep(0.05)
        told = {number: json.loads((await ask(port, f"GET /sent?test=t{number}"))[1])["sent"] for number in (0, 69)}
        assert told[0] == 0
        assert told[69] > 0


@pytest.mark.parametrize("line", ["GET /down?bytes=5", "POST /up", "GET /address", "GET /", "PUT /up", "nonsense"])
@pytest.mark.parametrize("token", [None, "wrong", TOKEN + "x", "\xe4"])
async def test_without_the_token_there_is_401_and_nothing_else(line: str, token: str | None) -> None:
    """RFC 6750 section 3: a stranger learns not even what there is."""
    async with far_end() as port:
        head, body = await ask(port, line, token=token)
    assert head.startswith("HTTP/1.1 401 Unauthorized\r\n")
    assert "WWW-Authenticate: Bearer" in head
    assert body == b""


@pytest.mark.parametrize(
    ("line", "fields", "status"),
    [
        ("GET /elsewhere", "", 404),
        ("POST /down", "", 405),
        ("GET /up", "", 405),
        ("POST /up", "", 411),
        ("POST /up", "Transfer-Encoding: chunked\r\n", 411),
        ("POST /up", "Content-Length: 50000001\r\n", 413),
        ("GET /down?bytes=50000001", "", 413),
        ("GET /down?bytes=many", "", 400),
        ("GET /down?bytes=-1", "", 400),
    ],
)
async def test_what_cannot_be_served_is_told_by_its_status(line: str, fields: str, status: int) -> None:
    """RFC 9110 section 15.5."""
    async with far_end() as port:
        head, body = await ask(port, line, fields=fields)
    assert head.startswith(f"HTTP/1.1 {status} ")
    assert body == b""


async def test_no_more_than_so_many_requests_run_at_once() -> None:
    """RFC 9110 section 15.6.4: come again later."""
    async with far_end() as port:
        held = [await asyncio.open_connection("127.0.0.1", port) for _ in range(LIMITS.at_once)]
        for reader, writer in held:
            writer.write(f"GET /down HTTP/1.1\r\nAuthorization: Bearer {TOKEN}\r\n\r\n".encode())
            await reader.readuntil(b"\r\n\r\n")  # and no further: the far end has to wait
        head, _ = await ask(port, "GET /down?bytes=5")
        assert head.startswith("HTTP/1.1 503 ")
        for _, writer in held:
            writer.transport.abort()
        await asyncio.sleep(0.05)
        _, body = await ask(port, "GET /down?bytes=5")
        assert len(body) == 5


async def test_a_request_ends_when_its_seconds_are_over() -> None:
    """A client that reads slowly does not hold a place for ever."""
    async with far_end(Limits(bytes_each=1 << 40, seconds_each=0.2, at_once=1)) as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(f"GET /down HTTP/1.1\r\nAuthorization: Bearer {TOKEN}\r\n\r\n".encode())
        await asyncio.sleep(0.4)
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await reader.readexactly(1 << 40)
        writer.transport.abort()


async def test_strangers_that_say_nothing_make_room_for_those_who_do() -> None:
    """Connections that show no token are bounded; the oldest goes first."""
    async with far_end() as port:
        silent = [await asyncio.open_connection("127.0.0.1", port) for _ in range(70)]
        head, _ = await ask(port, "GET /address")
        assert head.startswith("HTTP/1.1 200 OK\r\n")
        assert await asyncio.wait_for(silent[0][0].read(), 2) == b""
        for _, writer in silent:
            writer.transport.abort()


async def test_a_head_without_end_is_cut_off() -> None:
    """RFC 9112 section 2.3 leaves the limit to us."""
    async with far_end() as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"GET /" + b"a" * 20_000)
        assert (await asyncio.wait_for(reader.read(), 5)).startswith(b"HTTP/1.1 401 ")
        writer.transport.abort()


async def test_the_same_is_served_over_tls(tmp_path: Path) -> None:
    """A certificate and its key make it HTTPS."""
    authority = trustme.CA()
    issued = authority.issue_cert("far.example")
    issued.private_key_and_cert_chain_pem.write_to_path(str(tmp_path / "both.pem"))
    client = ssl.create_default_context()
    authority.configure_trust(client)
    context = read_certificate(tmp_path / "both.pem", tmp_path / "both.pem")
    async with far_end(tls=context) as port:
        _, body = await ask(port, "GET /down?bytes=10000000", tls=client)
        _, said = await ask(port, "POST /up", bytes(100_000), "Content-Length: 100000\r\n", tls=client)
    assert len(body) == 10_000_000
    assert json.loads(said)["bytes"] == 100_000


async def test_a_taken_port_is_told_with_its_mend() -> None:
    """The error names the address, the port, the reason and what would help."""
    async with far_end() as port:
        with pytest.raises(ReflectorError, match=rf"cannot listen on 127\.0\.0\.1 port {port}: Address already in use"):
            await SpeedServer(TOKEN).start("127.0.0.1", port)


@given(data=st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_no_head_raises_whatever_is_in_it(data: bytes) -> None:
    """A bad request is a result, not an exception."""
    for text in (data, b"GET /" + data + b" HTTP/1.1\r\n", b"GET / HTTP/1.1\r\n" + data):
        head = parse_head(text)
        assert head is None or not head.shows(TOKEN)
