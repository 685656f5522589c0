"""One spell of trouble is one impairment, and is told from where it began to where it stopped."""

from random import Random
from statistics import median

from tests.fakes.office import Office, Way, line_questions, ns, since_start
from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.model import Event, EventKind, JudgeSettings

HOUR_S = 3600.0
BEGINS_S = 303.7
"""When the trouble begins: not at the edge of a window."""


def impairments(way: Way, until_s: float, chance: int = 1) -> list[Event]:
    """What a fibre with three targets is told of."""
    asked = line_questions("fibre")
    judge = SiteJudge("harbour-lane", ["fibre"], asked, JudgeSettings())
    told = Office(judge, {"fibre": way}, asked, tick_s=1.0, chance=chance).run(until_s)
    return told.events(EventKind.IMPAIRMENT)


def hovering(seed: int) -> Way:
    """A line that loses between 2 and 4 %, another share each minute, for an hour."""
    chance = Random(seed)  # noqa: S311 -- a story that must repeat itself
    minutes = [BEGINS_S + 60.0 * minute for minute in range(60)]
    return Way(losses=[(begin, begin + 60.0, chance.uniform(0.02, 0.04)) for begin in minutes])


def test_an_hour_of_loss_around_the_limit_is_few_impairments() -> None:
    """Loss of 2 to 4 % with a limit of 3 %: no more than five events in any hour of six, three in the mean."""
    counts = [len(impairments(hovering(seed), BEGINS_S + HOUR_S + 900.0, seed)) for seed in range(6)]
    assert min(counts) >= 1
    assert max(counts) <= 5
    assert sum(counts) <= 3 * len(counts)


def test_an_hour_of_loss_clearly_above_the_limit_is_one_impairment() -> None:
    """Twice the limit never looks well for five minutes."""
    for seed in range(3):
        (event,) = impairments(Way(losses=[(BEGINS_S, BEGINS_S + HOUR_S, 0.06)]), BEGINS_S + HOUR_S + 900.0, seed)
        assert event.end is not None


def test_the_bounds_of_heavy_loss_are_true_and_most_estimates_within_two_seconds() -> None:
    """Two minutes of 30 % over a line that loses one in 200 anyway: a stray loss is seldom beginning or end."""
    ends_s = BEGINS_S + 120.0
    way = Way(losses=[(0.0, 1e9, 0.005), (BEGINS_S, ends_s, 0.3)])
    off_s: tuple[list[float], list[float]] = ([], [])
    for seed in range(9):
        (event,) = impairments(way, ends_s + 900.0, seed)
        for bounds, truth_s, off in zip((event.start, event.end), (BEGINS_S, ends_s), off_s, strict=True):
            assert bounds is not None
            assert since_start(bounds.earliest_unix_ns) <= truth_s <= since_start(bounds.latest_unix_ns)
            off.append(abs(since_start(bounds.estimate_unix_ns) - truth_s))
    assert [median(off) <= 2.0 for off in off_s] == [True, True], off_s


def test_an_impairment_of_an_earlier_run_may_have_ended_while_nobody_looked() -> None:
    """The new run finds the line well: the end's earliest bound is when the run before was last known alive."""
    asked = line_questions("fibre")
    first = Office(
        SiteJudge("harbour-lane", ["fibre"], asked, JudgeSettings()), {"fibre": Way(losses=[(50.0, 1e9, 0.3)])}, asked
    )
    (event,) = first.run(300.0).events(EventKind.IMPAIRMENT)
    assert event.end is None
    alive_unix_ns = first.wall_ns(300.0)
    memory = Memory(open_events=(event,), last_alive_unix_ns=alive_unix_ns)
    judge = SiteJudge("harbour-lane", ["fibre"], asked, JudgeSettings(), memory=memory)
    (again,) = Office(judge, {"fibre": Way()}, asked, start_s=400.0).run(900.0).events(EventKind.IMPAIRMENT)
    assert again.id == event.id
    assert again.end is not None
    assert again.end.earliest_unix_ns == alive_unix_ns
    assert ns(400.0) <= again.end.estimate_unix_ns - first.wall_ns(0.0) <= ns(405.0)


def test_an_impairment_is_told_over_only_after_it_has_been_well_for_long_enough() -> None:
    """`clear_after` is five minutes: two spells four minutes apart are one, ten minutes apart are two."""
    for apart_s, events in ((240.0, 1), (600.0, 2)):
        again_s = BEGINS_S + 60.0 + apart_s
        way = Way(losses=[(BEGINS_S, BEGINS_S + 60.0, 0.3), (again_s, again_s + 60.0, 0.3)])
        assert len(impairments(way, again_s + 900.0)) == events
