"""What becomes of a probe. Pure: times are given."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.model import NS_PER_S, Afterword, Cause, Kind, Observation, Outcome, Role, Sample, Series
from wanwatch.measure.flights import OLDEST, Flight, Flights, Reading, Track, arrived_ns

MS = 1_000_000
WALL = 1_793_700_000 * NS_PER_S
TO = ("192.0.2.1", 862)
SERIES = Series("fibre", "near", Kind.STAMP, Role.LINE)


class Under:
    """Flights with one track and a wall clock that runs along."""

    def __init__(self) -> None:
        self.seen: list[Observation] = []
        self.flights = Flights(self.seen.append)
        self.track = Track(SERIES, TO, 2 * NS_PER_S)

    def launch(self, key: int, at_ns: int) -> None:
        """Send."""
        self.flights.launch(self.track, key, at_ns, WALL + at_ns)

    def reply(self, reading: Reading, at_ns: int, sender: tuple[str, int] = TO) -> Flight | None:
        """Receive."""
        return self.flights.settle(reading, sender, at_ns, WALL + at_ns, WALL + at_ns)

    def samples(self) -> list[Sample]:
        """The samples told so far."""
        return [seen for seen in self.seen if isinstance(seen, Sample)]


@pytest.fixture
def under() -> Under:
    """Fresh flights."""
    return Under()


def test_an_answer_in_time_gives_its_round_trip_time(under: Under) -> None:
    """The sample names the send on both clocks and the arrival."""
    under.launch(0, 5 * MS)
    under.reply(Reading(0, facts={"ttl": 63}), 25 * MS)
    expected = Sample(SERIES, 5 * MS, WALL + 5 * MS, 25 * MS, Outcome.ANSWERED, 20 * MS, facts={"ttl": 63})
    assert under.seen == [expected]


def test_no_answer_by_the_deadline_is_lost_at_the_deadline(under: Under) -> None:
    """RFC 7680: a probe is lost when it has not arrived within the waiting time."""
    under.launch(0, 0)
    under.flights.expire(2 * NS_PER_S - 1)
    assert under.seen == []
    under.flights.expire(3 * NS_PER_S)
    assert under.seen == [Sample(SERIES, 0, WALL, 2 * NS_PER_S, Outcome.LOST)]


def test_what_was_sent_before_our_buffer_was_full_is_not_measured_and_then_forgotten(under: Under) -> None:
    """Could not measure is a gap, never loss; what was sent since is lost as ever."""
    under.launch(0, 0)
    under.launch(1, 5 * MS)
    under.flights.expire(3 * NS_PER_S, deaf_ns=5 * MS)
    under.reply(Reading(0), 3 * NS_PER_S)
    assert under.seen == [
        Sample(SERIES, 0, WALL, 2 * NS_PER_S, Outcome.NOT_SENT, cause=Cause.NO_BUFFER),
        Sample(SERIES, 5 * MS, WALL + 5 * MS, 2 * NS_PER_S + 5 * MS, Outcome.LOST),
    ]


def test_an_answer_after_the_deadline_is_late_and_its_sample_stays_lost(under: Under) -> None:
    """One sample for each probe; the late answer is an afterword."""
    under.launch(0, 0)
    under.flights.expire(2 * NS_PER_S)
    under.reply(Reading(0), 3 * NS_PER_S)
    lost, late = under.seen
    assert isinstance(lost, Sample)
    assert lost.outcome is Outcome.LOST
    assert late == Afterword(SERIES, 0, WALL, 3 * NS_PER_S, 3 * NS_PER_S, late=True)


def test_an_answer_that_came_late_is_late_even_if_nobody_has_looked_since(under: Under) -> None:
    """A busy program must not turn late into answered."""
    under.launch(0, 0)
    under.reply(Reading(0), 2 * NS_PER_S + 1)
    assert [type(seen) for seen in under.seen] == [Sample, Afterword]
    under.flights.expire(5 * NS_PER_S)
    assert len(under.seen) == 2


def test_an_answer_that_came_in_time_is_answered_even_if_read_late(under: Under) -> None:
    """A busy program must not turn answered into lost: the kernel's stamp counts, within a second."""
    under.launch(0, 0)
    now_ns = 2 * NS_PER_S + 500 * MS
    under.flights.settle(Reading(0), TO, now_ns, WALL + now_ns, WALL + NS_PER_S * 19 // 10)
    assert under.samples()[0].outcome is Outcome.ANSWERED
    assert under.samples()[0].rtt_ns == NS_PER_S * 19 // 10


def test_a_second_answer_is_a_duplicate(under: Under) -> None:
    """RFC 7680: counted once."""
    under.launch(0, 0)
    under.reply(Reading(0), MS)
    under.reply(Reading(0), 2 * MS)
    assert under.seen[1] == Afterword(SERIES, 0, WALL, 2 * MS, 2 * MS, late=False)
    assert len(under.samples()) == 1


def test_a_second_late_answer_is_a_duplicate_too(under: Under) -> None:
    """Only the first answer after the waiting time is the late one."""
    under.launch(0, 0)
    under.flights.expire(2 * NS_PER_S)
    under.reply(Reading(0), 3 * NS_PER_S)
    under.reply(Reading(0), 4 * NS_PER_S)
    lates = [seen.late for seen in under.seen if isinstance(seen, Afterword)]
    assert lates == [True, False]


def test_an_answer_that_a_later_probe_overtook_is_reordered(under: Under) -> None:
    """RFC 4737 section 3: a sequence smaller than one that arrived before."""
    for key in range(3):
        under.launch(key, key * MS)
    for key in (0, 2, 1):
        under.reply(Reading(key), 10 * MS + key)
    assert [sample.reordered for sample in under.samples()] == [False, False, True]


def test_a_broken_reply_is_put_down_to_the_oldest_probe_that_waits_for_that_target(under: Under) -> None:
    """RFC 7680: a corrupt packet counts as lost; who sent it is known, which probe it was is not."""
    under.launch(0, 0)
    under.launch(1, MS)
    under.reply(Reading(OLDEST, Outcome.MALFORMED), 2 * MS, ("203.0.113.9", 862))
    assert under.seen == []
    under.reply(Reading(OLDEST, Outcome.MALFORMED), 2 * MS)
    assert under.seen == [Sample(SERIES, 0, WALL, 2 * MS, Outcome.MALFORMED)]


def test_a_refusal_is_timed_and_has_its_cause(under: Under) -> None:
    """Somebody answered, and said no."""
    under.launch(0, 0)
    under.reply(Reading(0, Outcome.REFUSED, Cause.PORT_UNREACHABLE), MS)
    assert under.seen == [Sample(SERIES, 0, WALL, MS, Outcome.REFUSED, MS, Cause.PORT_UNREACHABLE)]


def test_a_refusal_after_the_deadline_changes_nothing(under: Under) -> None:
    """It is neither an answer nor a second outcome."""
    under.launch(0, 0)
    under.flights.expire(2 * NS_PER_S)
    under.reply(Reading(0, Outcome.REFUSED, Cause.PORT_UNREACHABLE), 3 * NS_PER_S)
    assert len(under.seen) == 1


def test_an_answer_from_elsewhere_is_ignored(under: Under) -> None:
    """Nobody but the target may answer for it."""
    under.launch(0, 0)
    under.reply(Reading(0), MS, ("203.0.113.9", 862))
    under.reply(Reading(0), MS, ("192.0.2.1", 863))
    under.reply(Reading(77), MS)
    assert under.seen == []


def test_what_the_far_end_took_is_not_part_of_the_round_trip(under: Under) -> None:
    """RFC 8762 section 4.3; a claim that cannot be true is not believed."""
    for key, residence_ns in enumerate((MS, 50 * MS, -MS)):
        under.launch(key, 0)
        under.reply(Reading(key, residence_ns=residence_ns), 10 * MS)
    assert [sample.rtt_ns for sample in under.samples()] == [9 * MS, 10 * MS, 10 * MS]


def test_an_answer_to_be_fetched_another_way_is_handed_out_once_and_not_told(under: Under) -> None:
    """Whoever takes the flight owes the sample."""
    under.launch(0, 0)
    flight = under.reply(Reading(0, None), MS)
    assert flight is not None
    assert under.reply(Reading(0, None), MS) is None
    under.flights.expire(20 * NS_PER_S)
    assert under.seen == []


def test_everything_is_forgotten_in_the_end(under: Under) -> None:
    """An answered probe at its deadline, a lost one ten seconds later; years of running must not fill memory."""
    under.launch(0, 0)
    under.launch(1, 0)
    under.reply(Reading(0), MS)
    assert under.flights.next_ns() == 2 * NS_PER_S
    under.flights.expire(2 * NS_PER_S)
    assert len(under.flights) == 1
    assert under.flights.next_ns() == 12 * NS_PER_S
    under.flights.expire(12 * NS_PER_S)
    assert len(under.flights) == 0
    assert under.flights.next_ns() is None


@given(
    rtt_ns=st.integers(0, NS_PER_S),
    lay_ns=st.integers(0, NS_PER_S // 2),
    step_ns=st.integers(-100 * NS_PER_S, 100 * NS_PER_S).filter(lambda step: abs(step) > MS),
    before_stamp=st.booleans(),
)
def test_a_step_of_the_wall_clock_never_makes_a_round_trip_shorter_or_more_than_the_wait_longer(
    *, rtt_ns: int, lay_ns: int, step_ns: int, before_stamp: bool
) -> None:
    """Durations are the monotonic clock's: at worst the time that the reply lay unread is counted in."""
    flight = Flight(Track(SERIES, TO, 2 * NS_PER_S), 0, 0, 0, WALL, 2 * NS_PER_S)
    now_ns = rtt_ns + lay_ns
    stamp = WALL + rtt_ns + (step_ns if before_stamp else 0)
    assert arrived_ns(flight, now_ns, WALL + now_ns + step_ns, stamp) == now_ns
    assert arrived_ns(flight, now_ns, WALL + now_ns, WALL + rtt_ns) == rtt_ns


@given(st.lists(st.tuples(st.integers(0, 9), st.sampled_from(["reply", "refuse", "wait"])), max_size=60))
def test_there_is_exactly_one_sample_for_each_probe(steps: list[tuple[int, str]]) -> None:
    """Whatever comes, in whatever order."""
    under = Under()
    for key in range(10):
        under.launch(key, key * MS)
    now_ns = 10 * MS
    for key, what in steps:
        now_ns += 300 * MS if what == "wait" else MS
        if what == "wait":
            under.flights.expire(now_ns)
        else:
            outcome = Outcome.ANSWERED if what == "reply" else Outcome.REFUSED
            under.reply(Reading(key, outcome), now_ns)
    under.flights.expire(now_ns + 60 * NS_PER_S)
    assert sorted(sample.sent_ns for sample in under.samples()) == [key * MS for key in range(10)]
    assert len(under.flights) == 0
