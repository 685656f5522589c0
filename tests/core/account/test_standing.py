"""How lines, a site and people stood: reckoned by hand over a day that is a thousand seconds long."""

from fractions import Fraction

from wanwatch.core.account.standing import any_of, as_felt, silences, standing
from wanwatch.core.account.timeline import Timeline
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Span

DAY = Span(0, 1000 * NS_PER_S)


def s(start: float, end: float) -> Span:
    return Span(round(start * NS_PER_S), round(end * NS_PER_S))


def line(
    *, down: tuple[Span, ...] = (), impaired: tuple[Span, ...] = (), unobserved: tuple[Span, ...] = ()
) -> Timeline:
    """A line that is up for the rest of the day; what is given lies in order and apart."""
    edges = [0, *(edge for one in sorted((*down, *impaired, *unobserved), key=lambda o: o.start_unix_ns)
                  for edge in (one.start_unix_ns, one.end_unix_ns)), DAY.end_unix_ns]  # fmt: skip
    up = tuple(Span(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a)
    return Timeline(up=up, impaired=impaired, down=down, unobserved=unobserved)


def event(kind: EventKind, start: float, end: float | None, interruption_s: float | None = None) -> Event:
    begun, over = (None if at is None else Bounds(*[round(at * NS_PER_S)] * 3) for at in (start, end))
    assert begun is not None
    return Event("e", "site", kind, "fibre", begun, over, interruption_s=interruption_s)


def test_outages_are_counted_and_measured_within_the_counted_time() -> None:
    """Three outages of 10, 40 and 50 s; of the last, which begins at 900, half lies in the hours that end at 925."""
    states = line(down=(s(100, 110), s(500, 540), s(900, 950)))
    found = standing(states, states.down, [s(400, 925)])
    assert (found.outages, found.longest_ns, found.times.down_ns) == (2, 40 * NS_PER_S, 65 * NS_PER_S)
    assert found.availability.value == Fraction(525 - 65, 525)
    assert found.means.to_restoration_ns == Fraction(65 * NS_PER_S, 2)
    assert found.means.between_failures_ns == Fraction((525 - 65) * NS_PER_S, 2)


def test_an_outage_with_a_blind_hour_in_it_is_one() -> None:
    """What the event spans is one outage; only the parts that were seen have length."""
    states = line(down=(s(100, 200), s(300, 350)), unobserved=(s(200, 300),))
    found = standing(states, [s(100, 350)], [DAY])
    assert (found.outages, found.longest_ns) == (1, 150 * NS_PER_S)


def test_a_time_without_an_outage_has_no_mean_times() -> None:
    """There is nothing to average."""
    found = standing(line(), [], [DAY])
    assert (found.outages, found.longest_ns, found.availability.value) == (0, 0, 1)
    assert found.means.between_failures_ns is found.means.to_restoration_ns is None


def test_a_site_can_carry_while_any_line_can() -> None:
    """Down only from 150 to 200, where both lines are; not where the other one is down and nobody saw this one."""
    fibre = line(down=(s(100, 200),), unobserved=(s(600, 700),))
    copper = line(down=(s(150, 300), s(650, 660)), impaired=(s(100, 120),))
    found = any_of(DAY, [fibre, copper])
    assert found.down == (s(150, 200),)
    assert found.impaired == (s(100, 120),)
    assert found.unobserved == (s(650, 660),)
    assert found.up == (s(0, 100), s(120, 150), s(200, 650), s(660, 1000))


def test_a_site_without_lines_was_never_seen() -> None:
    """No line, no claim."""
    assert any_of(DAY, []).unobserved == (DAY,)


def test_silences_of_people_are_those_that_events_tell() -> None:
    """A switch of 8 s, a blackout that goes on, a stuck failover as a whole, and 5 s within an outage."""
    told = [
        event(EventKind.FAILOVER, 100, 100, 8.0),
        event(EventKind.BLACKOUT, 990, None),
        event(EventKind.STUCK_FAILOVER, 300, 360),
        event(EventKind.OUTAGE, 500, 600, 5.0),
        event(EventKind.OUTAGE, 700, 703, 5.0),
        event(EventKind.OUTAGE, 800, 850),
    ]
    expected = (s(100, 108), s(300, 360), s(500, 505), s(700, 703), s(990, 1000))
    assert silences(told, DAY.end_unix_ns) == expected


def test_people_are_cut_off_only_where_somebody_watched() -> None:
    """A silence that reaches into unwatched time is cut there."""
    felt = as_felt(line(unobserved=(s(100, 200),)), DAY, [s(90, 210)])
    assert felt.down == (s(90, 100), s(200, 210))
    assert felt.up == (s(0, 90), s(210, 1000))
    assert felt.unobserved == (s(100, 200),)
