"""TCP and HTTP(S) over pinned loopback sockets."""

import asyncio
import contextlib
import socket
import ssl
import subprocess
import time
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import replace
from pathlib import Path

import dns.message
import pytest

from tests.measure.far_ends import MS, ask_once, once, udp_server
from tests.measure.test_names import answer
from wanwatch.core.model import Cause, Kind, Outcome, Pin, Question, Role, Sample, Series
from wanwatch.core.resolver import Resolver
from wanwatch.measure.stream import connected
from wanwatch.reflector import SpeedServer


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


@contextlib.contextmanager
def full_listener(address: str = "127.0.0.1", port: int = 0) -> Iterator[int]:
    """A port whose full queue drops SYNs: nobody answers there."""
    with socket.socket() as full, contextlib.ExitStack() as fill:
        full.bind((address, port))
        full.listen(0)
        for _ in range(3):
            waiting = fill.enter_context(socket.socket())
            waiting.setblocking(False)  # noqa: FBT003 - the socket's own interface
            waiting.connect_ex(full.getsockname())
        time.sleep(0.05)
        yield int(full.getsockname()[1])


async def test_a_handshake_that_nobody_answers_is_lost_after_the_waiting_time() -> None:
    """A full queue drops SYNs."""
    with full_listener() as port:
        sample = await ask_once(once(Kind.TCP, "127.0.0.1", port, timeout_ns=200 * MS))
    assert (sample.outcome, sample.rtt_ns) == (Outcome.LOST, None)
    assert sample.known_ns == sample.sent_ns + 200 * MS


async def test_a_page_is_answered_with_the_time_of_each_step() -> None:
    """The round trip runs to the first octet."""
    async with web(b"HTTP/1.1 204 No Content\r\n\r\n", after_s=0.05) as (port, requests):
        sample = await ask_once(once(Kind.HTTP, f"http://127.0.0.1:{port}/a?b=c"))
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    assert sorted(sample.facts) == ["connect_ns", "family", "first_byte_ns", "status"]
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
    assert list(sample.facts) == ["connect_ns", "family"]


def resolving(*addresses: str, after_s: float = 0.0) -> Callable[[bytes], list[tuple[float, bytes]]]:
    """A resolver that knows www.example.com by these addresses, and nothing else."""

    def reply(wire: bytes) -> list[tuple[float, bytes]]:
        if b"www" not in wire:
            return [(after_s, answer(wire, rcode=3))]
        asked = dns.message.from_wire(wire).question[0].rdtype.name
        known = {"A": [a for a in addresses if "." in a], "AAAA": [a for a in addresses if ":" in a]}[asked]
        return [(after_s, answer(wire, *(f"www.example.com. {asked} {address}" for address in known)))]

    return reply


async def test_a_host_name_is_looked_up_over_the_same_pin() -> None:
    """The names' time is told apart; a name that nobody knows leaves nothing to ask."""
    far_end = udp_server(resolving("127.0.0.1", after_s=0.03), "127.0.0.2")
    async with web(b"HTTP/1.1 200 OK\r\n\r\n") as (port, requests), far_end as far:
        known = (Resolver("127.0.0.2", far.port),)
        pin = Pin(sources=("127.0.0.5",))
        url = f"http://www.example.com:{port}/"
        sample = await ask_once(once(Kind.HTTP, url, resolvers=known, pin=pin))
        assert [sender[0] for _, sender in far.requests] == ["127.0.0.5"]  # an address of IPv6 would be of no use
        in_vain = await ask_once(once(Kind.HTTP, "http://none.example/", resolvers=known, timeout_ns=300 * MS))
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    assert (sample.facts["family"], sample.facts["families"]) == (4, [4])
    dns_ns = sample.facts["dns_ns"]
    assert isinstance(dns_ns, int)
    assert 30 * MS <= dns_ns < 500 * MS
    assert f"Host: www.example.com:{port}\r\n".encode() in requests[0]
    assert (in_vain.outcome, in_vain.facts) == (Outcome.LOST, None)


@pytest.mark.parametrize(
    ("addresses", "wanted", "answered", "known"),
    [
        (["127.0.0.1", "::1"], None, 6, [6, 4]),
        (["127.0.0.1", "::1"], 4, 4, [4]),
        (["127.0.0.1", "2001:db8::1"], None, 4, [6, 4]),  # nothing is there over IPv6
    ],
)
async def test_both_families_are_tried_and_the_one_that_answered_is_told(
    addresses: list[str], wanted: int | None, answered: int, known: list[int]
) -> None:
    """RFC 8305: IPv6 first; where it does not answer, IPv4 does without the user's noticing."""
    async with (
        web(b"HTTP/1.1 200 OK\r\n\r\n") as (port, _),
        udp_server(resolving(*addresses)) as far,
        await asyncio.start_server(_answer_ok, "::1", port),
    ):
        url, known_by = f"http://www.example.com:{port}/", (Resolver("127.0.0.1", far.port),)
        sample = await ask_once(once(Kind.HTTP, url, resolvers=known_by, family=wanted))
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    assert (sample.facts["family"], sample.facts["families"]) == (answered, known)


