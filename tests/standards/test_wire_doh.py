"""DNS over TLS and over HTTPS as they stand on the wire, against RFC 7858 and RFC 8484, by a server of our own."""

import asyncio
import contextlib
import socket
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from pathlib import Path

import dns.message
import dns.rcode
import h2.config
import h2.connection
import h2.events
import pytest
import trustme
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wanwatch.clock import RealClock
from wanwatch.core.model import Cause, Outcome, Pin
from wanwatch.core.resolver import Resolver, Transport
from wanwatch.measure import doh, names
from wanwatch.measure.attempt import Finding
from wanwatch.measure.resolvers import Way, ask

Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@contextlib.asynccontextmanager
async def secured(serve: Serve, folder: Path, protocols: Sequence[str]) -> AsyncIterator[tuple[int, str]]:
    """A TLS server on loopback; yields its port and the file of who signed its certificate."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "authority.pem"))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    context.set_alpn_protocols(list(protocols))
    async with await asyncio.start_server(serve, "127.0.0.1", 0, ssl=context) as server:
        yield server.sockets[0].getsockname()[1], str(folder / "authority.pem")


class Web:
    """An HTTP/2 server that remembers what it was asked, and answers one thing."""

    def __init__(self, status: int, media_type: str, answer: Callable[[bytes], bytes]) -> None:
        self.status, self.media_type, self.answer = status, media_type, answer
        self.headers: list[tuple[str, str]] = []
        self.body = b""

    async def __call__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection."""
        http = h2.connection.H2Connection(h2.config.H2Configuration(client_side=False, header_encoding="utf-8"))
        http.initiate_connection()
        writer.write(http.data_to_send())
        with contextlib.suppress(OSError):
            while data := await reader.read(65_536):
                for event in http.receive_data(data):
                    self._take(event, http)
                writer.write(http.data_to_send())
        writer.close()

    def _take(self, event: h2.events.Event, http: h2.connection.H2Connection) -> None:
        if isinstance(event, h2.events.RequestReceived):
            self.headers = [(str(name), str(value)) for name, value in event.headers]
        elif isinstance(event, h2.events.DataReceived):
            self.body += event.data
        elif isinstance(event, h2.events.StreamEnded) and event.stream_id is not None:
            headers = [(":status", str(self.status)), ("content-type", self.media_type)]
            http.send_headers(event.stream_id, headers)
            http.send_data(event.stream_id, self.answer(self.body), end_stream=True)


def denied(wire: bytes) -> bytes:
    """NXDOMAIN."""
    reply = dns.message.make_response(dns.message.from_wire(wire))
    reply.set_rcode(dns.rcode.NXDOMAIN)
    return reply.to_wire()


async def asked_of(web: Web, folder: Path) -> dns.message.Message | Finding:
    """What asking this server for www.example.com comes to."""
    async with secured(web, folder, ["h2"]) as (port, authority):
        resolver = Resolver("127.0.0.1", port, Transport.HTTPS, path="/dns-query")
        async with asyncio.timeout(10):
            return await ask(Way(Pin(), resolver, RealClock(), authority), names.question("www.example.com"))


async def test_a_question_is_posted_whole_with_id_0(tmp_path: Path) -> None:
    """RFC 8484 section 4.1: POST, the media type, the message as it is, and ID 0."""
    web = Web(200, "application/dns-message", denied)
    await asked_of(web, tmp_path)
    headers = dict(web.headers)
    assert (headers[":method"], headers[":scheme"], headers[":path"]) == ("POST", "https", "/dns-query")
    assert headers["content-type"] == headers["accept"] == "application/dns-message"
    assert headers["content-length"] == str(len(web.body))
    assert web.body[:4].hex() == "00000100"
    assert dns.message.from_wire(web.body).question[0].to_text() == "www.example.com. IN A"


