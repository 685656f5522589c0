"""The whole daemon, and what its inspections of resolvers leave behind."""

import asyncio
from pathlib import Path

import dns.flags
import dns.message
import dns.rcode
import dns.rrset

from tests.measure.far_ends import udp_server
from wanwatch.clock import RealClock
from wanwatch.config import load
from wanwatch.core.account.calendar import local_time
from wanwatch.core.resolving import Ledger, Sign, ledger_key
from wanwatch.daemon import Daemon
from wanwatch.store import SqliteRecord

OFFICE = """
[site]
name = "harbour-lane"
data_dir = "data"
[[uplink]]
name = "fibre"
pin = {{ source = "127.20.0.11" }}
resolvers = ["127.0.0.1:{true}", "127.0.0.1:{false}"]
[[target]]
name = "near"
tcp = "127.0.0.1:{true}"
[names]
ask = ["www.example.com"]
signed = "signed.example.net"
broken = "broken.example.net"
[listen]
address = "127.0.0.1:{listen}"
"""


def answer(wire: bytes, *, truthful: bool) -> list[tuple[float, bytes]]:
    """A validating resolver, or one that knows an address for everything."""
    query = dns.message.from_wire(wire)
    reply = dns.message.make_response(query)
    name = query.question[0].name.to_text()
    if truthful and name.endswith("invalid."):
        reply.set_rcode(dns.rcode.NXDOMAIN)
    elif truthful and name.startswith("broken"):
        reply.set_rcode(dns.rcode.SERVFAIL)
    else:
        reply.flags |= dns.flags.AD if truthful else 0
        if query.question[0].rdtype.name == "A":
            reply.answer.append(dns.rrset.from_text(name, 60, "IN", "A", "192.0.2.7" if truthful else "192.0.2.80"))
    return [(0, reply.to_wire())]


async def watch(path: Path) -> dict[str, object]:
    """Run the daemon until both resolvers have been inspected; return what it says of them."""
    daemon = Daemon(load(path), path=path)
    await daemon.start()
    try:
        async with asyncio.timeout(10):
            while not daemon.health()["resolvers"]:  # noqa: ASYNC110 - the daemon tells nobody, it is asked
                await asyncio.sleep(0.05)
        told = daemon.health()["resolvers"]
        assert isinstance(told, list)
        return {str(one["resolver"]): one for one in told if isinstance(one, dict)}
    finally:
        await daemon.stop()


async def test_a_resolver_that_rewrites_is_told_and_counted_for_the_month_across_restarts(tmp_path: Path) -> None:
    """RFC 6761 section 6.4 and RFC 4035 in the whole: /health, the metrics' source, and the record."""
    path = tmp_path / "wanwatch.toml"
    async with (
        udp_server(lambda wire: answer(wire, truthful=True)) as true,
        udp_server(lambda wire: answer(wire, truthful=False)) as false,
        udp_server(lambda _: []) as listen,
    ):
        path.write_text(OFFICE.format(true=true.port, false=false.port, listen=listen.port))
        told = await watch(path)
        again = await watch(path)
    places = [f"127.0.0.1:{true.port}", f"127.0.0.1:{false.port}"]
    differs = {"uplink": "fibre", "differs_on": ["www.example.com"]}
    assert told == again
    assert told == {
        places[0]: {**differs, "resolver": places[0], "rewriting": "no", "validates": "yes"},
        places[1]: {**differs, "resolver": places[1], "rewriting": "yes", "validates": "no"},
    }
    month = local_time(RealClock.now_unix_ns(), load(path).site.zone)
    with SqliteRecord(tmp_path / "data" / "wanwatch.sqlite") as record:
        ledger = Ledger.from_json(record.recall(ledger_key(month.year, month.month)))
    tally = ledger["fibre", places[1]]
    assert (tally.rewrites, tally.validated, tally.inspections, tally.differed) == (
        Sign.YES, Sign.NO, 2, {"www.example.com": 2},
    )  # fmt: skip
