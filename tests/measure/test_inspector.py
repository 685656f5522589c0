"""Inspections of resolvers of three makes, over loopback."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterator

import pytest

from tests.measure import dns_servers
from tests.measure.dns_servers import REWRITTEN, Ports, Servers
from tests.measure.far_ends import MS, once
from wanwatch.clock import RealClock
from wanwatch.core.model import NS_PER_S, Kind, Pin
from wanwatch.core.resolver import Resolver
from wanwatch.core.resolving import Inspection, NamesSeen, Purpose, Sign, findings
from wanwatch.measure.inspector import Inspector

pytestmark = pytest.mark.skipif(bool(dns_servers.MISSING), reason=f"not on this machine: {dns_servers.MISSING}")

MAKES = ("dnsmasq", "unbound", "bind")
ASKED = (
    ("www.example.com", Purpose.KNOWN),
    ("invalid", Purpose.ABSENT),
    ("example.com", Purpose.OWN_ZONE),
    ("signed.example.net", Purpose.SIGNED),
    ("broken.example.net", Purpose.BROKEN),
)


@pytest.fixture(scope="module")
def servers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Servers]:
    """The upstream, and what the resolvers need."""
    with dns_servers.running(tmp_path_factory.mktemp("dns")) as started:
        yield started


@pytest.fixture(scope="module")
def ports(servers: Servers) -> dict[str, Ports]:
    """A true resolver and a rewriting one of each make."""
    true = {make: getattr(servers, make)() for make in MAKES}
    return true | {f"rewriting-{make}": getattr(servers, make)(rewriting=True) for make in MAKES}


def inspection(port: int, name: str, purpose: Purpose, **changes: object) -> Inspection:
    """A question of an inspection."""
    usual: dict[str, object] = {"timeout_ns": 5 * NS_PER_S, "resolver": Resolver("127.0.0.1", port), "ask": name}
    return Inspection(once(Kind.DNS, "127.0.0.1", port, **usual | changes), purpose)


@contextlib.asynccontextmanager
async def inspecting(*asked: Inspection) -> AsyncIterator[tuple[Inspector, asyncio.Queue[NamesSeen]]]:
    """An inspector at work, and the rounds that it tells."""
    told: asyncio.Queue[NamesSeen] = asyncio.Queue()
    inspector = Inspector(RealClock(), told.put_nowait)
    try:
        await inspector.apply(asked)
        yield inspector, told
    finally:
        await inspector.close()


async def first_round(*asked: Inspection) -> NamesSeen:
    """The first round of these."""
    async with inspecting(*asked) as (_, told), asyncio.timeout(30):
        return await told.get()


@pytest.mark.parametrize(
    ("make", "rewriting", "validates"),
    [
        ("dnsmasq", Sign.NO, Sign.NO),
        ("unbound", Sign.NO, Sign.YES),
        ("bind", Sign.NO, Sign.YES),
        ("rewriting-dnsmasq", Sign.YES, Sign.NO),
        ("rewriting-unbound", Sign.YES, Sign.YES),
        ("rewriting-bind", Sign.YES, Sign.YES),
    ],
)
async def test_what_a_real_resolver_does_is_found_out(
    ports: dict[str, Ports], make: str, rewriting: Sign, validates: Sign
) -> None:
    """RFC 6761 section 6.4 and RFC 4035: dnsmasq forwards here, unbound and BIND validate."""
    port = ports[make].plain
    seen = await first_round(*(inspection(port, name, purpose) for name, purpose in ASKED))
    [found] = findings(seen.answers).values()
    assert (found.rewriting, found.sure, found.validates, found.differs_on) == (rewriting, True, validates, ())
    random = [answer for answer in seen.answers if answer.purpose is Purpose.ABSENT]
    assert len(random) == 4
    assert len({answer.name for answer in random}) == 2
    assert all(answer.name.endswith(".invalid") for answer in random)
    given = {address for answer in random for address in answer.addresses}
    assert given == ({REWRITTEN} if rewriting is Sign.YES else set())


async def test_a_resolver_that_does_not_answer_is_no_evidence_of_anything() -> None:
    """Silence, and a pin that cannot be used, are answers without a code; the round is told all the same."""
    silent = once(Kind.DNS, "127.0.0.1", dns_servers.free_port(), ask="invalid", timeout_ns=50 * MS)
    nowhere = once(Kind.DNS, "127.0.0.2", 53, ask="invalid", pin=Pin(interface="nosuch0"))
    seen = await first_round(Inspection(silent, Purpose.ABSENT), Inspection(nowhere, Purpose.ABSENT))
    assert {answer.rcode for answer in seen.answers} == {None}
    assert {found.rewriting for found in findings(seen.answers).values()} == {Sign.UNDECIDED}


async def test_a_resolver_of_a_metered_line_takes_part_in_some_rounds_only(ports: dict[str, Ports]) -> None:
    """Its interval is a multiple of the others'."""
    port = ports["dnsmasq"].plain
    often = inspection(port, "www.example.com", Purpose.KNOWN, every_ns=20 * MS, target="often")
    seldom = inspection(port, "www.example.com", Purpose.KNOWN, every_ns=60 * MS, target="seldom")
    async with inspecting(often, seldom) as (_, told), asyncio.timeout(10):
        taken = [[answer.resolver for answer in (await told.get()).answers] for _ in range(5)]
    assert taken == [["often", "seldom"], ["often"], ["often"], ["often", "seldom"], ["often"]]


async def test_the_same_inspections_go_on_undisturbed_and_none_end_it(ports: dict[str, Ports]) -> None:
    """A reload that changes nothing asks nobody anew."""
    asked = inspection(ports["dnsmasq"].plain, "www.example.com", Purpose.KNOWN)
    async with inspecting(asked) as (inspector, told), asyncio.timeout(10):
        await told.get()
        await inspector.apply([asked])
        await asyncio.sleep(0.1)
        assert told.empty()
        await inspector.apply([])
        await asyncio.sleep(0.1)
        assert told.empty()
        await inspector.apply([asked])
        assert (await told.get()).answers
