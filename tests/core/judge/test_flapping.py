"""Flapping: one event a spell, beside the outages and switches that it is made of."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.core.judge.test_properties import SLOW, SPELLS, Spell, judged, last_told, samples
from tests.core.judge.test_stories import copper, fibre, office, spread
from tests.fakes.office import ns
from wanwatch.core.judge import Memory
from wanwatch.core.model import NS_PER_S, EventKind, JudgeSettings

SHORT = JudgeSettings(flapping_within_ns=ns(120))
Cuts = list[tuple[float, float]]


def cuts(*starts: float) -> Cuts:
    """Outages of 40 s each."""
    return [(at_s, at_s + 40) for at_s in starts]


def test_a_line_that_goes_down_and_up_again_and_again_is_one_spell_of_flapping() -> None:
    """From the first of the changes to the last; every outage stays in the record."""
    told = office({"fibre": fibre(cuts=cuts(100, 300, 500, 700)), "copper": copper()}).run(1500)
    (spell,) = told.events(EventKind.FLAPPING)
    assert spell.uplink == "fibre"
    assert spread(spell.start)[0] <= 100 <= spread(spell.start)[2]
    assert spread(spell.end)[0] <= 740 <= spread(spell.end)[2]
    assert spell.detail == {"of": "line", "changes": 8}
    assert len(told.events(EventKind.OUTAGE)) == 4


def test_it_is_told_with_the_fourth_change_and_its_end_after_the_quiet() -> None:
    """While it goes on it has no end; the end is told ten minutes after the last change."""
    ways = {"fibre": fibre(cuts=cuts(100, 300)), "copper": copper()}
    told = office(ways).run(360)
    assert told.events(EventKind.FLAPPING) == []
    told.run(380)  # the line is up again once it has answered for 30 s
    (spell,) = told.events(EventKind.FLAPPING)
    assert spell.end is None
    told.run(960)
    assert told.events(EventKind.FLAPPING)[0].end is None
    told.run(980)
    assert told.events(EventKind.FLAPPING)[0].end is not None


def test_outages_that_lie_far_apart_are_no_flapping() -> None:
    """Only changes within the time that is looked back count together."""
    told = office({"fibre": fibre(cuts=cuts(100, 900, 1700)), "copper": copper()}).run(2500)
    assert len(told.events(EventKind.OUTAGE)) == 3
    assert told.events(EventKind.FLAPPING) == []


def test_two_spells_with_quiet_between_them_are_two_events() -> None:
    """A spell is over when nothing has changed for the time that is looked back."""
    told = office({"fibre": fibre(cuts=cuts(100, 200, 1500, 1600)), "copper": copper()}).run(3000)
    spells = told.events(EventKind.FLAPPING)
    assert [round(spread(spell.start)[1]) for spell in spells] == pytest.approx([100, 1500], abs=1)
    assert all(spell.end is not None for spell in spells)


def test_traffic_that_moves_to_and_fro_flaps_though_no_line_does() -> None:
    """The gateway is restless: every switch is told, and one spell of the site."""
    moves = tuple((100.0 + 60 * turn, ("copper", "fibre")[turn % 2]) for turn in range(6))
    told = office(moves=((0.0, "fibre"), *moves)).run(1200)
    (spell,) = told.events(EventKind.FLAPPING)
    assert spell.uplink is None
    assert spell.detail == {"of": "traffic", "changes": 6}
    assert len(told.events(EventKind.NEEDLESS_FAILOVER)) == len(told.events(EventKind.FAILBACK)) == 3
    assert spread(spell.start)[0] <= 100 <= spread(spell.start)[2]
    assert spread(spell.end)[0] <= 400 <= spread(spell.end)[2]


def test_a_spell_that_was_open_at_a_restart_ends_when_it_has_been_quiet() -> None:
    """The same event, and nothing is claimed of the time in which nobody looked."""
    first = office({"fibre": fibre(cuts=cuts(100, 200)), "copper": copper()}).run(300)
    (spell,) = first.events(EventKind.FLAPPING)
    memory = Memory(open_events=(spell,), last_alive_unix_ns=first.wall_ns(300))
    told = office(memory=memory, start_s=400.0).run(1100)
    (again,) = told.events(EventKind.FLAPPING)
    assert again.id == spell.id
    assert spread(again.end) == (300, 400, 400)


def test_a_line_that_is_not_configured_any_more_flaps_no_more() -> None:
    """Nobody is left who could say when it was quiet."""
    told = office({"fibre": fibre(cuts=cuts(100, 200)), "copper": copper()}).run(300)
    effects = told.judge.reconfigure(("copper",), told.questions, JudgeSettings())
    ended = [e.event for e in effects if hasattr(e, "event") and e.event.kind is EventKind.FLAPPING]
    assert [event.detail["ended_by"] for event in ended] == ["configuration"]


@SLOW
@given(SPELLS, st.lists(st.integers(0, 200 * NS_PER_S), max_size=30))
def test_spells_follow_each_other_and_do_not_hang_on_ticks(spells: list[Spell], ticks_ns: list[int]) -> None:
    """Never two at a time of one line or of the traffic, whatever the lines do and whenever the judge is asked."""
    told = samples(spells)
    events = last_told(judged(told, settings=SHORT))
    assert events == last_told(judged(told, ticks_ns, settings=SHORT))
    for uplink in ("fibre", "copper", None):
        own = [e for e in events.values() if e.kind is EventKind.FLAPPING and e.uplink == uplink]
        own.sort(key=lambda event: event.start.estimate_unix_ns)
        for before, after in pairwise(own):
            assert before.end is not None
            assert before.end.estimate_unix_ns <= after.start.estimate_unix_ns
