"""Proofs of pins, for people: what each uplink's probes show of the line they leave by, and what to mend."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from wanwatch.core.model import NS_PER_S, Json, PinChanged
from wanwatch.core.proof_row import ProofRow
from wanwatch.core.way import Nat
from wanwatch.publish.columns import columns

_LATEST: Final = 5
_NAT_SAYS: Final[Mapping[Nat, str]] = {
    Nat.CARRIER: (
        "the provider translates its addresses for many customers at once (carrier-grade NAT, RFC 6598): nothing can "
        "be reached from outside, and STUN may not tell its lines apart; ask the provider for a public address"
    ),
    Nat.DOUBLE: (
        "addresses are translated twice (two private routers in a row): connections from outside and some calls fail; "
        "let the provider's box bridge, or let our gateway route without translating"
    ),
}


def pin_says(held: PinChanged) -> str:
    """Say what is worth knowing of a pin, with the mend; empty for one that is proved and reaches out plainly."""
    says = _NAT_SAYS.get(held.nat, "")
    if held.proved is not False:
        return says and f"{held.uplink}: {says}"
    lost = (
        f"{held.uplink}: its pinned probes leave by {held.leaves_by or 'another line'}, so nothing that they show is "
        "its own; mend the rule by which the gateway routes them, see deploy/gateways"
    )
    return f"{lost}; and {says}" if says else lost


def proofs_text(rows: Sequence[ProofRow]) -> str:
    """Return the proofs as a table, and below it what to mend."""
    heads = ("uplink", "interface", "gateway", "public address", "first hops", "translated", "path MTU", "proved")
    told = "".join(f"- {word}\n" for row in rows for word in _words(row))
    return columns([heads, *(_cells(row) for row in rows)]) + (f"\n{told}" if told else "")


def _cells(row: ProofRow) -> tuple[str, ...]:
    proved = {True: "yes", False: "NO", None: "cannot tell"}[row.held.proved]
    hops = " ".join(hop or "*" for hop in row.hops)
    cells = (row.interface, row.gateway, row.public, hops, row.held.nat.value, ", ".join(row.mtus))
    return (row.held.uplink, *(cell or "-" for cell in cells), proved)


def _words(row: ProofRow) -> Iterator[str]:
    if said := pin_says(row.held):
        yield said
    yield from (f"{row.held.uplink}: {word}" for word in (*row.faults, *row.gaps))
    if row.held.proved is None:
        yield (
            f"{row.held.uplink}: nothing tells its line from the others: there has to be another uplink, and a STUN "
            "server or a first hop that answers over both; its samples are taken as they come"
        )


def routes_text(changes: Sequence[Json], timezone: str) -> str:
    """Return the latest changes of route that the record holds, one a line; empty if there are none."""
    lines = [_change(change, timezone) for change in changes[-_LATEST:] if isinstance(change, dict)]
    return "\n".join(["", "Latest changes of route:", *lines, ""]) if lines else ""


def _change(change: Mapping[str, Json], timezone: str) -> str:
    at_unix_ns = change.get("at_unix_ns")
    when = datetime.fromtimestamp(at_unix_ns // NS_PER_S, ZoneInfo(timezone)) if isinstance(at_unix_ns, int) else None
    before, after = (_hops(change.get(key)) for key in ("before", "after"))
    return f"- {when or '?'}  {change.get('uplink')}: {before} became {after}"


def _hops(hops: Json) -> str:
    return " ".join(str(hop or "*") for hop in hops) if isinstance(hops, list) else "?"
