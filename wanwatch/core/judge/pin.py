"""Pin proof: whether each uplink's pinned probes do leave by that uplink's own line.

Two witnesses: the public address that servers on the internet see, asked by STUN (RFC 8489) or HTTP, and the first
router beyond the gateway. Lines are told apart by comparing them; a pin that shows another line's way is lost, and what
lacks evidence stays as it was.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final, NamedTuple

from wanwatch.core.judge.evidence import NEVER
from wanwatch.core.model import UNPINNED, Json, Kind, Outcome, PinsSeen, Question, Role, Sample
from wanwatch.core.way import Nat, Way, behind_carrier, nat

_ROUNDS: Final = 3
"""A public address is evidence for so many rounds of questions to its server; then it is old."""


class Phase(Enum):
    """What is held of a pin."""

    UNPROVED = "unproved"  # there is no evidence yet, and perhaps no way to any
    PROVED = "proved"
    LOST = "lost"


class Signal(Enum):
    """What a round of evidence amounts to."""

    OWN = "own"  # it leaves by a line that no other uplink leaves by
    FOREIGN = "foreign"  # it leaves by another uplink's line
    NOTHING = "nothing"  # that cannot be told


_U, _P, _L = Phase.UNPROVED, Phase.PROVED, Phase.LOST
_ROWS: Final = {
    #    OWN FOREIGN NOTHING
    _U: (_P, _L,     _U),
    _P: (_P, _L,     _P),  # a line that is down shows nothing, and its pin is none the worse for it
    _L: (_P, _L,     _L),  # what was seen to go wrong is mended when it is seen to be
}  # fmt: skip
TRANSITIONS: Final = {phase: dict(zip(Signal, row, strict=True)) for phase, row in _ROWS.items()}


class Same(Enum):
    """Whether two pins leave by one line."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What one pin shows of the line it leaves by.

    Attributes:
        addresses: The public address that each server saw, where that tells anything of the line.
        first_hop: The first router beyond the gateway.
        distance: Its place on the way, 1 for the nearest.
        shared: The provider translates for many, so that two of its lines may show one address.
    """

    addresses: Mapping[str, str]
    first_hop: str | None = None
    distance: int = 0
    shared: bool = False

    def __bool__(self) -> bool:
        """Whether it is any evidence at all."""
        return bool(self.addresses) or self.first_hop is not None


class Finding(NamedTuple):
    """What a round says of one pin, and by whose line it leaves if that is another's."""

    signal: Signal
    other: str | None = None


def compare(one: Shown, two: Shown) -> Same:
    """Return whether *one* and *two*, pins of two uplinks, leave by one line.

    One difference tells two lines apart: two lines of one provider may well begin at the same router, and two behind
    a carrier's translation may show one address. A router that is the nearest for both may be a gateway that sends
    them different ways, and says nothing.
    """
    alike = one.first_hop == two.first_hop is not None and max(one.distance, two.distance) > 1
    return _weigh(one, two, alike=alike, addresses=not (one.shared or two.shared))


def unchanged(now: Shown, before: Shown | None) -> bool:
    """Return whether a pin shows what it showed *before*, and nothing else."""
    if before is None:
        return False
    return _weigh(now, before, alike=now.first_hop == before.first_hop is not None, addresses=True) is Same.YES


def _weigh(one: Shown, two: Shown, *, alike: bool, addresses: bool) -> Same:
    pairs = [(one.addresses[server], two.addresses[server]) for server in one.addresses.keys() & two.addresses.keys()]
    routers = one.first_hop is not None and two.first_hop is not None
    if any(left != right for left, right in pairs) or (routers and one.first_hop != two.first_hop):
        return Same.NO
    return Same.YES if alike or (pairs and addresses) else Same.UNKNOWN


def find(shown: Mapping[str, Shown], proofs: Mapping[str, Shown]) -> dict[str, Finding]:
    """Return what one round says of each pin.

    Args:
        shown: What each pin shows now.
        proofs: What each showed when it was last proved; it stands for a pin that shows nothing now.
    """
    return {name: _find(name, shown, proofs) for name in shown}


