"""Resolvers of three makes, asked by each transport."""

import asyncio
import ssl
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.measure import dns_servers
from tests.measure.dns_servers import BY_SECURE_NAME, Ports, Servers
from tests.measure.far_ends import ask_once, once
from wanwatch.core.model import NS_PER_S, Cause, Kind, Outcome, Question
from wanwatch.core.resolver import Resolver, Transport

pytestmark = pytest.mark.skipif(bool(dns_servers.MISSING), reason=f"not on this machine: {dns_servers.MISSING}")

MAKES = ("dnsmasq", "unbound", "bind")
SECURE = ("unbound", "bind")


@pytest.fixture(scope="module")
def servers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Servers]:
    """The upstream, and what the resolvers need."""
    with dns_servers.running(tmp_path_factory.mktemp("dns")) as started:
        yield started


@pytest.fixture(scope="module")
def ports(servers: Servers) -> dict[str, Ports]:
    """One resolver of each make."""
    return {make: getattr(servers, make)() for make in MAKES}


def over(transport: Transport, port: int, name: str | None = None, path: str = "/dns-query") -> Resolver:
    """A resolver on loopback."""
    return Resolver("127.0.0.1", port, transport, name, path if transport is Transport.HTTPS else "")


def asking(resolver: Resolver, ask: str, ca_file: Path | None = None) -> Question:
    """A question to it, which waits long: the make's own first look-up is not our subject."""
    return once(
        Kind.DNS,
        resolver.address,
        resolver.port,
        ask=ask,
        resolver=resolver,
        ca_file=str(ca_file) if ca_file else None,
        timeout_ns=5 * NS_PER_S,
    )


@pytest.mark.parametrize("make", MAKES)
@pytest.mark.parametrize("transport", [Transport.UDP, Transport.TCP])
@pytest.mark.parametrize(
    ("name", "outcome", "rcode"),
    [
        ("www.example.com", Outcome.ANSWERED, "NOERROR"),
        ("alias.example.com", Outcome.ANSWERED, "NOERROR"),
        ("none.example.com", Outcome.REFUSED, "NXDOMAIN"),
    ],
)
async def test_a_name_is_asked_of_each_make(
    ports: dict[str, Ports], make: str, transport: Transport, name: str, outcome: Outcome, rcode: str
) -> None:
    """RFC 1035 section 4.2: the same question over UDP and over TCP, with the length prefix of the latter."""
    sample = await ask_once(asking(over(transport, ports[make].plain), name))
    assert (sample.outcome, (sample.facts or {})["rcode"]) == (outcome, rcode)


@pytest.mark.parametrize("make", MAKES)
async def test_an_answer_too_long_for_udp_comes_over_tcp(ports: dict[str, Ports], make: str) -> None:
    """RFC 1035 section 4.2.1: 95 addresses do not fit into 1232 octets, and the answer is whole all the same."""
    sample = await ask_once(asking(over(Transport.UDP, ports[make].plain), "many.example.com"))
    assert (sample.outcome, sample.facts) == (Outcome.ANSWERED, {"rcode": "NOERROR"})


@pytest.mark.parametrize("make", SECURE)
@pytest.mark.parametrize("transport", [Transport.TLS, Transport.HTTPS])
@pytest.mark.parametrize("name", [None, BY_SECURE_NAME])
async def test_a_name_is_asked_over_tls_and_https(
    servers: Servers, ports: dict[str, Ports], make: str, transport: Transport, name: str | None
) -> None:
    """RFC 7858 and RFC 8484; RFC 8310 section 8.1: the certificate shows the name written, or else the address."""
    port = getattr(ports[make], transport.value)
    sample = await ask_once(asking(over(transport, port, name), "www.example.com", servers.ca_file))
    assert sample.outcome is Outcome.ANSWERED
    assert sample.facts is not None
    assert {"rcode", "connect_ns", "tls_ns", "cert_days_left", "cert_expires_unix_s"} == set(sample.facts)


@pytest.mark.parametrize("make", SECURE)
async def test_over_https_a_name_that_does_not_exist_is_an_answer_of_names_and_no_fault_of_the_web(
    servers: Servers, ports: dict[str, Ports], make: str
) -> None:
    """RFC 8484 section 4.2.1: HTTP 200 carries NXDOMAIN."""
    resolver = over(Transport.HTTPS, ports[make].https)
    sample = await ask_once(asking(resolver, "none.example.com", servers.ca_file))
    assert (sample.outcome, sample.cause) == (Outcome.REFUSED, Cause.RCODE)
    assert (sample.facts or {})["rcode"] == "NXDOMAIN"


@pytest.mark.parametrize("make", SECURE)
async def test_another_path_is_refused_with_its_status(servers: Servers, ports: dict[str, Ports], make: str) -> None:
    """RFC 8484 section 4.2.1: only a 2xx holds an answer."""
    resolver = over(Transport.HTTPS, ports[make].https, path="/elsewhere")
    sample = await ask_once(asking(resolver, "www.example.com", servers.ca_file))
    assert (sample.outcome, sample.cause) == (Outcome.REFUSED, Cause.HTTP_STATUS)
    assert (sample.facts or {})["status"] == 404


@pytest.mark.parametrize("transport", [Transport.TLS, Transport.HTTPS])
async def test_a_resolver_that_cannot_prove_its_name_is_not_asked(
    servers: Servers, ports: dict[str, Ports], transport: Transport
) -> None:
    """RFC 8310 section 8: another name, or an authority that nobody trusts, is a refusal."""
    port = getattr(ports["unbound"], transport.value)
    stranger = await ask_once(asking(over(transport, port, "dns.example.com"), "www.example.com", servers.ca_file))
    untrusted = await ask_once(asking(over(transport, port), "www.example.com"))
    for sample in (stranger, untrusted):
        assert (sample.outcome, sample.cause) == (Outcome.REFUSED, Cause.TLS)
    assert "Hostname mismatch" in str((stranger.facts or {})["tls"])


async def test_https_without_http_2_is_a_refusal_that_says_so(servers: Servers) -> None:
    """RFC 7301 section 3.2: a server without protocols of its own chooses none, and HTTP/2 needs one."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(servers.folder / "server.pem", servers.folder / "server.key")

    def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.close()

    async with await asyncio.start_server(serve, "127.0.0.1", 0, ssl=context) as server:
        port = server.sockets[0].getsockname()[1]
        sample = await ask_once(asking(over(Transport.HTTPS, port), "www.example.com", servers.ca_file))
    assert (sample.outcome, sample.cause) == (Outcome.REFUSED, Cause.TLS)
    assert (sample.facts or {})["tls"] == "the far end speaks no HTTP/2"


async def test_authorities_that_cannot_be_read_are_our_own_trouble(ports: dict[str, Ports], tmp_path: Path) -> None:
    """What we could not ask is no refusal of the far end."""
    sample = await ask_once(asking(over(Transport.TLS, ports["bind"].tls), "www.example.com", tmp_path / "none"))
    assert (sample.outcome, sample.cause) == (Outcome.NOT_SENT, Cause.ERROR)
