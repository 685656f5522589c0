"""Sessions end by themselves."""

from wanwatch.core.door import ABSOLUTE_NS, IDLE_NS, Sessions
from wanwatch.core.door.sessions import MOST


def test_a_session_lasts_while_it_is_used_and_no_longer_than_a_week() -> None:
    """Idle for half a day ends it, and so does a week however much it is used."""
    sessions = Sessions()
    sessions.open("a", 0)
    sessions.open("b", 0)
    assert not sessions.holds("c", 0)
    at_ns = 0
    while at_ns + IDLE_NS - 1 < ABSOLUTE_NS:
        at_ns += IDLE_NS - 1
        assert sessions.holds("a", at_ns)
    assert not sessions.holds("a", ABSOLUTE_NS)
    assert not sessions.holds("b", IDLE_NS)
    assert not sessions.holds("b", 1)  # what is over stays over


def test_a_session_can_be_ended_and_all_of_them() -> None:
    """By who signs out, and by another password."""
    sessions = Sessions()
    for name in ("a", "b", "c"):
        sessions.open(name, 0)
    sessions.close("a")
    sessions.close("never there")
    assert [sessions.holds(name, 1) for name in ("a", "b", "c")] == [False, True, True]
    sessions.close_all()
    assert not any(sessions.holds(name, 1) for name in ("a", "b", "c"))


def test_memory_has_an_end_and_no_id_stands_in_it() -> None:
    """The one that was used least lately goes first; a copy of the memory opens nothing."""
    sessions = Sessions()
    for number in range(MOST):
        sessions.open(f"session-{number}", number)
    assert sessions.holds("session-0", MOST)
    sessions.open("one more", MOST)
    assert len(sessions) == MOST
    assert sessions.holds("session-0", MOST)
    assert not sessions.holds("session-1", MOST)
    assert "session-0" not in repr(list(sessions._open))


def test_what_is_over_makes_room() -> None:
    """Sessions that nobody ends are swept out when the next one begins."""
    sessions = Sessions()
    sessions.open("a", 0)
    sessions.open("b", IDLE_NS)
    assert len(sessions) == 1
