"""Contract of every store: minute blocks."""

from tests.fakes.clock import FakeClock
from tests.store.backends import ALWAYS, FAR, NEAR, SITE, Backend, afterword, blocks, sample, words
from wanwatch.core.model import NS_PER_S, Outcome, Span
from wanwatch.core.ports import (
    MARK_LATE,
    MARK_LOST,
    MARK_MALFORMED,
    MARK_NOT_SENT,
    MARK_REFUSED,
    RTT_LIMIT,
    HourSums,
)


async def test_every_outcome_has_its_count_and_its_word(backend: Backend, clock: FakeClock) -> None:
    """Sent counts what left; not-sent is in no other count; each raw word is the time or the outcome's mark."""
    keeper = backend.keeper(clock)
    keeper.open()
    for outcome in (Outcome.ANSWERED, Outcome.LOST, Outcome.REFUSED, Outcome.MALFORMED, Outcome.NOT_SENT):
        keeper.sample(sample(clock, outcome, reordered=outcome is Outcome.ANSWERED))
        clock.advance(1)
    await keeper.close()
    (block,) = blocks(backend)
    assert (block.series, block.minute) == (NEAR, 1_793_700_000 // 60)
    assert (block.sent, block.lost, block.late, block.refused, block.malformed, block.not_sent) == (4, 1, 0, 1, 1, 1)
    assert (block.reordered, block.duplicated) == (1, 0)
    assert words(block.offsets) == [0, 1_000_000, 2_000_000, 3_000_000, 4_000_000]
    assert words(block.rtts) == [5_000, MARK_LOST, MARK_REFUSED, MARK_MALFORMED, MARK_NOT_SENT]


async def test_quantiles_are_of_answered_probes_by_the_handbooks_rule(backend: Backend, clock: FakeClock) -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.2 with N = 40: p(N+1) is 20.5 and 38.95, between neighbours of 1000 us."""
    keeper = backend.keeper(clock)
    keeper.open()
    for number in range(40, 0, -1):
        keeper.sample(sample(clock, rtt_us=number * 1_000))
        clock.advance(1)
    keeper.sample(sample(clock, Outcome.LOST))
    await keeper.close()
    (block,) = blocks(backend)
    assert (block.min_us, block.median_us, block.p95_us, block.max_us) == (1_000, 20_500, 38_950, 40_000)


async def test_a_minute_without_answers_has_no_quantiles(backend: Backend, clock: FakeClock) -> None:
    """RFC 2681: with all probes lost, delay is undefined, not zero."""
    keeper = backend.keeper(clock)
    keeper.open()
    keeper.sample(sample(clock, Outcome.LOST))
    await keeper.close()
    (block,) = blocks(backend)
    assert (block.min_us, block.median_us, block.p95_us, block.max_us) == (None, None, None, None)


async def test_a_round_trip_beyond_the_words_range_stays_a_round_trip(backend: Backend, clock: FakeClock) -> None:
    """A time never turns into a mark."""
    keeper = backend.keeper(clock)
    keeper.open()
    keeper.sample(sample(clock, rtt_us=MARK_LOST + 7))
    await keeper.close()
    (block,) = blocks(backend)
    assert words(block.rtts) == [RTT_LIMIT - 1]
    assert block.lost == 0


async def test_a_running_minute_is_written_in_parts_and_read_as_one(backend: Backend, clock: FakeClock) -> None:
    """What is flushed so far can be read, and the next flush adds to it."""
    keeper = backend.keeper(clock)
    keeper.open()
    for seconds in (9, 9, 9):
        for _ in range(seconds):
            keeper.sample(sample(clock))
            clock.advance(1)
        assert await keeper.flush()
    (block,) = blocks(backend)
    await keeper.close()
    assert (block.sent, len(words(block.rtts))) == (27, 27)


async def test_a_restart_within_a_minute_adds_to_its_block(backend: Backend, clock: FakeClock) -> None:
    """The second run's samples join those of the first."""
    for rtt_us in (1_000, 3_000):
        keeper = backend.keeper(clock)
        keeper.open()
        keeper.sample(sample(clock, rtt_us=rtt_us))
        await keeper.close()
        clock.advance(20)
    (block,) = blocks(backend)
    assert words(block.rtts) == [1_000, 3_000]
    assert (block.sent, block.min_us, block.max_us) == (2, 1_000, 3_000)


async def test_a_clock_that_steps_back_merges_minutes(backend: Backend, clock: FakeClock) -> None:
    """Samples of both passes stay, ordered by the wall clock."""
    keeper = backend.keeper(clock)
    keeper.open()
    for rtt_us in (1_000, 2_000, 3_000):
        keeper.sample(sample(clock, rtt_us=rtt_us))
        clock.advance(1)
    assert await keeper.flush()
    clock.step(-2.5)
    keeper.clock_stepped()
    keeper.sample(sample(clock, Outcome.LOST))
    await keeper.close()
    (block,) = blocks(backend)
    assert words(block.offsets) == [0, 500_000, 1_000_000, 2_000_000]
    assert words(block.rtts) == [1_000, MARK_LOST, 2_000, 3_000]
    assert (block.sent, block.lost) == (4, 1)


async def test_words_are_in_order_of_sending_though_losses_are_told_late(backend: Backend, clock: FakeClock) -> None:
    """A lost probe is told after younger ones were answered, and even after they were written."""
    keeper = backend.keeper(clock)
    keeper.open()
    lost = sample(clock, Outcome.LOST)
    clock.advance(1)
    keeper.sample(sample(clock, rtt_us=7))
    assert await keeper.flush()
    keeper.sample(lost)
    await keeper.close()
    (block,) = blocks(backend)
    assert words(block.rtts) == [MARK_LOST, 7]


async def test_a_late_answer_moves_its_probe_from_lost_to_late(backend: Backend, clock: FakeClock) -> None:
    """RFC 7680: after the waiting time it is lost for judgement, so it stays sent and gains no round-trip time.

    Before the flush and after it alike.
    """
    keeper = backend.keeper(clock)
    keeper.open()
    early, other, flushed = (sample(clock, Outcome.LOST), sample(clock, Outcome.LOST), sample(clock, Outcome.LOST))
    early = early._replace(sent_unix_ns=clock.now_unix_ns() + NS_PER_S)
    other = other._replace(sent_unix_ns=clock.now_unix_ns() + 2 * NS_PER_S)
    for told in (flushed, early, other):
        keeper.sample(told)
    keeper.afterword(afterword(early, late=True))
    assert await keeper.flush()
    keeper.afterword(afterword(flushed, late=True))
    await keeper.close()
    (block,) = blocks(backend)
    assert words(block.rtts) == [MARK_LATE, MARK_LATE, MARK_LOST]
    assert (block.sent, block.lost, block.late, block.min_us) == (3, 1, 2, None)


async def test_further_answers_are_counted_and_change_nothing_else(backend: Backend, clock: FakeClock) -> None:
    """RFC 7680 and 6673: a probe answered twice is answered once; duplicates are counted apart."""
    keeper = backend.keeper(clock)
    keeper.open()
    told = sample(clock)
    keeper.sample(told)
    assert await keeper.flush()
    keeper.afterword(afterword(told, late=False))
    keeper.afterword(afterword(told, late=False))
    await keeper.close()
    (block,) = blocks(backend)
    assert (block.sent, block.lost, block.late, block.duplicated, words(block.rtts)) == (1, 0, 0, 2, [5_000])


async def test_blocks_come_by_minute_for_the_span_and_series_asked(backend: Backend, clock: FakeClock) -> None:
    """A span takes the minutes that begin within it: the end is outside, and so is a minute begun before."""
    keeper = backend.keeper(clock)
    keeper.open()
    start = clock.now_unix_ns()
    for _ in range(4):
        keeper.sample(sample(clock))
        keeper.sample(sample(clock, series=FAR))
        clock.advance(60)
    await keeper.close()
    first = start // NS_PER_S // 60
    record = backend.record()
    span = Span(start + 1, start + 180 * NS_PER_S)
    found = [(block.minute - first, block.series) for block in record.blocks(SITE, span)]
    only = [(block.minute - first, block.series) for block in record.blocks(SITE, ALWAYS, [FAR])]
    everyone = record.series(SITE)
    none = list(record.blocks("elsewhere", ALWAYS))
    record.close()
    assert found == [(1, NEAR), (1, FAR), (2, NEAR), (2, FAR)]
    assert only == [(0, FAR), (1, FAR), (2, FAR), (3, FAR)]
    assert everyone == [NEAR, FAR]
    assert none == []


async def test_hours_are_the_minutes_added_up_and_the_minutes_in_columns(backend: Backend, clock: FakeClock) -> None:
    """Both by hand: three minutes of two series around a full hour, the first of them before the span."""
    clock.advance(3600 - clock.now_unix_ns() // NS_PER_S % 3600 - 120)
    keeper = backend.keeper(clock)
    keeper.open()
    start = clock.now_unix_ns()
    for outcome in (Outcome.ANSWERED, Outcome.LOST, Outcome.REFUSED):
        keeper.sample(sample(clock, outcome))
        keeper.sample(sample(clock, Outcome.MALFORMED if outcome is Outcome.LOST else Outcome.NOT_SENT, series=FAR))
        clock.advance(60)
    keeper.sample(sample(clock))
    assert await keeper.flush()
    pruned_unix_ns = start + 120 * NS_PER_S
    assert await keeper.prune(pruned_unix_ns, 0)
    await keeper.close()
    record = backend.record()
    span = Span(start + 1, start + 300 * NS_PER_S)
    sums, minutes = list(record.sums(SITE, span)), list(record.minutes(SITE, span))
    raw_from = record.raw_from(SITE)
    only, none = list(record.sums(SITE, ALWAYS, [FAR])), list(record.sums("elsewhere", ALWAYS))
    record.close()
    hour, minute = start // NS_PER_S // 3600, start // NS_PER_S // 60
    assert raw_from == pruned_unix_ns
    assert sums == [
        HourSums(NEAR, hour, 1 << 59, 1, 1, 0),
        HourSums(FAR, hour, 1 << 59, 1, 1, 0),
        HourSums(NEAR, hour + 1, 0b11, 1, 0, 1),
        HourSums(FAR, hour + 1, 0, 0, 0, 0),
    ]
    assert [one[:7] for one in minutes] == [
        (NEAR, hour, (minute + 1,), (1,), (1,), (1,), (0,)),
        (FAR, hour, (minute + 1,), (1,), (1,), (1,), (0,)),
        (NEAR, hour + 1, (minute + 2, minute + 3), (1, 1), (0, 1), (0, 0), (1, 0)),
        (FAR, hour + 1, (minute + 2,), (0,), (0,), (0,), (0,)),
    ]
    told = [[words(rtts) for rtts in one.rtts] for one in minutes]
    assert told == [[[]], [[]], [[MARK_REFUSED], [5_000]], [[MARK_NOT_SENT]]]
    assert [[len(offsets) for offsets in one.offsets] for one in minutes] == [[0], [0], [4, 4], [4]]
    assert [(one.hour - hour, one.asked) for one in only] == [(0, 1), (1, 0)]
    assert none == []


async def test_retention_empties_raw_words_first_and_rows_later(backend: Backend, clock: FakeClock) -> None:
    """After the raw samples' keeping time the figures stay, after the rows' nothing does; the rest is untouched."""
    keeper = backend.keeper(clock)
    keeper.open()
    start = clock.now_unix_ns()
    for _ in range(10):
        keeper.sample(sample(clock))
        clock.advance(60)
    assert await keeper.flush()
    minute_ns = 60 * NS_PER_S
    assert await keeper.prune(start + 6 * minute_ns, start + 3 * minute_ns)
    assert await keeper.prune(start + 6 * minute_ns, start + 3 * minute_ns)
    await keeper.close()
    kept = blocks(backend)
    first = start // minute_ns
    assert [(block.minute - first, len(block.rtts), len(block.offsets)) for block in kept] == [
        (3, 0, 0), (4, 0, 0), (5, 0, 0), (6, 4, 4), (7, 4, 4), (8, 4, 4), (9, 4, 4),
    ]  # fmt: skip
    assert {(block.sent, block.median_us, block.max_us) for block in kept} == {(1, 5_000, 5_000)}


async def test_what_comes_to_a_minute_without_raw_words_is_added_to_its_counts(
    backend: Backend, clock: FakeClock
) -> None:
    """A clock set back by months: counts and extremes add up; quantiles cannot be known any more, so they go."""
    keeper = backend.keeper(clock)
    keeper.open()
    lost = sample(clock, Outcome.LOST)
    keeper.sample(lost)
    keeper.sample(sample(clock, rtt_us=5_000))
    assert await keeper.flush()
    assert await keeper.prune(clock.now_unix_ns() + 60 * NS_PER_S, 0)
    keeper.afterword(afterword(lost, late=True))
    assert await keeper.flush()
    (untouched,) = blocks(backend)
    keeper.sample(sample(clock, rtt_us=9_000))
    await keeper.close()
    (block,) = blocks(backend)
    assert (untouched.sent, untouched.lost, untouched.late, untouched.median_us) == (2, 0, 1, 5_000)
    assert (block.sent, block.lost, block.late, block.offsets, block.rtts) == (3, 0, 1, b"", b"")
    assert (block.min_us, block.median_us, block.p95_us, block.max_us) == (5_000, None, None, 9_000)


async def test_sites_share_a_store_and_nothing_else(backend: Backend, clock: FakeClock) -> None:
    """Retention and reading of one site leave another's rows alone, older ones too."""
    other = backend.keeper(clock, "mill-road")
    other.open()
    other.sample(sample(clock))
    await other.close()
    clock.advance(600)
    keeper = backend.keeper(clock)
    keeper.open()
    keeper.sample(sample(clock, rtt_us=1))
    assert await keeper.flush()
    clock.advance(600)
    later = clock.now_unix_ns()
    assert await keeper.prune(later, later)
    await keeper.close()
    record = backend.record()
    sites, others = record.sites(), list(record.blocks("mill-road", ALWAYS))
    ours = list(record.blocks(SITE, ALWAYS))
    record.close()
    assert sites == [SITE, "mill-road"]
    assert [(block.sent, words(block.rtts)) for block in others] == [(1, [5_000])]
    assert ours == []
