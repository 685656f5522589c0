"""The line itself: what one look at it shows, judged item by item."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wanwatch.core.acceptance.handover import Handover
from wanwatch.core.acceptance.items import About, Item, Verdict
from wanwatch.core.acceptance.limits import CONFIGURED, Limit
from wanwatch.core.model import Json
from wanwatch.core.resolving import NamesAnswer, Purpose, Sign, rewrites, validates
from wanwatch.core.way import Nat

_NOERROR: Final = "NOERROR"
_MBPS: Final = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSeen:
    """What one look at a line showed.

    Attributes:
        proved: Whether its pin leaves by its own line; None where nothing tells.
        leaves_by: The line that it leaves by instead, if that is known.
        alone: Whether no other line is configured.
        nat: Who translates addresses on its way.
        source: Our own address on it; None if unknown.
        public: The address that the far end saw; None if nobody told.
        hops: The first routers, nearest first; None for a silent one.
    """

    proved: bool | None
    leaves_by: str | None = None
    alone: bool = False
    nat: Nat = Nat.UNKNOWN
    source: str | None = None
    public: str | None = None
    hops: tuple[str | None, ...] = ()


def pin(seen: LineSeen) -> Item:
    """Say whether what is measured through this pin is measured of this line."""
    shown = f"seen as {seen.public}" if seen.public else ""
    hops = [hop for hop in seen.hops if hop]
    value = "; ".join(filter(None, [shown, f"first routers {', '.join(hops)}" if hops else ""])) or "nothing was seen"
    limit, source = "not by another line", "measuring at all"
    if seen.proved is False:
        reason = f"Its probes leave by {seen.leaves_by or 'another line'}."
        return Item(about=About.PIN, verdict=Verdict.FAIL, value=value, limit=limit, source=source, reason=reason)
    alone = seen.proved is None and seen.alone and bool(shown or hops)
    reason = "No other line is configured that it could leave by." if alone else ""
    if seen.proved is None and not alone:
        reason = "Nothing tells this line from the others: neither a public address nor a first router of its own."
    verdict = Verdict.PASS if seen.proved or alone else Verdict.NOT_DECIDED
    return Item(about=About.PIN, verdict=verdict, value=value, limit=limit, source=source, reason=reason)


_NAT_SAYS: Final[Mapping[Nat, str]] = {
    Nat.NONE: "not translated",
    Nat.ONCE: "translated once",
    Nat.DOUBLE: "translated twice",
    Nat.CARRIER: "translated by the provider for many customers (RFC 6598)",
    Nat.UNKNOWN: "translation not known",
}
_OWN: Final = frozenset({Nat.NONE, Nat.ONCE})
_AGREED: Final = "handed over: public_address"


def address(seen: LineSeen, given: Handover) -> Item:
    """Say by which address the line is seen, held to what was agreed."""
    parts = [seen.source or "own address not known", f"seen as {seen.public}" if seen.public else "seen by nobody"]
    value = f"{', '.join(parts)}; {_NAT_SAYS[seen.nat]}"
    verdict, limit, source, reason = _translation(seen, agreed=given.public_address)
    values: dict[str, Json] = {"source": seen.source, "public": seen.public, "translation": seen.nat.value}
    return Item(
        about=About.ADDRESS, verdict=verdict, value=value, limit=limit, source=source, reason=reason, values=values
    )


def _translation(seen: LineSeen, *, agreed: bool | None) -> tuple[Verdict, str, str, str]:
    limit, source = "a public address of the line's own", "stated default"
    if agreed is not None:
        source = _AGREED
    if seen.public is None:
        return Verdict.NOT_DECIDED, limit, source, "Nobody outside told by which address the line is seen."
    if seen.nat is Nat.UNKNOWN:
        return Verdict.NOT_DECIDED, limit, source, "The first routers, which show who translates it, were not seen."
    if agreed is False:
        return Verdict.PASS, "none was agreed", source, ""
    if seen.nat in _OWN:
        return Verdict.PASS, limit, source, ""
    if agreed is None:
        return Verdict.NOT_DECIDED, limit, source, "Whether a public address was agreed was not handed over."
    return Verdict.FAIL, limit, source, "Nothing can be reached from outside."


def gateway(where: str | None, answered: int, asked: int, *, beyond: bool) -> Item:
    """Say whether the router nearest to this machine answers.

    Args:
        where: Its address; None if unknown.
        answered: Echo requests that it answered.
        asked: Echo requests that were sent.
        beyond: Whether something behind it answered meanwhile.
    """
    if where is None:
        reason = "Neither is a gateway configured, nor did the nearest router show itself."
        return Item(about=About.GATEWAY, verdict=Verdict.NOT_DECIDED, value="not known", reason=reason)
    silent = "It ignores echo requests, while what is behind it answers." if beyond else ""
    return Item(
        about=About.GATEWAY,
        verdict=Verdict.PASS if answered else Verdict.NOT_DECIDED if beyond or not asked else Verdict.FAIL,
        value=f"{where}, {answered} of {asked} answered", limit="any answer", source="RFC 1122 section 3.2.2.6",
        reason="" if answered else silent or ("" if asked else "Nothing could be sent."),
        values={"address": where, "answered": answered, "asked": asked},
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class PortSeen:
    """A port as the kernel shows it.

    Attributes:
        interface: Its name.
        bps: Its rate; None where the kernel does not know one.
        duplex: `full` or `half`; None likewise.
        ends_here: Whether the line itself ends in it, and not in a gateway behind it.
    """

    interface: str
    bps: int | None
    duplex: str | None
    ends_here: bool


def port(seen: PortSeen | None, given: Handover, link_bps: int | None) -> Item:
    """Say at which rate and duplex the line is handed over: as the kernel shows it, else as it was handed over."""
    if seen is not None and seen.ends_here and seen.bps is not None:
        return _port(f"on {seen.interface}", seen.bps, seen.duplex, link_bps)
    if given.port_bps is not None:
        return _port("as handed over", given.port_bps, given.duplex, link_bps)
    own = f"this machine's own {seen.interface}: {_rate(seen.bps, seen.duplex)}" if seen else "not known"
    reason = "The line ends in a gateway: read port_rate and duplex off it, and hand them over."
    if seen is not None and seen.ends_here:
        reason = "The kernel does not tell the rate of this port: read it off the device, and hand it over."
    return Item(about=About.PORT, verdict=Verdict.NOT_DECIDED, value=own, limit=_wanted(link_bps), reason=reason)


def _port(where: str, bps: int, duplex: str | None, link_bps: int | None) -> Item:
    slow = link_bps is not None and bps < link_bps
    verdict = Verdict.FAIL if slow or duplex == "half" else Verdict.PASS
    reason = ""
    if verdict is Verdict.PASS and (link_bps is None or duplex is None):
        verdict = Verdict.NOT_DECIDED
        reason = "Its duplex is not known." if duplex is None else "handoff.link_mbps is not configured."
    return Item(
        about=About.PORT, verdict=verdict, value=f"{_rate(bps, duplex)}, {where}", limit=_wanted(link_bps),
        source=CONFIGURED if link_bps is not None else "IEEE 802.3", reason=reason, figure=float(bps),
        values={"port_bps": bps, "duplex": duplex},
    )  # fmt: skip


def _wanted(link_bps: int | None) -> str:
    return "full duplex" if link_bps is None else f"{link_bps / _MBPS:g} Mbit/s, full duplex"


def _rate(bps: int | None, duplex: str | None) -> str:
    rate = "rate not known" if bps is None else f"{bps / _MBPS:g} Mbit/s"
    return f"{rate}, {f'{duplex} duplex' if duplex else 'duplex not known'}"


@dataclass(frozen=True, slots=True)
class MtuSeen:
    """A path's MTU in one family.

    Attributes:
        version: 4 or 6.
        size: The largest packet that passed, in bytes of IP; None if it could not be measured.
        black_hole: Larger ones vanish without a word.
        why: Why it could not be measured; empty if it was.
    """

    version: int
    size: int | None
    black_hole: bool = False
    why: str = ""


def mtu(found: Sequence[MtuSeen], limit: Limit) -> tuple[Item, ...]:
    """Say for each family whether the path carries what was agreed."""
    if not found:
        reason = "No target that is asked by echo is configured for this line."
        return (Item(about=About.MTU, verdict=Verdict.NOT_DECIDED, value="not measured", reason=reason),)
    return tuple(_mtu(one, limit) for one in found)


def _mtu(found: MtuSeen, limit: Limit) -> Item:
    about, of, wanted = About.MTU, f"IPv{found.version}", f"at least {int(limit.figure)} bytes"
    if found.size is None:
        return Item(
            about=about, of=of, verdict=Verdict.NOT_DECIDED, value="not measured", limit=wanted, source=limit.source,
            reason=f"{found.why or 'The target does not answer'}.",
        )  # fmt: skip
    enough = found.size >= limit.figure
    hole = f"Packets above {found.size} bytes vanish, and nobody says that they are too big (RFC 2923)."
    return Item(
        about=about, of=of, verdict=Verdict.PASS if enough and not found.black_hole else Verdict.FAIL,
        value=f"{found.size} bytes", limit=wanted, source=limit.source, reason=hole if found.black_hole else "",
        figure=float(found.size), values={"mtu_bytes": found.size, "black_hole": found.black_hole},
    )  # fmt: skip


def resolvers(names: Sequence[str], answers: Sequence[NamesAnswer]) -> tuple[Item, ...]:
    """Say of each resolver whether it answers, rewrites and validates.

    Args:
        names: The resolvers that are configured for the line.
        answers: All that they said, in several rounds.
    """
    if not names:
        reason = "No resolvers are configured for this line."
        return (Item(about=About.RESOLVER_ANSWERS, verdict=Verdict.NOT_DECIDED, value="not asked", reason=reason),)
    return tuple(item for name in names for item in _resolver(name, [one for one in answers if one.resolver == name]))


def _resolver(name: str, answers: Sequence[NamesAnswer]) -> Iterator[Item]:
    known = [answer for answer in answers if answer.purpose is Purpose.KNOWN]
    answered = sum(answer.rcode == _NOERROR for answer in known)
    some = "Some questions were not answered." if 0 < answered < len(known) else ""
    yield Item(
        about=About.RESOLVER_ANSWERS, of=name,
        verdict=Verdict.PASS if known and answered == len(known) else Verdict.NOT_DECIDED if some or not known
        else Verdict.FAIL,
        value=f"{answered} of {len(known)} questions", limit="every one", source="stated default",
        reason=some or ("" if known else "No names to ask for are configured, in [names]."),
        values={"answered": answered, "asked": len(known)},
    )  # fmt: skip
    if answered:
        yield _rewriting(name, rewrites(answers)[0])
        # The last word on a name counts: one that came, before one that got lost.
        yield _validation(name, validates(sorted(answers, key=lambda answer: answer.rcode is not None)))


def _rewriting(name: str, found: Sign) -> Item:
    verdict = {Sign.NO: Verdict.PASS, Sign.YES: Verdict.FAIL}.get(found, Verdict.NOT_DECIDED)
    value = {
        Sign.NO: "names that do not exist are said not to exist",
        Sign.YES: "gives addresses for names that do not exist",
    }.get(found, "no usable answer")
    return Item(
        about=About.RESOLVER_REWRITING, of=name, verdict=verdict, value=value, limit="no address for such a name",
        source="RFC 1035 section 4.1.1, RFC 6761 section 6.4",
    )  # fmt: skip


def _validation(name: str, found: Sign | None) -> Item:
    verdict = {Sign.YES: Verdict.PASS, Sign.NO: Verdict.FAIL}.get(found or Sign.UNDECIDED, Verdict.NOT_DECIDED)
    value = {None: "not asked", Sign.YES: "yes", Sign.NO: "no: it resolves a broken signature"}.get(found, "no verdict")
    return Item(
        about=About.RESOLVER_VALIDATION, of=name, verdict=verdict, value=value, limit="signatures are validated",
        source="stated default: RFC 9364 (best current practice 237)",
        reason="names.signed and names.broken are not configured." if found is None else "",
    )  # fmt: skip
