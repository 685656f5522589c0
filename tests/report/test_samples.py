"""One pass over many blocks, against a slow reckoning sample by sample."""

from array import array
from collections.abc import Mapping, Sequence
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.core.account.figures import percentile
from wanwatch.core.account.percentile import percentile as plain_percentile
from wanwatch.core.account.spans import intersect, union
from wanwatch.core.model import Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LOST, MARK_NOT_SENT, MARK_REFUSED, RTT_LIMIT, MinuteBlock
from wanwatch.report.gathering import Seen, gather
from wanwatch.report.samples import Collector, Want

NEAR = Series("fibre", "near", Kind.ECHO, Role.LINE)
FAR = Series("fibre", "far", Kind.ECHO, Role.LINE)
WORDS = st.integers(100, 5000) | st.sampled_from([MARK_LOST, MARK_REFUSED, MARK_NOT_SENT])
MINUTES = st.dictionaries(
    st.tuples(st.sampled_from([NEAR, FAR]), st.integers(0, 130)), st.lists(WORDS, min_size=1, max_size=6), max_size=12
)
KEEP = st.lists(
    st.builds(lambda a, b: Span(a * 10**9, b * 10**9), st.integers(0, 7900), st.integers(0, 7900)), max_size=4
)
ALWAYS = Span(0, 3 * 3600 * 10**9)


def gather_from(
    blocks: Sequence[MinuteBlock], collectors: Mapping[Series, Sequence[Collector]], each: Sequence[Span] = ()
) -> dict[Series, Seen]:
    return gather(FakeRecord("harbour-lane", [], [], blocks), "harbour-lane", ALWAYS, collectors, each)


@given(MINUTES, KEEP)
def test_what_is_gathered_is_what_lies_in_the_counted_time(
    minutes: dict[tuple[Series, int], list[int]], keep: Sequence[Span]
) -> None:
    """Each sample is counted once, under its own series, if and only if it was sent in the time that counts."""
    counted = union(keep)
    collectors = {series: Collector(counted) for series in (NEAR, FAR)}
    in_order = sorted(minutes.items(), key=lambda item: item[0][1])
    blocks = [
        minute_block(series, minute, [n * 9_000_000 for n in range(len(words))], words)
        for (series, minute), words in in_order
    ]
    gather_from(blocks, {series: [collector] for series, collector in collectors.items()})
    for series, collector in collectors.items():
        told = [
            word
            for (of, minute), words in in_order
            for n, word in enumerate(words)
            if of == series and _inside(minute * MINUTE_NS + n * 9_000_000_000, counted)
        ]
        probes = collector.done()
        answered = sorted(word for word in told if word < RTT_LIMIT)
        assert probes.ordered.tolist() == answered
        assert probes.variation.tolist() == _above_the_least_of_each_hour(in_order, series, counted)
        assert (probes.missed, probes.refused) == (told.count(MARK_LOST), told.count(MARK_REFUSED))
        assert probes.asked == len(answered) + told.count(MARK_LOST)


@given(MINUTES, KEEP, st.integers(0, 130))
def test_counts_are_the_same_from_sums_of_hours_and_from_samples(
    minutes: dict[tuple[Series, int], list[int]], keep: Sequence[Span], pruned_to: int
) -> None:
    """Of minutes without raw samples those count that lie wholly within; whoever wants more or less counts alike."""
    counted = union(keep)
    in_order = sorted(minutes.items(), key=lambda item: item[0][1])
    blocks = [
        minute_block(series, minute, [n * 9_000_000 for n in range(len(words))], words, keep_raw=minute >= pruned_to)
        for (series, minute), words in in_order
    ]
    collectors = [Collector(counted, want) for want in (Want.COUNTS, Want.DELAYS, Want.ORDER)]
    gather_from(blocks, {NEAR: collectors[:2], FAR: []})
    gather_from(blocks, {NEAR: collectors[2:], FAR: []}, each=[ALWAYS])
    told = [
        word
        for (of, minute), words in in_order
        for n, word in enumerate(words)
        if of == NEAR
        and (
            _inside(minute * MINUTE_NS + n * 9_000_000_000, counted)
            if minute >= pruned_to
            else intersect([whole := Span(minute * MINUTE_NS, (minute + 1) * MINUTE_NS)], counted) == (whole,)
        )
    ]
    lost, refused = told.count(MARK_LOST), told.count(MARK_REFUSED)
    asked = len(told) - refused - told.count(MARK_NOT_SENT)
    counts, delays, order = (one.done() for one in collectors)
    assert [(p.asked, p.missed, p.refused) for p in (counts, delays, order)] == [(asked, lost, refused)] * 3
    assert delays.ordered.tolist() == order.ordered.tolist()
    assert (len(delays.variation), delays.hours, counts.ordered.tolist()) == (0, (), [])


@given(MINUTES)
def test_minutes_in_which_something_left_are_the_same_from_sums_and_from_minutes(
    minutes: dict[tuple[Series, int], list[int]],
) -> None:
    """Which minutes prove that a line was probed does not hang on how closely they were read."""
    blocks = [minute_block(series, minute, [0] * len(words), words) for (series, minute), words in minutes.items()]
    near = sorted(block.minute for block in blocks if block.series == NEAR and block.sent)
    for each in ((), [ALWAYS], [Span(20 * MINUTE_NS, 70 * MINUTE_NS)]):
        seen = gather_from(blocks, {NEAR: [], FAR: []}, each=each)[NEAR]
        assert [minute for run in seen.probed for minute in run] == near


def _above_the_least_of_each_hour(
    minutes: Sequence[tuple[tuple[Series, int], list[int]]], series: Series, counted: Sequence[Span]
) -> list[int]:
    """RFC 5481: PDV is to the least delay of the interval, here the hour."""
    hours: dict[int, list[int]] = {}
    for (of, minute), words in minutes:
        for n, word in enumerate(words):
            if of == series and word < RTT_LIMIT and _inside(minute * MINUTE_NS + n * 9_000_000_000, counted):
                hours.setdefault(minute // 60, []).append(word)
    return sorted(word - min(words) for words in hours.values() for word in words)


def _inside(sent: int, spans: Sequence[Span]) -> bool:
    return any(s.start_unix_ns <= sent < s.end_unix_ns for s in spans)


@given(st.lists(st.integers(100, 10**6), min_size=1, max_size=60), st.sampled_from([50, 90, 95, 99]))
def test_the_report_s_percentile_is_the_store_s(delays: list[int], per_cent: int) -> None:
    """Two readers of one record get one figure (NIST 7.2.6.2)."""
    collector = Collector((Span(0, 3600 * 10**9),))
    block = minute_block(NEAR, 3, list(range(len(delays))), delays)
    gather_from([block], {NEAR: [collector]})
    ours = percentile(collector.done().ranked, Fraction(per_cent, 100))
    theirs = plain_percentile(sorted(delays), per_cent / 100)
    assert ours is not None
    assert theirs is not None
    assert abs(float(ours) - theirs) <= 1e-9 * theirs


def test_minutes_in_which_nothing_left_prove_nothing() -> None:
    """A minute of probes that could not be sent is no evidence of the line."""
    blocks = [minute_block(NEAR, 3, [0], [MARK_NOT_SENT]), minute_block(NEAR, 4, [0], [900])]
    seen = gather_from(blocks, {NEAR: []})[NEAR]
    assert (seen.probed, list(seen.minutes)) == ((range(4, 5),), [])
    every = Seen((range(4, 5),), array("q", [4]), array("q", [1]), array("q", [0]))
    assert gather_from(blocks, {NEAR: []}, each=[ALWAYS]) == {NEAR: every}