def _find(name: str, shown: Mapping[str, Shown], proofs: Mapping[str, Shown]) -> Finding:
    mine = shown[name]
    if not mine:
        return Finding(Signal.NOTHING)
    held = unchanged(mine, proofs.get(name))
    compared = {
        other: compare(mine, known) for other in shown if other != name and (known := shown[other] or proofs.get(other))
    }
    for other in (other for other, same in compared.items() if same is Same.YES):
        at_home = not shown[other] or unchanged(shown[other], proofs.get(other))
        if not held:
            return Finding(Signal.FOREIGN, other)
        if at_home:
            return Finding(Signal.NOTHING)  # what told these two apart keeps silent now
    apart = len(shown) > 1 and len(compared) == len(shown) - 1 and set(compared.values()) == {Same.NO}
    drifts = any(_drifts(mine, shown[other] or proofs[other], proofs.get(name)) for other in compared)
    return Finding(Signal.OWN if held or (apart and not drifts) else Signal.NOTHING)


def _drifts(mine: Shown, other: Shown, proof: Shown | None) -> bool:
    """Whether one witness has come to show what it shows of the *other* line, and the next may follow."""
    if proof is None:
        return False
    pairs = [(mine.first_hop, other.first_hop, proof.first_hop)]
    pairs += [(address, other.addresses.get(at), proof.addresses.get(at)) for at, address in mine.addresses.items()]
    return any(now is not None and now == theirs != before for now, theirs, before in pairs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What is held of one pin.

    Attributes:
        phase: Where it stands.
        shown: What it shows now.
        other: By whose line it leaves, where that is another's.
        way: Its last trace.
        nat: Who translates addresses on it.
    """

    phase: Phase = Phase.UNPROVED
    shown: Shown = Shown(addresses={})
    other: str | None = None
    way: Way | None = None
    nat: Nat = Nat.UNKNOWN


class Pins:
    """The pins of a site: hears the public addresses that pinned samples tell, and judges with each round of traces.

    Args:
        proofs: What each pin showed when it was last proved, from before a restart.
        lost: Pins that were lost then.

    Attributes:
        verdicts: What is held of each.
        own_ns: When each was last seen to leave by its own line (monotonic); `NEVER` if it was not.
    """

    def __init__(self, proofs: Mapping[str, Shown] | None = None, lost: Iterable[str] = ()) -> None:
        self.proofs = dict(proofs or {})
        self.verdicts = {name: Verdict(phase=Phase.LOST) for name in lost}
        self.own_ns: dict[str, int] = {}
        self._seen: dict[tuple[str, str], tuple[int, str]] = {}
        self._fresh_ns: dict[tuple[str, str], int] = {}
        self._pages: frozenset[str] = frozenset()

    def reconfigure(self, uplinks: Sequence[str], questions: Iterable[Question]) -> None:
        """Take other uplinks or questions; what is known of those that stay is kept."""
        self.verdicts = {name: self.verdicts.get(name, Verdict()) for name in uplinks}
        asked = [q for q in questions if q.series.role is Role.EGRESS and q.series.uplink != UNPINNED]
        self._fresh_ns = {(q.series.uplink, q.series.target): _ROUNDS * q.every_ns + q.timeout_ns for q in asked}
        self._pages = frozenset(q.series.target for q in asked if q.series.kind is Kind.HTTP)

    def hear(self, sample: Sample) -> None:
        """Take in a sample that tells the public address; one that is not pinned is none of ours."""
        key = sample.series.uplink, sample.series.target
        address = (sample.facts or {}).get("address")
        if key not in self._fresh_ns or sample.outcome is not Outcome.ANSWERED or not isinstance(address, str):
            return
        self._seen[key] = sample.sent_ns, address
        if self.verdicts[key[0]].phase is Phase.PROVED and self._tells(key, address):
            self.own_ns[key[0]] = max(self.own_ns.get(key[0], NEVER), sample.sent_ns)

    def _tells(self, key: tuple[str, str], address: str) -> bool:
        """Whether *address* is the one that the pin was proved with, and no other uplink's."""
        name, server = key
        others = (proof.addresses.get(server) for other, proof in self.proofs.items() if other != name)
        return name in self.proofs and self.proofs[name].addresses.get(server) == address not in others

    def see(self, seen: PinsSeen) -> list[str]:
        """Judge with a round of traces; return the names of the pins of which something else is held now."""
        ways = {name: way for name, way in seen.ways.items() if name in self.verdicts}
        addresses = self._addresses(seen.at_ns)
        shown = {name: _shown(ways.get(name), addresses[name]) for name in self.verdicts}
        found = find(shown, self.proofs)
        changed = []
        for name, finding in found.items():
            before = self.verdicts[name]
            way = ways.get(name) or before.way
            after = replace(
                before, phase=TRANSITIONS[before.phase][finding.signal], shown=shown[name], way=way,
                other=before.other if finding.signal is Signal.NOTHING else finding.other, nat=self._nat(name, way),
            )  # fmt: skip
            if finding.signal is Signal.OWN:
                self.proofs[name] = _merged(shown[name], self.proofs.get(name))
                self.own_ns[name] = max(self.own_ns.get(name, NEVER), self._shown_ns(name, shown[name], seen.at_ns))
            if after != before:
                self.verdicts[name] = after
                changed.append(name)
        return changed

    def _shown_ns(self, name: str, shown: Shown, at_ns: int) -> int:
        """When the evidence was seen: an address may be rounds old, and vouches for nothing after it was heard."""
        return at_ns if shown.first_hop is not None else max(self._seen[name, at][0] for at in shown.addresses)

    def _addresses(self, at_ns: int) -> dict[str, dict[str, str]]:
        fresh: dict[str, dict[str, str]] = {name: {} for name in self.verdicts}
        for (name, server), (heard_ns, address) in self._seen.items():
            if name in fresh and at_ns - heard_ns <= self._fresh_ns.get((name, server), NEVER):
                fresh[name][server] = address
        # Pages are asked rarely, and their old word would hold up a new one: they count where STUN leaves a gap.
        stun = {name: {at: told for at, told in said.items() if at not in self._pages} for name, said in fresh.items()}
        return stun if all(stun.values()) else fresh

    def _nat(self, name: str, way: Way | None) -> Nat:
        public = next((address for (uplink, _), (_, address) in self._seen.items() if uplink == name), None)
        return Nat.UNKNOWN if way is None else nat(way, public)


def _shown(way: Way | None, addresses: Mapping[str, str]) -> Shown:
    if way is None:
        return Shown(addresses=addresses)
    # An address that nobody translated is our own, whichever line it left by.
    telling = {server: address for server, address in addresses.items() if way.bound or address != way.source}
    distance = way.ours + 1 if way.first_hop is not None else 0
    return Shown(addresses=telling, first_hop=way.first_hop, distance=distance, shared=behind_carrier(way))


def _merged(now: Shown, before: Shown | None) -> Shown:
    """Return what a pin is known by: what it shows now, and from before what keeps silent now."""
    if before is None:
        return now
    first_hop, distance = (
        (before.first_hop, before.distance) if now.first_hop is None else (now.first_hop, now.distance)
    )
    return replace(now, addresses={**before.addresses, **now.addresses}, first_hop=first_hop, distance=distance)


def to_json(shown: Shown) -> dict[str, Json]:
    """Return *shown* as it is kept and told."""
    return {"addresses": dict(shown.addresses), "first_hop": shown.first_hop, "distance": shown.distance}


def from_json(value: Json) -> Shown | None:
    """Return what `to_json` wrote; None for anything else, as an older record may hold."""
    if not isinstance(value, dict) or not isinstance(addresses := value.get("addresses"), dict):
        return None
    hop, distance = value.get("first_hop"), value.get("distance")
    known = {server: address for server, address in addresses.items() if isinstance(address, str)}
    return Shown(
        addresses=known, first_hop=hop if isinstance(hop, str) else None,
        distance=distance if isinstance(distance, int) else 0,
    )  # fmt: skip
