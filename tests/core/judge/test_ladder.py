"""The fault ladder, rung by rung."""

from itertools import product

import pytest

from wanwatch.core.judge.ladder import ANSWERED, RUNGS, SILENT, UNKNOWN, Finding, Rung, climb
from wanwatch.core.model import Domain

A, S, U = ANSWERED, SILENT, UNKNOWN


def rungs(*said: str) -> list[Rung]:
    """Rungs, nearest first, that said this."""
    return [Rung(name, word, None, None) for name, word in zip(RUNGS, said, strict=True)]


@pytest.mark.parametrize(
    ("said", "domain"),
    [
        ((S, S, S, S, S), Domain.OUR_SIDE),
        ((A, S, S, S, S), Domain.GATEWAY),
        ((A, A, S, S, S), Domain.ACCESS_LINE),
        ((A, A, A, S, S), Domain.PROVIDER),
        ((A, A, A, A, S), Domain.FAR_END),
        ((A, S, A, S, S), Domain.PROVIDER),  # a gateway that does not answer probes, but lets them pass
        ((U, A, S, S, S), Domain.ACCESS_LINE),
    ],
)
def test_the_first_rung_that_fails_names_the_domain(said: tuple[str, ...], domain: Domain) -> None:
    """Nearest first, beyond the farthest rung that answers."""
    assert climb(rungs(*said)) == Finding(domain)


def test_an_unknown_rung_before_the_silent_one_leaves_it_open() -> None:
    """Not to be able to tell is honest, and the answer says between which."""
    assert climb(rungs(A, A, U, S, S)) == Finding(None, (Domain.ACCESS_LINE, Domain.PROVIDER))
    assert climb(rungs(A, U, U, S, S)) == Finding(None, (Domain.GATEWAY, Domain.ACCESS_LINE, Domain.PROVIDER))
    assert climb(rungs(U, S, S, S, S)) == Finding(None, (Domain.OUR_SIDE, Domain.GATEWAY))


@pytest.mark.parametrize("said", list(product((A, S, U), repeat=5)))
def test_no_domain_is_named_nearer_than_a_rung_that_answers(said: tuple[str, ...]) -> None:
    """Whatever the evidence: a named domain's rung is silent, and nothing beyond it answers."""
    found = climb(rungs(*said))
    blamed = [at for at, domain in enumerate(RUNGS.values()) if domain is found.domain or domain in found.may_be]
    for at in blamed:
        assert A not in said[at:]
    if found.domain is not None:
        assert said[blamed[0]] == S


def test_a_silence_from_before_the_nearer_rung_came_to_answer_says_nothing() -> None:
    """Where a line comes back, its nearest rung shows it first; that does not put the break beyond it."""
    said = [
        Rung("interface", A, 9, None),
        Rung("gateway", U, None, None),
        Rung("first-hop", A, 100, 90, alive_ns=100),
        Rung("resolver", U, None, None),
    ]
    assert climb([*said, Rung("far-targets", S, None, 80)]) == Finding(None)
    assert climb([*said, Rung("far-targets", S, None, 110)]) == Finding(None, (Domain.PROVIDER, Domain.FAR_END))
