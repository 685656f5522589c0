"""Resolving: what an inspection of resolvers says of each of them. Pure.

Sources:     RFC 6761 section 6.4 (names under `invalid` do not exist, and resolvers may know that by themselves); RFC
             4035 section 3.2.3 and RFC 6840 section 5.8 (AD: the resolver has validated); RFC 4035 section 5.5 (what
             fails to validate is SERVFAIL).
Departures:  none of them defines rewriting; the verdicts' rules are this module's own.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, NamedTuple, Self, TypeAlias

from wanwatch.core.model import Json, Question

NOERROR: Final = "NOERROR"
NXDOMAIN: Final = "NXDOMAIN"
SERVFAIL: Final = "SERVFAIL"


class Purpose(StrEnum):
    """Why a name is asked for."""

    KNOWN = "known"
    """To compare the addresses that resolvers give."""
    ABSENT = "absent"
    """A random label under `invalid`."""
    OWN_ZONE = "own-zone"
    """A random label under a zone of our own in which no such name exists."""
    SIGNED = "signed"
    """A name whose signature holds."""
    BROKEN = "broken"
    """A name whose signature does not."""


RANDOM: Final = frozenset({Purpose.ABSENT, Purpose.OWN_ZONE})
"""What is asked by random labels."""
LABELS: Final = 2
"""Random labels in a round: one address for both is a rewriter's."""
KINDS: Final = ("A", "AAAA")
"""Records that each random label is asked for."""


@dataclass(frozen=True, slots=True)
class Inspection:
    """A question of an inspection; for `ABSENT` and `OWN_ZONE` it asks for random labels under the name."""

    question: Question
    purpose: Purpose

    @property
    def asked(self) -> int:
        """How many questions that makes in one round."""
        return LABELS * len(KINDS) if self.purpose in RANDOM else 1


class NamesAnswer(NamedTuple):
    """What one resolver said to one question, asked raw.

    Attributes:
        uplink: Through which uplink it was asked.
        resolver: The resolver, as its series calls it.
        purpose: Why.
        name: The name asked for.
        rcode: The response code; None where nothing usable came.
        addresses: The addresses given, sorted.
        authentic: Whether the resolver says that it has validated (AD).
    """

    uplink: str
    resolver: str
    purpose: Purpose
    name: str
    rcode: str | None
    addresses: tuple[str, ...] = ()
    authentic: bool = False


class NamesSeen(NamedTuple):
    """One inspection: every answer of one round."""

    at_ns: int
    at_unix_ns: int
    answers: tuple[NamesAnswer, ...]


