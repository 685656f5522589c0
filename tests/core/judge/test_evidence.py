"""What single samples say, and how runs of silence and gaps are kept."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.judge.evidence import NEVER, Said, of_line, of_names
from wanwatch.core.judge.run import Ledger, Run
from wanwatch.core.model import Cause, Kind, Outcome, Role, Sample, Series

SERIES = Series("fibre", "near", Kind.ECHO, Role.LINE)
LIFE = {Cause.RESET, Cause.PORT_UNREACHABLE, Cause.RCODE, Cause.TLS, Cause.HTTP_STATUS}
ROUTER = {Cause.NET_UNREACHABLE, Cause.HOST_UNREACHABLE, Cause.PROHIBITED, Cause.TTL_EXCEEDED, Cause.PORTAL}
OURS = {Cause.NO_INTERFACE, Cause.INTERFACE_DOWN, Cause.NO_ADDRESS, Cause.NO_ROUTE}


def sample(outcome: Outcome, cause: Cause | None = None) -> Sample:
    """A probe that came to this."""
    return Sample(SERIES, 10, 10, 20, outcome, cause=cause)


@pytest.mark.parametrize("cause", [None, *Cause])
def test_who_refused_decides_what_a_refusal_says(cause: Cause | None) -> None:
    """A target that says no is alive; a router that says no speaks of a way that is broken (RFC 792, RFC 4443)."""
    expected = Said.LIFE if cause in LIFE else Said.SILENCE if cause in ROUTER else Said.NOTHING
    assert of_line(sample(Outcome.REFUSED, cause)) is expected


@pytest.mark.parametrize("cause", [None, *Cause])
def test_a_probe_that_did_not_leave_is_our_side_or_no_evidence(cause: Cause | None) -> None:
    """What we could not ask is never the line's loss."""
    expected = Said.OUR_SIDE if cause in OURS else Said.NOTHING
    assert of_line(sample(Outcome.NOT_SENT, cause)) is expected


def test_lost_and_corrupt_replies_are_silence() -> None:
    """A corrupt reply counts as lost (RFC 7680, from memory)."""
    assert of_line(sample(Outcome.ANSWERED)) is Said.LIFE
    assert of_line(sample(Outcome.LOST)) is Said.SILENCE
    assert of_line(sample(Outcome.MALFORMED)) is Said.SILENCE


def test_a_resolver_that_refuses_fails_to_resolve() -> None:
    """For names, only an answer is success; what could not be asked is no evidence."""
    assert of_names(sample(Outcome.ANSWERED)) is Said.LIFE
    assert of_names(sample(Outcome.REFUSED, Cause.RCODE)) is Said.SILENCE
    assert of_names(sample(Outcome.NOT_SENT, Cause.NO_ROUTE)) is Said.NOTHING


def test_an_answer_wipes_the_losses_of_earlier_sends_only() -> None:
    """Losses become known late and in any order; the order of sending decides."""
    run = Run()
    run.silence(30, "near", 5)
    run.silence(10, "far", 5)
    run.life(20, 5)
    assert (run.first_ns, run.targets) == (30, {"near": 30})
    run.silence(15, "far", 5)
    assert run.targets == {"near": 30}
    run.life(31, 5)
    assert not run


def test_a_silence_has_begun_by_the_first_death_of_any_of_its_sends() -> None:
    """A fetch may have lived to its deadline; a packet that was sent later, and died sooner, says more."""
    run = Run()
    run.silence(10, "page", 2000)
    assert run.began_by_ns == 2010
    run.silence(30, "near", 5)
    assert (run.first_ns, run.began_by_ns) == (10, 35)


def test_a_run_of_days_does_not_grow_without_end() -> None:
    """The first send and the latest ones are kept, the middle is not."""
    run = Run()
    run.life(0, 1)
    for sent_ns in range(1, 50_000):
        run.silence(sent_ns, "near", 5)
    assert len(run._sends) <= 4097
    assert (run.first_ns, run.last_before(50_000)) == (1, 49_999)


@given(st.lists(st.tuples(st.integers(0, 300), st.booleans()), unique_by=lambda x: x[0], max_size=60), st.randoms())
def test_the_ledger_does_not_care_in_which_order_outcomes_become_known(
    sends: list[tuple[int, bool]], order: object
) -> None:
    """Gaps are those of the order of sending, whatever the order of knowing."""
    shuffled = list(sends)
    order.shuffle(shuffled)  # type: ignore[attr-defined]
    ledgers = [Ledger(1, 1000), Ledger(1, 1000)]
    for ledger, entries in zip(ledgers, (sorted(sends), shuffled), strict=True):
        for sent_ns, alive in entries:
            ledger.add(sent_ns, sent_ns + 5, 5 if alive else -1, "near")
        ledger.settle(10_000)
    assert ledgers[0]._gaps == ledgers[1]._gaps
    assert ledgers[0].total_ns(0, 300) == ledgers[1].total_ns(0, 300)


def test_a_gap_runs_from_the_first_unanswered_to_the_next_answered_send() -> None:
    """An interruption is first unanswered send to first answered send after it."""
    ledger = Ledger(1, 10)
    for sent_ns, rtt_ns in ((0, 1), (100, -1), (200, -1), (300, 1), (400, -1)):
        ledger.add(sent_ns, sent_ns + 5, rtt_ns, "near")
    ledger.settle(1000)
    gap = ledger.longest(0, 350)
    assert gap is not None
    assert (gap.first_ns, gap.before_ns, gap.last_ns, gap.end_ns) == (100, 0, 200, 300)
    assert ledger.longest(310, 390) is None
    still = ledger.longest(310, 500)
    assert still is not None
    assert still.end_ns is None


def test_one_dead_target_makes_no_gap() -> None:
    """A gap needs the silence of a majority of the path's targets."""
    ledger = Ledger(2, 10)
    for sent_ns in range(0, 1000, 100):
        ledger.add(sent_ns, sent_ns + 5, -1, "dead")
        ledger.add(sent_ns + 50, sent_ns + 55, 1, "near")
    ledger.settle(10_000)
    assert ledger.longest(NEVER, 10_000) is None