async def _answer_ok(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.readuntil(b"\r\n\r\n")
    writer.write(b"HTTP/1.1 200 OK\r\n\r\n")
    await writer.drain()
    writer.close()


async def test_an_address_that_keeps_silent_gets_a_head_start_of_250_ms_and_no_more() -> None:
    """RFC 8305 section 5: the Connection Attempt Delay; an address that refuses is given up at once."""
    async with web(b"") as (port, _):
        began_s = time.monotonic()
        with full_listener("127.0.0.9", port):
            async with connected(Pin(), ["127.0.0.9", "127.0.0.1"], port) as sock:
                assert sock.getpeername() == ("127.0.0.1", port)
        waited_s = time.monotonic() - began_s
        async with connected(Pin(), ["127.0.0.9", "127.0.0.1"], port):
            refused_s = time.monotonic() - began_s - waited_s
    assert 0.25 <= waited_s < 1.0
    assert refused_s < 0.25


async def test_nothing_waits_for_an_acknowledgement_that_the_far_end_may_delay() -> None:
    """RFC 9293 section 3.7.4: whoever cannot bear Nagle's algorithm may turn it off."""
    async with web(b"") as (port, _), connected(Pin(), ["127.0.0.1"], port) as sock:
        assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


@pytest.mark.parametrize(
    ("reply", "outcome", "cause", "facts"),
    [
        (b"HTTP/1.1 204 No Content\r\n\r\n", Outcome.ANSWERED, None, {"status": 204}),
        (
            b"HTTP/1.1 204 No Content\r\nVia: 1.1 box\r\n\r\n",
            Outcome.ANSWERED,
            None,
            {"status": 204, "via": "1.1 box"},
        ),
        (
            b"HTTP/1.1 302 Found\r\nServer: x\r\nLocation: http://192.0.2.1/in\r\n\r\n",
            Outcome.REFUSED,
            Cause.PORTAL,
            {"status": 302, "location": "http://192.0.2.1/in"},
        ),
        (b"HTTP/1.1 200 OK\r\n\r\nhello", Outcome.REFUSED, Cause.PORTAL, {"status": 200}),
        (b"HTTP/1.1 511 Network\r\n\r\n", Outcome.REFUSED, Cause.PORTAL, {"status": 511}),
        (b"HTTP/1.1 503 Busy\r\n\r\n", Outcome.REFUSED, Cause.HTTP_STATUS, {"status": 503}),
        (b"HTTP/1.1 200 OK\r\nLocation: " + b"x" * 70_000, Outcome.REFUSED, Cause.PORTAL, {"status": 200}),
    ],
)
async def test_another_status_than_the_expected_one_tells_of_a_portal(
    reply: bytes, outcome: Outcome, cause: Cause | None, facts: dict[str, object]
) -> None:
    """RFC 6585 section 6 for 511; that a 204 is asked for to find portals is common practice, no published source."""
    async with web(reply) as (port, _):
        sample = await ask_once(once(Kind.HTTP, f"http://127.0.0.1:{port}/", expect=204))
    assert (sample.outcome, sample.cause) == (outcome, cause)
    told = {key: value for key, value in (sample.facts or {}).items() if key in {"status", "location", "via"}}
    assert told == facts


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


async def test_tls_is_timed_and_an_untrusted_certificate_is_a_refusal(certificate: Path) -> None:
    """RFC 8446: the handshake proves who answers; a far end that cannot prove it is refused as such."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    async with web(b"HTTP/1.1 200 OK\r\n\r\n", context=context) as (port, _):
        url = f"https://127.0.0.1:{port}/"
        untrusted = await ask_once(once(Kind.HTTP, url, timeout_ns=5000 * MS))
        authority = str(certificate.with_suffix(".crt"))
        trusted = await ask_once(once(Kind.HTTP, url, timeout_ns=5000 * MS, ca_file=authority))
    assert (untrusted.outcome, untrusted.cause) == (Outcome.REFUSED, Cause.TLS)
    assert (untrusted.facts or {})["tls"] == "self-signed certificate"
    assert trusted.outcome is Outcome.ANSWERED
    assert trusted.facts is not None
    assert {"connect_ns", "family", "first_byte_ns", "status", "tls_ns"} < set(trusted.facts)
    assert trusted.facts["cert_days_left"] in {1, 2}  # made for two days, a moment ago
    expires_s = trusted.facts["cert_expires_unix_s"]
    assert isinstance(expires_s, int)
    assert abs(expires_s - time.time() - 2 * 86_400) < 120


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


UNTIED = Pin()


def address_question(port: int, token: str | None = None, pin: Pin = UNTIED) -> Question:
    """A question for the public address, as the plan makes it."""
    url = f"http://127.0.0.1:{port}/address"
    return replace(
        once(Kind.HTTP, url, expect=200, token=token, pin=pin, every_ns=200 * MS),
        series=Series("fibre", url, Kind.HTTP, Role.EGRESS),
    )


async def told_address(reply: bytes) -> Sample:
    """What comes of a question for the public address to a page that says *reply*."""
    async with web(reply) as (port, _):
        return await ask_once(address_question(port))


@pytest.mark.parametrize(
    ("body", "address"),
    [
        (b"198.51.100.10\n", "198.51.100.10"),
        (b"198.51.100.10", "198.51.100.10"),
        (b"2001:DB8:1:0::11\r\n", "2001:db8:1::11"),
        # The longest writing of all, RFC 4291 section 2.2.
        (b"2001:0db8:0000:0000:0000:0000:255.255.255.255\n", "2001:db8::ffff:ffff"),
    ],
)
async def test_a_page_tells_the_public_address(body: bytes, address: str) -> None:
    """The body is the address, in whichever writing of RFC 4291 section 2.2."""
    sample = await told_address(b"HTTP/1.1 200 OK\r\nContent-Type: text/plain\r\n\r\n" + body)
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    assert sample.facts["address"] == address


@pytest.mark.parametrize(
    ("reply", "outcome", "cause"),
    [
        (b"HTTP/1.1 200 OK\r\n\r\n", Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\n\r\nsign in, please", Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\n\r\n<p>198.51.100.10</p>", Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\n\r\n198.51.100.10" + b" " * 100, Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\n\r\n" + b"x" * 1_000_000, Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\n\r\n\xb2\xb3", Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\n\r\nfe80::1%eth0\n", Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 14\r\n\r\n198.51.100.1", Outcome.MALFORMED, None),
        (b"HTTP/1.1 200 OK\r\nX: y", Outcome.MALFORMED, None),
        (b"HTTP/1.1 401 Unauthorized\r\n\r\n198.51.100.10\n", Outcome.REFUSED, Cause.HTTP_STATUS),
        (b"HTTP/1.1 302 Found\r\nLocation: /\r\n\r\n198.51.100.10\n", Outcome.REFUSED, Cause.PORTAL),
    ],
)
async def test_what_is_no_address_is_none(reply: bytes, outcome: Outcome, cause: Cause | None) -> None:
    """No more is read than an address takes; a body cut short (RFC 9112 section 8) is no answer."""
    sample = await told_address(reply)
    assert (sample.outcome, sample.cause) == (outcome, cause)
    assert "address" not in (sample.facts or {})


async def test_the_token_is_shown_and_nothing_asks_for_chunks() -> None:
    """RFC 6750 section 2.1; RFC 9112 section 7.1: nobody may answer HTTP/1.0 in chunks."""
    async with web(b"HTTP/1.0 200 OK\r\n\r\n192.0.2.10\n") as (port, requests):
        await ask_once(address_question(port, token="a-token-for-tests"))  # noqa: S106 - a test's own
    assert requests[:1] == [
        f"GET /address HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\nUser-Agent: wanwatch\r\nAccept: */*\r\n"
        "Connection: close\r\nAuthorization: Bearer a-token-for-tests\r\n\r\n".encode()
    ]


@pytest.mark.parametrize(("token", "outcome"), [("right", Outcome.ANSWERED), ("wrong", Outcome.REFUSED)])
async def test_the_project_s_own_reflector_tells_the_address(token: str, outcome: Outcome) -> None:
    """Both ends over loopback: the address is the one that the pin binds to."""
    server = SpeedServer("right")
    await server.start("127.0.0.1", 0)
    try:
        pin = Pin(sources=("127.0.0.2",))
        sample = await ask_once(address_question(server.port, pin=pin, token=token))
    finally:
        server.close()
    assert sample.outcome is outcome
    assert (sample.facts or {}).get("address") == ("127.0.0.2" if token == "right" else None)  # noqa: S105 - a test's own
