"""When questions are asked. Pure: the table of times is given the time."""

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.model import NS_PER_S
from wanwatch.measure.pace import WHOLE, Timetable, Turn, spread

MS = 1_000_000
EPOCH = 7 * NS_PER_S


def turn(share: int = 0, every_ns: int = NS_PER_S, pulse_ns: int = 200 * MS, uplink: str = "fibre") -> Turn:
    """A turn that does nothing."""
    return Turn(lambda: None, uplink, share, every_ns, pulse_ns)


def fired(table: Timetable, at_ns: int) -> int:
    """How many turns are due now."""
    return len(list(table.due(at_ns)))


@given(number=st.integers(1, 300), first=st.integers(0, WHOLE - 1))
def test_questions_that_begin_together_lie_evenly_in_their_interval(number: int, first: int) -> None:
    """Series must not fire together."""
    shares = sorted(spread([], number, first))
    assert first in shares
    gaps = [b - a for a, b in zip(shares, [*shares[1:], shares[0] + WHOLE], strict=True)]
    assert max(gaps) - min(gaps) <= 1


@given(taken=st.sets(st.integers(0, WHOLE - 1), min_size=1, max_size=20), number=st.integers(0, 50))
def test_a_newcomer_lies_in_the_middle_of_the_widest_gap(taken: set[int], number: int) -> None:
    """Those that are there keep their places, and none is given twice while there is room."""
    marks = sorted(taken)
    widest = max(b - a for a, b in zip(marks, [*marks[1:], marks[0] + WHOLE], strict=True))
    found = spread(taken, number)
    assert len(found) == number
    if found:
        nearest = min(min((found[0] - mark) % WHOLE, (mark - found[0]) % WHOLE) for mark in taken)
        assert nearest == widest // 2
        assert all(0 <= share < WHOLE for share in found)


@given(
    share=st.integers(0, WHOLE - 1),
    every_ns=st.integers(MS, 10 * NS_PER_S),
    start_ns=st.integers(0, 100 * NS_PER_S),
    naps=st.lists(st.integers(0, 30 * NS_PER_S), min_size=1, max_size=50),
)
def test_sends_keep_to_their_grid_and_never_bunch(share: int, every_ns: int, start_ns: int, naps: list[int]) -> None:
    """No drift: due times are epoch + phase + n * interval. A stall skips what it missed: one send a look at most."""
    table = Timetable()
    table.add(turn(), EPOCH)
    table.remove(next(iter(table._turns["fibre"])))
    one = turn(share, every_ns)
    table.add(one, start_ns)
    now_ns = start_ns
    phase = every_ns * share >> 32
    for nap in naps:
        now_ns += nap
        due_ns = table.next_ns()
        assert due_ns is not None
        assert (due_ns - EPOCH - phase) % every_ns == 0
        assert fired(table, now_ns) == (due_ns <= now_ns)
        after_ns = table.next_ns()
        assert after_ns is not None
        assert now_ns < after_ns <= max(now_ns, due_ns) + every_ns


@given(start_ns=st.integers(0, 100 * NS_PER_S), share=st.integers(0, WHOLE - 1))
def test_the_very_first_send_is_at_once_and_any_other_comes_within_one_interval(start_ns: int, share: int) -> None:
    """Nothing waits longer than its own interval for its first sample."""
    table = Timetable()
    first = turn()
    table.add(first, EPOCH)
    assert first.due_ns == EPOCH
    table.remove(first)
    table.add(turn(share), start_ns)
    due_ns = table.next_ns()
    assert due_ns is not None
    assert start_ns <= due_ns < start_ns + NS_PER_S


def test_a_look_exactly_on_time_fires_each_turn_once_in_every_interval() -> None:
    """Ten turns at one a second give a hundred sends in ten seconds, at a hundred different times."""
    table = Timetable()
    for share in spread([], 10):
        table.add(turn(share), EPOCH)
    times = []
    while (due_ns := table.next_ns()) is not None and due_ns < EPOCH + 10 * NS_PER_S:
        times += [due_ns] * fired(table, due_ns)
    assert len(times) == len(set(times)) == 100


def test_a_quick_uplink_is_asked_at_its_pulse_at_once_and_keeps_its_phase_when_it_slows_down() -> None:
    """Only the turns of that uplink change, and those that come later are quick too."""
    table = Timetable()
    one, other = turn(WHOLE // 2), turn(WHOLE // 2, uplink="copper")
    table.add(one, EPOCH)
    table.add(other, EPOCH)
    table.pace("fibre", EPOCH, quick=True)
    assert (one.due_ns, other.due_ns) == (EPOCH + 100 * MS, EPOCH + 500 * MS)
    newcomer = turn()
    table.add(newcomer, EPOCH + 1)
    assert newcomer.due_ns == EPOCH + 200 * MS
    table.pace("fibre", EPOCH + 600 * MS, quick=False)
    assert one.due_ns == EPOCH + 1500 * MS
    assert other.due_ns == EPOCH + 500 * MS


def test_asking_for_the_pace_that_is_kept_already_changes_nothing() -> None:
    """A repeated wish must not put a send off."""
    table = Timetable()
    one = turn()
    table.add(one, EPOCH)
    table.pace("fibre", EPOCH, quick=True)
    before = one.due_ns
    table.pace("fibre", EPOCH + 10 * MS, quick=True)
    assert one.due_ns == before
    assert fired(table, EPOCH + NS_PER_S) == 1


def test_a_removed_turn_fires_no_more() -> None:
    """What is not asked any longer leaves no send behind."""
    table = Timetable()
    one = turn()
    table.add(one, EPOCH)
    table.remove(one)
    assert fired(table, EPOCH + 5 * NS_PER_S) == 0
    assert table.next_ns() is None


def test_a_change_of_pace_skips_nothing_that_is_just_due() -> None:
    """A loss becomes known a whole number of intervals after its sending, and the pace changes at that very instant."""
    table = Timetable()
    table.add(turn(every_ns=NS_PER_S, pulse_ns=NS_PER_S), EPOCH)
    assert fired(table, EPOCH) == 1
    table.pace("fibre", EPOCH + NS_PER_S + 1, quick=True)
    assert fired(table, EPOCH + NS_PER_S + 2) == 1
