"""What inspections say when they are held against each other and counted."""

import json

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.resolving import Findings, Ledger, NamesAnswer, Purpose, Sign, Tally, findings, ledger_key

NAME = "www.example.com"


def known(uplink: str, rcode: str | None, *addresses: str, name: str = NAME) -> NamesAnswer:
    """What this uplink's resolver said of a name that exists."""
    return NamesAnswer(uplink, f"resolver-of-{uplink}", Purpose.KNOWN, name, rcode, addresses)


def differing(*answers: NamesAnswer) -> dict[str, tuple[str, ...]]:
    """On which names each uplink's resolver differs."""
    return {uplink: found.differs_on for (uplink, _), found in findings(answers).items()}


def test_the_same_addresses_are_agreement_and_others_are_not() -> None:
    """Sets are compared, across uplinks as well as resolvers."""
    one, same = known("fibre", "NOERROR", "192.0.2.1"), known("copper", "NOERROR", "192.0.2.1")
    assert differing(one, same) == {"fibre": (), "copper": ()}
    other = known("radio", "NOERROR", "192.0.2.9")
    assert differing(one, same, other) == {"fibre": (NAME,), "copper": (NAME,), "radio": (NAME,)}


def test_a_name_that_one_resolver_denies_is_told_and_a_failure_is_no_other_opinion() -> None:
    """NXDOMAIN says something of the name; SERVFAIL and silence say something of the resolver."""
    one = known("fibre", "NOERROR", "192.0.2.1")
    assert differing(one, known("copper", "NXDOMAIN")) == {"fibre": (NAME,), "copper": (NAME,)}
    assert differing(one, known("copper", "SERVFAIL"), known("radio", None)) == {
        "fibre": (), "copper": (), "radio": (),
    }  # fmt: skip


signs = st.sampled_from(Sign)
found = st.builds(
    Findings,
    rewriting=signs,
    sure=st.booleans(),
    validates=st.none() | signs,
    differs_on=st.lists(st.sampled_from([NAME, "www.example.net"]), unique=True).map(tuple),
)


@given(st.lists(st.dictionaries(st.tuples(st.text(), st.text()), found, max_size=3), max_size=6))
def test_a_ledger_survives_the_record(rounds: list[dict[tuple[str, str], Findings]]) -> None:
    """A restart must not begin the month anew."""
    ledger = Ledger()
    for one in rounds:
        ledger.add(one)
    assert Ledger.from_json(json.loads(json.dumps(ledger.to_json()))) == ledger


def test_what_is_no_ledger_reads_as_an_empty_one() -> None:
    """The record is a file that others may have touched."""
    for value in (None, 3, [], [3, {}, {"uplink": "fibre"}], {"uplink": "fibre"}):
        assert Ledger.from_json(value) == Ledger()  # type: ignore[arg-type]
    odd = [{"uplink": "fibre", "resolver": "r", "rewriting": {"maybe": 3, "yes": "x"}, "validates": 3}]
    assert Ledger.from_json(odd) == {("fibre", "r"): Tally()}  # type: ignore[arg-type]


def test_once_rewritten_is_rewritten_and_once_not_validated_is_not_validated() -> None:
    """The month's word is the worst that was seen; what was never decided stays undecided."""

    def month(*signs: tuple[Sign, Sign | None]) -> Tally:
        tally = Tally()
        for rewriting, validated in signs:
            tally.add(Findings(rewriting=rewriting, sure=False, validates=validated, differs_on=()))
        return tally

    mixed = month((Sign.NO, Sign.YES), (Sign.YES, Sign.NO), (Sign.UNDECIDED, Sign.UNDECIDED))
    assert (mixed.rewrites, mixed.validated, mixed.inspections) == (Sign.YES, Sign.NO, 3)
    good = month((Sign.NO, Sign.YES), (Sign.UNDECIDED, Sign.UNDECIDED))
    assert (good.rewrites, good.validated) == (Sign.NO, Sign.YES)
    unknown = month((Sign.UNDECIDED, None))
    assert (unknown.rewrites, unknown.validated) == (Sign.UNDECIDED, None)


def test_each_month_has_its_own_key() -> None:
    """A report of an old month must not show today's findings."""
    assert ledger_key(2026, 3) == "resolving 2026-03"
