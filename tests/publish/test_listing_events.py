"""Lists of events, on a terminal and for a script."""

from wanwatch.core.model import NS_PER_S, Bounds, Domain, Event, EventKind
from wanwatch.publish.listing import events_text

AT = 1_793_700_000 * NS_PER_S
"""2026-11-03T10:00:00Z."""
ID = "outage-fibre-20261103T100000.000Z"
OUTAGE = Event(ID, "harbour-lane", EventKind.OUTAGE, "fibre", Bounds(AT, AT, AT), domain=Domain.PROVIDER)
LINE = f"2026-11-03 10:00:00+00:00  …  fibre: down in the provider's network, still going on  {ID}"


def test_an_event_is_a_line_for_scripts_and_wide_terminals() -> None:
    """The id is the last column."""
    assert events_text([OUTAGE], "UTC").split() == LINE.split()
    assert events_text([OUTAGE], "UTC", 200) == events_text([OUTAGE], "UTC")


def test_what_does_not_fit_a_terminal_becomes_a_paragraph() -> None:
    """Nothing is cut by the edge, and the id still stands by itself at the end, to be copied."""
    lines = events_text([OUTAGE], "UTC", 50).splitlines()
    assert max(map(len, lines)) <= 50
    assert " ".join(" ".join(lines).split()) == " ".join(LINE.split())
    assert lines[-1] == f"  {ID}"
