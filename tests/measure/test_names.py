"""Names over pinned loopback sockets."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable

import dns.flags
import dns.message
import dns.rrset
import pytest

from tests.measure.far_ends import ask_once, once, udp_server
from wanwatch.clock import RealClock
from wanwatch.core.model import Cause, Kind, Outcome, Pin
from wanwatch.core.resolver import Resolver
from wanwatch.measure.resolvers import Way, look_up

NAME = "www.example.com."


def answer(wire: bytes, *records: str, truncated: bool = False, rcode: int = 0) -> bytes:
    """A response with these records: "NAME TYPE VALUE"."""
    reply = dns.message.make_response(dns.message.from_wire(wire))
    reply.set_rcode(rcode)  # type: ignore[arg-type]
    if truncated:
        reply.flags |= dns.flags.TC
    for record in records:
        name, kind, value = record.split()
        reply.answer.append(dns.rrset.from_text(name, 60, "IN", kind, value))
    return reply.to_wire()


@contextlib.asynccontextmanager
async def tcp_server(reply: Callable[[bytes], bytes], port: int) -> AsyncIterator[None]:
    """A DNS server over TCP."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        length = int.from_bytes(await reader.readexactly(2), "big")
        wire = reply(await reader.readexactly(length))
        writer.write(len(wire).to_bytes(2, "big") + wire)
        await writer.drain()
        writer.close()

    async with await asyncio.start_server(serve, "127.0.0.1", port):
        yield


@pytest.mark.parametrize(
    ("records", "rcode", "outcome", "said"),
    [
        ([f"{NAME} A 198.51.100.7"], 0, Outcome.ANSWERED, "NOERROR"),
        ([f"{NAME} CNAME a.example.", "a.example. A 198.51.100.7"], 0, Outcome.ANSWERED, "NOERROR"),
        ([], 3, Outcome.REFUSED, "NXDOMAIN"),
        ([], 2, Outcome.REFUSED, "SERVFAIL"),
        ([], 0, Outcome.REFUSED, "NOERROR"),
        (["other.example. A 198.51.100.7"], 0, Outcome.REFUSED, "NOERROR"),
        ([f"{NAME} CNAME {NAME}"], 0, Outcome.REFUSED, "NOERROR"),
    ],
)
async def test_a_name_is_answered_by_an_address_for_it(
    records: list[str], rcode: int, outcome: Outcome, said: str
) -> None:
    """NOERROR with at least one answer to the name asked for; aliases are followed and may run in a ring."""
    async with udp_server(lambda wire: [(0, answer(wire, *records, rcode=rcode))]) as far:
        sample = await ask_once(once(Kind.DNS, "127.0.0.1", far.port, ask=NAME))
    assert (sample.outcome, sample.facts) == (outcome, {"rcode": said})
    assert sample.cause is (Cause.RCODE if outcome is Outcome.REFUSED else None)


async def test_a_truncated_answer_is_fetched_over_tcp_and_gives_one_sample() -> None:
    """RFC 1035 section 4.2.1."""
    async with (
        udp_server(lambda wire: [(0, answer(wire, truncated=True))]) as far,
        tcp_server(lambda wire: answer(wire, f"{NAME} A 198.51.100.7"), far.port),
    ):
        sample = await ask_once(once(Kind.DNS, "127.0.0.1", far.port, ask=NAME))
    assert (sample.outcome, sample.facts) == (Outcome.ANSWERED, {"rcode": "NOERROR"})


async def test_a_truncated_answer_without_tcp_behind_it_is_lost() -> None:
    """Nobody ever gave the answer."""
    async with udp_server(lambda wire: [(0, answer(wire, truncated=True))]) as far:
        sample = await ask_once(once(Kind.DNS, "127.0.0.1", far.port, ask=NAME))
    assert sample.outcome is Outcome.LOST


async def test_answers_with_another_id_or_question_are_ignored() -> None:
    """RFC 5452 section 9.1: what comes first may be forged."""

    def forged_then_true(wire: bytes) -> list[tuple[float, bytes]]:
        true = answer(wire, f"{NAME} A 198.51.100.7")
        other_id = bytes([true[0] ^ 1]) + true[1:]
        elsewhere = dns.message.make_query("www.example.net", "A", id=int.from_bytes(true[:2], "big"))
        other_question = answer(elsewhere.to_wire(), "www.example.net. A 203.0.113.66")
        return [(0, other_id), (0, other_question), (0.02, true)]

    async with udp_server(forged_then_true) as far:
        sample = await ask_once(once(Kind.DNS, "127.0.0.1", far.port, ask=NAME))
    assert sample.outcome is Outcome.ANSWERED
    assert sample.rtt_ns is not None
    assert sample.rtt_ns > 10_000_000


def way(address: str, port: int, interface: str | None = None) -> Way:
    """How a resolver on loopback is asked."""
    return Way(Pin(interface=interface), Resolver(address, port), RealClock())


async def test_looking_up_asks_the_next_resolver_where_one_does_not_answer() -> None:
    """A dead resolver must not hide a live one; a truncated answer is fetched over TCP here too."""

    def only_6(wire: bytes) -> bytes:
        asked = dns.message.from_wire(wire).question[0].rdtype
        return answer(wire, f"{NAME} AAAA 2001:db8::7") if asked.name == "AAAA" else answer(wire)

    async with (
        udp_server(lambda _: [], "127.0.0.3") as dead,
        udp_server(lambda wire: [(0, answer(wire, truncated=True))]) as far,
        tcp_server(only_6, far.port),
    ):
        ways = [way("127.0.0.3", dead.port), way("127.0.0.2", far.port), way("127.0.0.1", far.port)]
        found = await look_up(ways, NAME, 0.1)
    assert found == ["2001:db8::7"]


async def test_looking_up_gives_one_address_of_each_family_that_is_wanted_ipv6_first() -> None:
    """RFC 8305 section 4: the families take turns, beginning with IPv6."""

    def both(wire: bytes) -> list[tuple[float, bytes]]:
        six = dns.message.from_wire(wire).question[0].rdtype.name == "AAAA"
        return [(0, answer(wire, f"{NAME} AAAA 2001:db8::7" if six else f"{NAME} A 198.51.100.7"))]

    async with udp_server(both) as far:
        ways = [way("127.0.0.1", far.port)]
        assert await look_up(ways, NAME, 0.5) == ["2001:db8::7", "198.51.100.7"]
        assert await look_up(ways, NAME, 0.5, [4]) == ["198.51.100.7"]


async def test_looking_up_in_vain_finds_nothing() -> None:
    """No resolver, or none that answers."""
    assert await look_up([], NAME, 0.1) == []
    assert await look_up([way("127.0.0.1", 53, "nosuch0")], NAME, 0.1) == []
