"""Sets of time, against a slow model: the set of whole nanoseconds that lie in them."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.account.spans import intersect, subtract, total_ns, union
from wanwatch.core.model import Span

SETS = st.lists(st.builds(Span, st.integers(0, 40), st.integers(0, 40)), max_size=8)


def points(spans: list[Span] | tuple[Span, ...]) -> set[int]:
    """The nanoseconds that lie in a set of spans."""
    return {t for span in spans for t in range(span.start_unix_ns, span.end_unix_ns)}


@given(SETS, SETS)
def test_the_three_operations_agree_with_sets_of_nanoseconds(a: list[Span], b: list[Span]) -> None:
    """Union, intersection and difference of spans are those of the instants in them."""
    assert points(union(a, b)) == points(a) | points(b)
    assert points(intersect(a, b)) == points(a) & points(b)
    assert points(subtract(a, b)) == points(a) - points(b)


@given(SETS)
def test_a_set_comes_back_disjoint_in_order_and_never_touching(a: list[Span]) -> None:
    """What is returned can be summed and walked without another look."""
    merged = union(a)
    assert all(x.end_unix_ns < y.start_unix_ns for x, y in pairwise(merged))
    assert total_ns(merged) == len(points(a))