class Sign(StrEnum):
    """Whether something is so."""

    YES = "yes"
    NO = "no"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What one inspection says of one resolver through one uplink.

    Attributes:
        rewriting: Whether it gives addresses for names that do not exist.
        sure: Whether that rests on more than one sort of evidence: two names were given one address, or a name of our
            own zone was said not to exist as well.
        validates: Whether it validates signatures; None where that was not asked.
        differs_on: Names for which another resolver gave other addresses.
    """

    rewriting: Sign
    sure: bool
    validates: Sign | None
    differs_on: tuple[str, ...]


Place: TypeAlias = tuple[str, str]
"""An uplink and a resolver."""


def findings(answers: Iterable[NamesAnswer]) -> dict[Place, Findings]:
    """Return what one round says of each resolver, in the order in which they were first asked."""
    by_place: dict[Place, list[NamesAnswer]] = {}
    for answer in answers:
        by_place.setdefault((answer.uplink, answer.resolver), []).append(answer)
    differing = _differing(answer for mine in by_place.values() for answer in mine)
    found = {}
    for place, mine in by_place.items():
        rewriting, sure = rewrites(mine)
        names = dict.fromkeys(a.name for a in mine if a.name in differing and _comparable(a))
        found[place] = Findings(rewriting=rewriting, sure=sure, validates=validates(mine), differs_on=tuple(names))
    return found


def rewrites(answers: Iterable[NamesAnswer]) -> tuple[Sign, bool]:
    """Return whether one resolver's *answers* show that it rewrites names that do not exist, and whether that is sure.

    An address is proof; a name said not to exist is proof of nothing more than that this one was left alone. No answer,
    and every other response code, is no evidence.
    """
    asked = [answer for answer in answers if answer.purpose in {Purpose.ABSENT, Purpose.OWN_ZONE}]
    invented = {(a.name, address) for a in asked if a.rcode == NOERROR for address in a.addresses}
    if invented:
        return Sign.YES, len(invented) > len({address for _, address in invented})
    clean = {answer.purpose for answer in asked if answer.rcode == NXDOMAIN and not answer.addresses}
    return (Sign.NO if clean else Sign.UNDECIDED), Purpose.OWN_ZONE in clean


def validates(answers: Iterable[NamesAnswer]) -> Sign | None:
    """Return whether one resolver's *answers* show that it validates; None where it was not asked.

    A broken name that it resolves shows that it does not. That it refuses the broken name shows nothing by itself: a
    signed one must be marked as validated, too.
    """
    by_purpose = {answer.purpose: answer for answer in answers}
    signed, broken = by_purpose.get(Purpose.SIGNED), by_purpose.get(Purpose.BROKEN)
    if signed is None or broken is None:
        return None
    if broken.rcode == NOERROR and broken.addresses:
        return Sign.NO
    proved = broken.rcode == SERVFAIL and signed.rcode == NOERROR and signed.authentic
    return Sign.YES if proved else Sign.UNDECIDED


def _comparable(answer: NamesAnswer) -> bool:
    """Whether it answers at all: a failure to resolve is no other opinion."""
    return answer.purpose is Purpose.KNOWN and answer.rcode in {NOERROR, NXDOMAIN}


def _differing(answers: Iterable[NamesAnswer]) -> set[str]:
    given: dict[str, set[tuple[str, ...]]] = {}
    for answer in answers:
        if _comparable(answer):
            given.setdefault(answer.name, set()).add(answer.addresses)
    return {name for name, sets in given.items() if len(sets) > 1}


@dataclass(slots=True)
class Tally:
    """How often inspections of one resolver came to which verdict.

    Attributes:
        rewriting: Inspections by verdict.
        sure: Whether any verdict of the worse kind, or of the better where there is no worse, was sure.
        validates: Inspections by verdict, of those that asked.
        differed: Inspections in which another resolver gave other addresses, by name.
    """

    rewriting: dict[Sign, int] = field(default_factory=dict)
    sure: dict[Sign, int] = field(default_factory=dict)
    validates: dict[Sign, int] = field(default_factory=dict)
    differed: dict[str, int] = field(default_factory=dict)

    def add(self, found: Findings) -> None:
        """Count one more."""
        _count(self.rewriting, found.rewriting)
        if found.sure:
            _count(self.sure, found.rewriting)
        if found.validates is not None:
            _count(self.validates, found.validates)
        for name in found.differs_on:
            self.differed[name] = self.differed.get(name, 0) + 1

    @property
    def rewrites(self) -> Sign:
        """Whether it rewrote: once is enough."""
        return _first(self.rewriting, (Sign.YES, Sign.NO))

    @property
    def validated(self) -> Sign | None:
        """Whether it validated: once not is enough. None where that was never asked."""
        return _first(self.validates, (Sign.NO, Sign.YES)) if self.validates else None

    @property
    def inspections(self) -> int:
        """How many there were."""
        return sum(self.rewriting.values())


def _count(counts: dict[Sign, int], verdict: Sign) -> None:
    counts[verdict] = counts.get(verdict, 0) + 1


def _first(counts: Mapping[Sign, int], order: tuple[Sign, ...]) -> Sign:
    return next((verdict for verdict in order if counts.get(verdict)), Sign.UNDECIDED)


class Ledger(dict[Place, Tally]):
    """The tallies of one month, as JSON values in the record."""

    def add(self, found: Mapping[Place, Findings]) -> None:
        """Count one more inspection."""
        for place, findings_of_it in found.items():
            self.setdefault(place, Tally()).add(findings_of_it)

    def to_json(self) -> Json:
        """Return the ledger as JSON values: one row a resolver."""
        return [
            {
                "uplink": uplink,
                "resolver": resolver,
                "rewriting": {key.value: number for key, number in tally.rewriting.items()},
                "sure": {key.value: number for key, number in tally.sure.items()},
                "validates": {key.value: number for key, number in tally.validates.items()},
                "differed": dict(tally.differed),
            }
            for (uplink, resolver), tally in self.items()
        ]

    @classmethod
    def from_json(cls, value: Json) -> Self:
        """Return what `to_json` gave; rows that it cannot have given are left out."""
        ledger = cls()
        for row in value if isinstance(value, list) else []:
            if isinstance(row, dict) and isinstance(row.get("uplink"), str) and isinstance(row.get("resolver"), str):
                rewriting, sure, validated = (
                    {Sign(key): number for key, number in _counts(row, name)} for name in _BY_VERDICT
                )
                tally = Tally(rewriting, sure, validated, dict(_counts(row, "differed")))
                ledger[str(row["uplink"]), str(row["resolver"])] = tally
        return ledger


_BY_VERDICT: Final = ("rewriting", "sure", "validates")


def _counts(row: Mapping[str, Json], name: str) -> Iterator[tuple[str, int]]:
    counts = row.get(name)
    for key, number in counts.items() if isinstance(counts, dict) else ():
        if isinstance(number, int) and (name not in _BY_VERDICT or key in set(Sign)):
            yield key, number


def ledger_key(year: int, month: int) -> str:
    """Return the key under which the record keeps a month's ledger."""
    return f"resolving {year:04d}-{month:02d}"
