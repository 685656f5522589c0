"""Which drills are overdue, what refuses one, and what is counted of the second line."""

import struct

import pytest

from tests.core.drill.drills import START_UNIX_NS, Office, event
from tests.fakes.record import minute_block
from wanwatch.core.drill import (
    CONNECTIONS,
    NAMES,
    DrillError,
    Rehearsal,
    Tally,
    due_says,
    refuse,
    rehearsals,
    tally,
)
from wanwatch.core.model import NS_PER_S, UNPINNED, EventKind, Kind, Role, Series, Span, State
from wanwatch.core.planned import marked
from wanwatch.core.ports import MARK_LOST, MARK_NOT_SENT, MARK_REFUSED

DAY_S = 86_400
DONE = event(EventKind.DRILL, 0, 60, uplink="fibre", detail={"outcome": "done"})
GIVEN_UP = event(EventKind.DRILL, 5 * DAY_S, 5 * DAY_S + 60, uplink="fibre", detail={"outcome": "given-up"})
EVERY_NS = 90 * DAY_S * NS_PER_S


def at(seconds: float) -> int:
    return START_UNIX_NS + round(seconds * NS_PER_S)


def test_only_a_drill_that_was_done_counts() -> None:
    """One that was given up has shown nothing; a line for which nobody asks and that was never drilled is not told."""
    found = rehearsals([DONE, GIVEN_UP], {"fibre": EVERY_NS, "copper": None})
    assert found == [Rehearsal("fibre", EVERY_NS, at(60))]
    assert rehearsals([GIVEN_UP], {"fibre": EVERY_NS}) == [Rehearsal("fibre", EVERY_NS, None)]
    assert rehearsals([DONE], {"fibre": None}) == [Rehearsal("fibre", None, at(60))]


@pytest.mark.parametrize(
    ("rehearsal", "days", "overdue", "says"),
    [
        (
            Rehearsal("fibre", EVERY_NS, None),
            1,
            True,
            "fibre: failover never rehearsed, and it should be every 90 days; at a quiet hour: wanwatch drill fibre",
        ),
        (Rehearsal("fibre", EVERY_NS, at(0)), 90, False, "fibre: failover last rehearsed 90 days ago"),
        (
            Rehearsal("fibre", EVERY_NS, at(0)),
            91,
            True,
            (
                "fibre: failover last rehearsed 91 days ago, and it should be every 90 days; at a quiet hour: "
                "wanwatch drill fibre"
            ),
        ),
        (Rehearsal("fibre", None, at(0)), 1000, False, "fibre: failover last rehearsed 1000 days ago"),
    ],
)
def test_a_drill_never_done_or_too_long_ago_is_overdue(
    rehearsal: Rehearsal, days: int, overdue: bool, says: str  # noqa: FBT001
) -> None:  # fmt: skip
    """And it is said what to do."""
    now_unix_ns = at(days * DAY_S)
    assert rehearsal.overdue(now_unix_ns) is overdue
    assert due_says(rehearsal, now_unix_ns) == says
    assert Rehearsal.from_json(rehearsal.to_json(now_unix_ns)) == rehearsal


