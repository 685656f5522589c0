"""Merging of minute blocks, as a pure function."""

from hypothesis import given
from hypothesis import strategies as st

from tests.store.backends import NEAR
from wanwatch.core.model import Outcome, Sample
from wanwatch.store._blocks import Gathered, empty, merge

OUTCOMES = [Outcome.ANSWERED, Outcome.LOST, Outcome.REFUSED, Outcome.MALFORMED, Outcome.NOT_SENT]
PROBES = st.lists(
    st.tuples(
        st.integers(0, 59_999_999),
        st.sampled_from(OUTCOMES),
        st.integers(0, 2_000_000_000),
        st.booleans(),  # overtaken
        st.booleans(),  # answered late, if lost
        st.booleans(),  # a flush follows
    ),
    unique_by=lambda probe: probe[0],
)


@given(PROBES)
def test_a_block_does_not_depend_on_when_it_was_flushed(
    probes: list[tuple[int, Outcome, int, bool, bool, bool]],
) -> None:
    """Any flushes in between give the block that one flush at the end gives."""
    whole, part, stored = Gathered(), Gathered(), empty(NEAR, 7)
    for offset_us, outcome, rtt_ns, overtaken, late, flush in probes:
        answered = outcome is Outcome.ANSWERED
        told = Sample(NEAR, 0, 0, 0, outcome, rtt_ns if answered else None, reordered=overtaken and answered)
        for gathered in (whole, part):
            gathered.add(offset_us, told)
            gathered.late.extend([offset_us] * (late and outcome is Outcome.LOST))
        if flush:
            stored, part = merge(stored, part), Gathered()
    assert merge(stored, part) == merge(empty(NEAR, 7), whole)


@given(PROBES)
def test_counts_of_a_block_add_up(probes: list[tuple[int, Outcome, int, bool, bool, bool]]) -> None:
    """Sent is answered, lost, late, refused and malformed together; with not-sent it is every word."""
    gathered = Gathered()
    for offset_us, outcome, rtt_ns, *_ in probes:
        gathered.add(offset_us, Sample(NEAR, 0, 0, 0, outcome, rtt_ns))
    block = merge(empty(NEAR, 7), gathered)
    answered = sum(1 for probe in probes if probe[1] is Outcome.ANSWERED)
    assert block.sent == answered + block.lost + block.late + block.refused + block.malformed
    assert 4 * (block.sent + block.not_sent) == len(block.rtts) == len(block.offsets)
