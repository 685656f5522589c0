"""Who is told of what, whatever happens: what holds for every story of a site."""

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind
from wanwatch.core.notices import Case, Kind, Notice, Terms, cases, wanted
from wanwatch.core.notices.case import flat
from wanwatch.core.notices.wanted import in_quiet_hours

T0 = 1_793_448_000
HOUR = 3600
LETTERS = {
    Kind.BEGAN: "b", Kind.AGAIN: "a", Kind.WORSE: "n", Kind.BETTER: "n", Kind.REMINDER: "n", Kind.ENDED: "e",
    Kind.PASSED: "p",
}  # fmt: skip
GRAMMAR = re.compile(r"(p|bn*e)(p|an*e)*")
"""Every begin has one end; nothing is told between an end and what comes again."""
ALL = frozenset(EventKind) - {EventKind.PLANNED_WORK, EventKind.DRILL}
LENGTHS = (1, 8, 30, 200, 1000, 4000, 20_000, 100_000)


def bounds(second: int) -> Bounds:
    instant = (T0 + second) * NS_PER_S
    return Bounds(instant, instant, instant)


def event(kind: EventKind, uplink: str, start: int, length: int) -> Event:
    way = {
        EventKind.FAILOVER: ("fibre", "copper"), EventKind.NEEDLESS_FAILOVER: ("fibre", "copper"),
        EventKind.FAILBACK: ("copper", "fibre"), EventKind.BLACKOUT: ("fibre", None),
        EventKind.RESTORATION: (None, "fibre"),
    }.get(kind, (None, None))  # fmt: skip
    name = f"{kind}-{uplink}-{start}"
    begin, end = bounds(start), bounds(start + length)
    return Event(name, "s", kind, uplink, begin, end, from_uplink=way[0], to_uplink=way[1])


stories = st.lists(
    st.builds(
        event, st.sampled_from(sorted(ALL)), st.sampled_from(["fibre", "copper"]), st.integers(0, 200_000),
        st.sampled_from(LENGTHS),
    ),
    min_size=1, max_size=12, unique_by=lambda one: one.id,
)  # fmt: skip
terms = st.builds(
    Terms,
    site=st.just("s"), to=st.just("mailto:ops@example.net"),
    on=st.frozensets(st.sampled_from(sorted(ALL)), min_size=1),
    begin_after_ns=st.sampled_from([0, 10 * NS_PER_S, 300 * NS_PER_S]),
    end_after_ns=st.sampled_from([NS_PER_S, 120 * NS_PER_S]),
    remind_every_ns=st.sampled_from([None, HOUR * NS_PER_S]),
    quiet=st.sampled_from([None, (22 * 60, 7 * 60), (12 * 60, 13 * 60)]),
    through=st.frozensets(st.sampled_from(sorted(ALL)), max_size=2),
    most_an_hour=st.integers(1, 5),
)  # fmt: skip


def known(story: Sequence[Event], now_s: int, late: int = 0) -> list[Event]:
    """What is known of a story by then: no end that is to come, and what is told late later."""
    told = [one for one in story if one.start.estimate_unix_ns <= (T0 + now_s - late) * NS_PER_S]
    return [
        replace(one, end=None) if one.end and one.end.estimate_unix_ns > (T0 + now_s) * NS_PER_S else one
        for one in told
    ]


def lived(story: Sequence[Event], asked: Terms, looks: Sequence[int]) -> list[Notice]:
    """All that the address is told, looking at these seconds and then until all is long over."""
    told: list[Notice] = []
    last = max(one.end.estimate_unix_ns // NS_PER_S - T0 for one in story if one.end)
    begun = {one.start.estimate_unix_ns // NS_PER_S - T0 + 11 for one in story}
    after = {max(last, *looks, 0) + hour * HOUR for hour in (*range(1, 14), *range(20, 60, 4))}
    for second in sorted({*looks, *begun, *after}):
        now_unix_ns = (T0 + second) * NS_PER_S
        told += wanted(cases(known(story, second)), told, asked, now_unix_ns)
        assert wanted(cases(known(story, second)), told, asked, now_unix_ns) == []
    return told


def of(case: Case, told: Sequence[Notice]) -> list[Notice]:
    names = case.names()
    return [notice for notice in flat(told) if notice.about in names]


looks = st.lists(st.integers(0, 300_000), min_size=1, max_size=20)


@settings(max_examples=50, deadline=None)
@given(stories, terms, looks)
def test_nothing_is_told_twice_and_every_begin_gets_its_one_end(
    story: list[Event], asked: Terms, seconds: list[int]
) -> None:
    """No two notices share an id; of each case what was told reads as a whole story, in order."""
    told = lived(story, asked, seconds)
    ids = [notice.id for notice in (*told, *(part for notice in told for part in notice.parts))]
    assert len(ids) == len(set(ids))
    assert [notice.made_unix_ns for notice in told] == sorted(notice.made_unix_ns for notice in told)
    found = cases(story)
    for case in found:
        spelt = "".join(LETTERS[notice.kind] for notice in of(case, told))
        assert spelt == "" or GRAMMAR.fullmatch(spelt), spelt
    assert sum(len(of(case, told)) for case in found) == len(flat(told))


@settings(max_examples=40, deadline=None)
@given(stories, terms, looks)
def test_whatever_was_asked_for_is_told_by_the_next_day(story: list[Event], asked: Terms, seconds: list[int]) -> None:
    """Neither quiet hours nor the hour's limit make anything of the last two days be left out."""
    asked = replace(asked, since_unix_ns=0)
    told = lived(story, replace(asked, most_an_hour=5), sorted({*seconds, *range(0, 300_000, 7200)}))
    for case in cases(story):
        assert bool(of(case, told)) == any(one.kind in asked.on for one in case.events)


@settings(max_examples=40, deadline=None)
@given(stories, terms, looks)
def test_quiet_hours_and_the_hours_limit_hold(story: list[Event], asked: Terms, seconds: list[int]) -> None:
    """In quiet hours only what goes through; in no hour more than the limit."""
    told = lived(story, asked, seconds)
    for notice in told:
        if in_quiet_hours(asked, notice.made_unix_ns):
            for part in notice.parts or (notice,):
                (case,) = (case for case in cases(story) if part.about in case.names())
                assert asked.through & {one.kind for one in case.events}
    for first, last in zip(told, told[asked.most_an_hour :], strict=False):
        assert last.made_unix_ns - first.made_unix_ns >= HOUR * NS_PER_S


@settings(max_examples=40, deadline=None)
@given(stories, st.lists(st.integers(0, 300), min_size=1, max_size=12), looks)
def test_events_that_are_told_late_make_no_notice_twice(
    story: list[Event], delays: list[int], seconds: list[int]
) -> None:
    """A switch is judged after the line that it left: incidents join and change their names meanwhile."""
    asked = Terms(site="s", to="mailto:ops@example.net", on=ALL, most_an_hour=100)
    told: list[Notice] = []
    late = {one.id: delays[number % len(delays)] for number, one in enumerate(story)}
    for second in [*sorted({*seconds, *range(0, 320_000, 7200)}), 500_000, 600_000, 700_000]:
        heard = [one for event in story for one in known([event], second, late[event.id])]
        told += wanted(cases(heard), told, asked, (T0 + second) * NS_PER_S)
    ids = [notice.id for notice in flat(told)]
    assert len(ids) == len(set(ids))
    for case in cases(story):
        assert of(case, told)[-1].kind in {Kind.ENDED, Kind.PASSED}
    assert all(one.made_unix_ns <= other.made_unix_ns for one, other in pairwise(told))