@pytest.mark.parametrize(
    ("uplink", "office", "misused", "says"),
    [
        ("fiber", Office(), True, "drill of uplink 'fiber': there is no such uplink; take one of: fibre, copper"),
        (
            "fibre",
            Office(fibre=State.DOWN),
            False,
            (
                "drill of uplink 'fibre': it is down, and a drill would cut people off; wait until every line is up,"
                " see: wanwatch status"
            ),
        ),
        (
            "fibre",
            Office(copper=State.UNOBSERVED),
            False,
            (
                "drill of uplink 'fibre': copper is unobserved, and a drill would cut people off; wait until every line"
                " is up, see: wanwatch status"
            ),
        ),
        (
            "fibre",
            Office(known=False),
            False,
            (
                "drill of uplink 'fibre': nobody can tell which line carries traffic, so a failover would not be seen;"
                " see: wanwatch check --live; with [carrying] stun, or interface pins, it can be told"
            ),
        ),
        (
            "copper",
            Office(),
            False,
            (
                "drill of uplink 'copper': traffic is on fibre, so pulling this one moves nothing; drill the line that "
                "carries, or let the gateway bring traffic back first"
            ),
        ),
    ],
)
def test_a_drill_that_would_hurt_or_show_nothing_is_refused(
    uplink: str, office: Office, misused: bool, says: str  # noqa: FBT001
) -> None:  # fmt: skip
    """With the reason and what to do."""
    with pytest.raises(DrillError) as raised:
        refuse(uplink, ["fibre", "copper"], office.view())
    assert (str(raised.value), raised.value.misused) == (says, misused)


def test_the_only_line_cannot_be_rehearsed() -> None:
    """There is nowhere to go."""
    with pytest.raises(DrillError, match="it is the only line") as raised:
        refuse("fibre", ["fibre"], Office().view())
    assert raised.value.misused


def test_a_drill_in_order_is_not_refused() -> None:
    """An impaired line can be rehearsed, too."""
    refuse("fibre", ["fibre", "copper"], Office(copper=State.IMPAIRED).view())


def test_what_was_sent_on_the_second_line_is_counted_and_nothing_else() -> None:
    """Ordinary traffic speaks first; what could not be sent was not tried; a refusal is no answer."""
    minute = START_UNIX_NS // (60 * NS_PER_S)
    begin_ns = minute * 60 * NS_PER_S
    offsets = [1_000_000 * second for second in range(6)]
    rtts = [8000, 8000, MARK_LOST, MARK_REFUSED, MARK_NOT_SENT, 8000]
    pinned = minute_block(Series("copper", "192.0.2.53", Kind.DNS, Role.NAMES), minute, offsets, rtts)
    ordinary = minute_block(Series(UNPINNED, "till", Kind.TCP, Role.LINE), minute, offsets, rtts)
    other = minute_block(Series("copper", "till", Kind.TCP, Role.LINE), minute, offsets, [9000] * 6)
    span = Span(begin_ns + NS_PER_S, begin_ns + 5 * NS_PER_S)
    blocks = [pinned, ordinary, other]
    assert tally(blocks, NAMES, "copper", span) == Tally(1, 3, ordinary=False)
    assert tally(blocks, CONNECTIONS, "copper", span) == Tally(1, 3, ordinary=True)
    assert tally([pinned], CONNECTIONS, "copper", span) is None
    assert struct.calcsize("<I") * 6 == len(pinned.rtts)


def test_what_reaches_into_a_drill_is_marked_and_the_other_line_is_not() -> None:
    """From the moment of the yes, also while it goes on; a lost command's drill ends after four hours at most."""
    drill = event(EventKind.DRILL, 10, None, uplink="fibre", drill=True)
    during = event(EventKind.OUTAGE, 20, None, uplink="fibre")
    before = event(EventKind.OUTAGE, 1, 5, uplink="fibre")
    other = event(EventKind.OUTAGE, 20, 30, uplink="copper")
    moved = event(EventKind.FAILOVER, 21, 22, from_uplink="fibre", to_uplink="copper")
    late = event(EventKind.OUTAGE, 5 * 3600, None, uplink="fibre")
    told = marked([during, before, other, moved, late], [drill])
    assert [one.drill for one in told] == [True, False, False, True, False]
    assert not any(one.planned for one in told)


def test_an_odd_name_can_be_copied_into_a_shell() -> None:
    """What is told to be typed runs as it stands (POSIX shell quoting, IEEE Std 1003.1, 2.2.2)."""
    said = due_says(Rehearsal("the old; one", EVERY_NS, None), at(0))
    assert said.endswith("wanwatch drill 'the old; one'")
