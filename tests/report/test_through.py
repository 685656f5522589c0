"""A record whose minutes are added up once tells what the record itself does."""

from collections.abc import Iterator, Sequence

from hypothesis import given
from hypothesis import strategies as st

from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.model import Kind, Role, Series, Span
from wanwatch.core.ports import HourSums
from wanwatch.report.through import SummedOnce

SITE = "harbour-lane"
NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
FAR = Series("fibre", "far", Kind.ECHO, Role.LINE)
DAY_NS = 86_400 * 10**9


class Counting(FakeRecord):
    """A record that notes of which time its sums were asked for."""

    asked: list[Span]

    def sums(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourSums]:
        """Note, and tell."""
        self.asked.append(span)
        return super().sums(site, span, series)


def counting() -> Counting:
    """A probe of two series every seven hours of four days."""
    blocks = [minute_block(series, minute, [0], [900]) for minute in range(0, 4 * 1440, 420) for series in (NEAR, FAR)]
    made = Counting(SITE, [], [], blocks)
    made.asked = []
    return made


@given(st.lists(st.tuples(st.integers(0, 4 * 1440), st.integers(1, 4 * 1440)), min_size=1, max_size=4))
def test_it_tells_what_the_record_tells(spans: list[tuple[int, int]]) -> None:
    """Any spans, one after the other, of one series or of all."""
    once, plain = SummedOnce(counting()), counting()
    for begin, length in spans:
        span = Span(begin * MINUTE_NS, (begin + length) * MINUTE_NS)
        for series in (None, [FAR]):
            assert list(once.sums(SITE, span, series)) == list(plain.sums(SITE, span, series))


def test_a_whole_day_is_added_up_once() -> None:
    """Asked again, or as part of a longer time; what is cut out of a day is asked for each time."""
    record = counting()
    once = SummedOnce(record)
    for span in (Span(DAY_NS, 2 * DAY_NS), Span(DAY_NS, 3 * DAY_NS), Span(DAY_NS, 2 * DAY_NS + 1)):
        list(once.sums(SITE, span))
    assert record.asked == [Span(DAY_NS, 2 * DAY_NS), Span(2 * DAY_NS, 3 * DAY_NS), Span(2 * DAY_NS, 2 * DAY_NS + 1)]
