"""The generated month tells one tale in its samples, its events and its watched time, and is marked as generated."""

from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from wanwatch.core.account.calendar import month_span
from wanwatch.core.model import NS_PER_S, EventKind, Outcome, Span
from wanwatch.demo import history
from wanwatch.demo.history import SITE, TALE, Tale, events, generate, pieces, samples, scene_at
from wanwatch.store import SqliteRecord

LONDON = ZoneInfo("Europe/London")
MONTH = month_span(2026, 10, LONDON)
MONTH_S = MONTH.length_ns // NS_PER_S


def test_the_month_is_marked_wherever_it_appears() -> None:
    """A generated figure must never be taken for an observed one."""
    assert "demo" in SITE
    assert "generated" in history.NOTE
    assert all(event.site == SITE and event.detail["generated"] for event in events(MONTH))


@pytest.mark.parametrize("month", range(1, 13))
def test_all_that_happens_lies_within_any_month(month: int) -> None:
    """The shortest month has 28 days."""
    span = month_span(2026, month, LONDON)
    for event in events(span):
        assert event.end is not None
        assert span.start_unix_ns <= event.start.earliest_unix_ns
        assert event.start.estimate_unix_ns < event.end.estimate_unix_ns < span.end_unix_ns


def test_the_outage_lasts_43_minutes_and_people_are_cut_off_until_traffic_moves() -> None:
    """The failover's interruption is the time from the cut to the move."""
    told = {event.kind: event for event in events(MONTH)}
    outage, failover = told[EventKind.OUTAGE], told[EventKind.FAILOVER]
    assert outage.end is not None
    assert failover.end is not None
    assert (outage.end.estimate_unix_ns - outage.start.estimate_unix_ns) // (60 * NS_PER_S) == 43
    cut_off_ns = failover.end.estimate_unix_ns - outage.start.estimate_unix_ns
    assert failover.interruption_s == pytest.approx(cut_off_ns / NS_PER_S, abs=0.05)


def test_samples_tell_the_same_tale_as_events() -> None:
    """Inside the outage every probe of the fibre is lost and none of copper's; a day before, none at all."""
    start_s = int(TALE.outage[0])
    for begin_s, lost in ((start_s + 60, {"fibre"}), (start_s - 86_400, set())):
        seen = list(samples(begin_s, begin_s + 600, MONTH, LONDON, chance=lambda: 0.5))
        assert len(seen) == 600 // history.EVERY_S * 4
        assert {sample.series.uplink for sample in seen if sample.outcome is Outcome.LOST} == lost


def test_evenings_are_slower_than_nights() -> None:
    """The queue follows the hours of the site's own zone."""

    def mean_s(hour: int) -> float:
        seen = samples(hour * 3600, hour * 3600 + 3600, MONTH, LONDON, chance=lambda: 0.5)
        rtts = [sample.rtt_ns or 0 for sample in seen]
        return sum(rtts) / len(rtts) / NS_PER_S

    assert mean_s(20) - mean_s(4) == pytest.approx(0.002, rel=0.05)


def test_nobody_looks_while_the_power_is_off() -> None:
    """The pieces cover the month but for the unobserved stretch, without gap or overlap."""
    covered = list(pieces(MONTH_S))
    assert covered[0][0] == 0
    assert covered[-1][1] == MONTH_S
    jumps = [(end, begin) for (_, end), (begin, _) in pairwise(covered) if end != begin]
    assert jumps == [TALE.unobserved]


def test_traffic_is_on_copper_between_the_switches() -> None:
    """The scene's carrier agrees with the events' instants."""
    assert scene_at(TALE.moved[0] - 1).carrying == "fibre"
    assert scene_at(TALE.moved[0]).carrying == "copper"
    assert scene_at(TALE.moved[1]).carrying == "fibre"


async def test_the_record_holds_what_was_generated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written through the store: each minute's samples, the events, and a gap where nobody looked."""
    tale = Tale(outage=(600, 1200), moved=(620, 1300), impaired=(1400, 1500), unobserved=(3000, 6600))
    monkeypatch.setattr(history, "TALE", tale)
    span = Span(MONTH.start_unix_ns, MONTH.start_unix_ns + 7200 * NS_PER_S)
    await generate(tmp_path / "record.sqlite", span, LONDON)
    with SqliteRecord(tmp_path / "record.sqlite") as record:
        assert record.sites() == [SITE]
        assert record.events(SITE) == sorted(events(span), key=lambda event: (event.start.estimate_unix_ns, event.id))
        begin = span.start_unix_ns
        gap = Span(begin + 3000 * NS_PER_S, begin + 6600 * NS_PER_S)
        assert record.watched(SITE, span) == [Span(begin, gap.start_unix_ns), Span(gap.end_unix_ns, span.end_unix_ns)]
        blocks = list(record.blocks(SITE, span))
    assert len(blocks) == sum(block.sent for block in blocks) == 3600 // history.EVERY_S * 4
    assert sum(block.lost for block in blocks if block.series.uplink == "copper") == 0