async def test_nxdomain_within_http_200_is_an_answer(tmp_path: Path) -> None:
    """RFC 8484 section 4.2.1: the transport succeeded; parameters of the media type change nothing."""
    reply = await asked_of(Web(200, "application/dns-message; q=1", denied), tmp_path)
    assert isinstance(reply, dns.message.Message)
    assert reply.rcode() == dns.rcode.NXDOMAIN


@pytest.mark.parametrize(
    ("web", "finding"),
    [
        (Web(200, "text/html", denied), Finding(Outcome.MALFORMED)),
        (Web(200, "application/dns-message", lambda _: b"hello"), Finding(Outcome.MALFORMED)),
        (Web(415, "application/dns-message", denied), Finding(Outcome.REFUSED, Cause.HTTP_STATUS)),
        (Web(302, "application/dns-message", denied), Finding(Outcome.REFUSED, Cause.HTTP_STATUS)),
    ],
    ids=["another media type", "no message", "415", "a redirection"],
)
async def test_what_holds_no_dns_message_is_no_answer(tmp_path: Path, web: Web, finding: Finding) -> None:
    """RFC 8484 section 4.2.1: a 2xx with the media type holds an answer, and nothing else does."""
    assert await asked_of(web, tmp_path) == finding


async def test_an_answer_longer_than_any_message_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 1035 section 4.2.2: 16 bits hold a message's length; here the bound is set just below the answer."""
    length = len(denied(names.question("www.example.com").to_wire()))
    monkeypatch.setattr(doh, "MOST_BODY_BYTES", length)
    assert isinstance(await asked_of(Web(200, "application/dns-message", denied), tmp_path), dns.message.Message)
    monkeypatch.setattr(doh, "MOST_BODY_BYTES", length - 1)
    assert await asked_of(Web(200, "application/dns-message", denied), tmp_path) == Finding(Outcome.MALFORMED)


async def test_over_tls_each_message_has_its_length_before_it(tmp_path: Path) -> None:
    """RFC 7858 section 3.3 and RFC 1035 section 4.2.2: two octets; the answer may come in pieces."""
    seen: list[bytes] = []

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        length = await reader.readexactly(2)
        seen.append(length + await reader.readexactly(int.from_bytes(length, "big")))
        answer = denied(seen[0][2:])
        for octet in len(answer).to_bytes(2, "big") + answer:
            writer.write(bytes([octet]))
            await writer.drain()
        writer.close()

    query = names.question("www.example.com")
    async with secured(serve, tmp_path, ["dot"]) as (port, authority), asyncio.timeout(10):
        resolver = Resolver("127.0.0.1", port, Transport.TLS)
        reply = await ask(Way(Pin(), resolver, RealClock(), authority), query)
    assert isinstance(reply, dns.message.Message)
    assert reply.rcode() == dns.rcode.NXDOMAIN
    assert seen == [len(query.to_wire()).to_bytes(2, "big") + query.to_wire()]


class Unheard:
    """A writer whose words go nowhere."""

    def write(self, data: bytes) -> None:
        """Take them."""

    def get_extra_info(self, _name: str) -> socket.socket:
        """Its socket, which is closed."""
        sock = socket.socket()
        sock.close()
        return sock


@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.binary(max_size=200), st.booleans())
def test_whatever_a_server_sends_is_a_response_or_no_http_2(octets: bytes, framed: bool) -> None:  # noqa: FBT001 - drawn
    """RFC 9113 section 5.4: errors end the connection, and raise nothing else here."""

    async def attempt() -> None:
        reader = asyncio.StreamReader()
        reader.feed_data((b"\x00\x00\x00\x04\x00\x00\x00\x00\x00" if framed else b"") + octets)
        reader.feed_eof()
        with pytest.raises(doh.NoHttp2Error):
            await doh.post((reader, Unheard()), "dns.example.net", "/", b"\0" * 12)  # type: ignore[arg-type]

    asyncio.run(attempt())
