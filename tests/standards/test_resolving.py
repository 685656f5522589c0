"""Verdicts on resolvers, against RFC 6761 (names that cannot exist) and RFC 4035 (validation)."""

import pytest

from wanwatch.core.resolving import NamesAnswer, Purpose, Sign, rewrites, validates

THERE = ("192.0.2.80",)


def absent(label: str, rcode: str | None, *addresses: str, purpose: Purpose = Purpose.ABSENT) -> NamesAnswer:
    """What was said of a random name."""
    return NamesAnswer("fibre", "192.0.2.53", purpose, f"{label}.invalid", rcode, addresses)


def own(rcode: str | None, *addresses: str) -> NamesAnswer:
    """What was said of a random name of our own zone."""
    return absent("own", rcode, *addresses, purpose=Purpose.OWN_ZONE)


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ([absent("one", "NXDOMAIN")], (Sign.NO, False)),
        ([absent("one", "NOERROR", *THERE)], (Sign.YES, False)),
        ([own("NXDOMAIN"), absent("one", "NXDOMAIN")], (Sign.NO, True)),
        ([absent("one", "NOERROR", *THERE), absent("two", "NOERROR", *THERE)], (Sign.YES, True)),
        ([absent("one", None)], (Sign.UNDECIDED, False)),
        ([absent("one", "SERVFAIL"), absent("two", None)], (Sign.UNDECIDED, False)),
        # what the rows leave open
        ([absent("one", "NXDOMAIN"), own("NOERROR", *THERE)], (Sign.YES, False)),
        ([absent("one", "NXDOMAIN"), absent("two", None)], (Sign.NO, False)),
        ([absent("one", "NOERROR")], (Sign.UNDECIDED, False)),
        ([absent("one", "NXDOMAIN", *THERE)], (Sign.UNDECIDED, False)),
        ([absent("one", "NOERROR", "192.0.2.80", "192.0.2.81")], (Sign.YES, False)),
        ([], (Sign.UNDECIDED, False)),
    ],
    ids=[
        "NX-1", "NX-2", "NX-3", "NX-4", "NX-5 timeout", "NX-5 servfail", "only our own zone is rewritten",
        "one label without an answer", "no address and no denial", "an address with a denial",
        "two addresses for one name are one piece of evidence", "nothing asked",
    ],
)  # fmt: skip
def test_an_address_for_a_name_that_cannot_exist_is_rewriting(
    answers: list[NamesAnswer], expected: tuple[Sign, bool]
) -> None:
    """RFC 6761 section 6.4: `invalid` names always give NXDOMAIN; resolvers may know that without asking anybody."""
    assert rewrites(answers) == expected


@pytest.mark.parametrize(
    ("signed", "broken", "verdict"),
    [
        (("NOERROR", THERE, True), ("SERVFAIL", (), False), Sign.YES),
        (("NOERROR", THERE, True), ("NOERROR", THERE, False), Sign.NO),
        (("NOERROR", THERE, False), ("NOERROR", THERE, False), Sign.NO),
        (("NOERROR", THERE, False), ("SERVFAIL", (), False), Sign.UNDECIDED),
        (("SERVFAIL", (), False), ("SERVFAIL", (), False), Sign.UNDECIDED),
        (("NOERROR", THERE, True), (None, (), False), Sign.UNDECIDED),
        (("NOERROR", THERE, True), ("NXDOMAIN", (), False), Sign.UNDECIDED),
    ],
)
def test_a_resolver_validates_where_it_marks_the_sound_name_and_refuses_the_broken_one(
    signed: tuple[str | None, tuple[str, ...], bool], broken: tuple[str | None, tuple[str, ...], bool], verdict: Sign
) -> None:
    """RFC 4035 sections 3.2.3 and 5.5: AD on what was validated, SERVFAIL for what fails."""
    answers = [
        NamesAnswer("fibre", "192.0.2.53", purpose, f"{purpose}.example", rcode, addresses, authentic)
        for purpose, (rcode, addresses, authentic) in ((Purpose.SIGNED, signed), (Purpose.BROKEN, broken))
    ]
    assert validates(answers) is verdict


def test_a_resolver_that_was_not_asked_has_no_verdict_on_validation() -> None:
    """Without both names nothing can be said, and that is told apart from an undecided answer."""
    assert validates([absent("one", "NXDOMAIN")]) is None
