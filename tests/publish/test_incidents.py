"""Incidents on a terminal: a heading, a sentence, and the time line."""

from datetime import UTC, datetime

from tests.core.incident.test_joining import FAILBACK, FAILOVER, OUTAGE, happened
from tests.fakes.month import EVENTS
from wanwatch.core.incident import incidents
from wanwatch.publish.incidents import incidents_text


def test_an_incident_is_told_with_its_time_line_in_the_sites_zone() -> None:
    """The id stands in the heading; each instant to the tenth of a second."""
    found = [one for one in incidents(EVENTS) if one.id.endswith("13 13:03:20")]
    assert incidents_text(found, "Europe/London") == (
        "2026-10-13 14:03:20+01:00 to 2026-10-13 14:35:30+01:00  incident-outage-fibre-13 13:03:20\n"
        "fibre was down on the access line for 31 min 04 s; traffic moved to copper and came back;"
        " people were cut off for 8.6 s\n"
        "  14:03:20.0  fibre    down on the access line\n"
        "  14:03:28.0  traffic  moved from fibre to copper, silent for 8.2 s\n"
        "  14:34:24.0  fibre    answers again after 31 min 04 s\n"
        "  14:35:30.0  traffic  moved from copper to fibre, silent for 0.4 s\n"
    )


def test_another_day_or_another_offset_is_written_out() -> None:
    """Where the clocks go back within an incident, 01:50 comes before 01:10."""
    found = [one for one in incidents(EVENTS) if one.id.endswith("25 00:50:00")]
    text = incidents_text(found, "Europe/London")
    assert "                 01:50:00.0  fibre" in text
    assert "  2026-10-25 01:10:00+00:00  fibre" in text


def test_no_incident_is_said_to_be_so() -> None:
    """An empty answer could be a broken one."""
    assert incidents_text([], "UTC") == "no incidents\n"


def test_a_long_time_line_says_how_much_is_left_out() -> None:
    """Forty entries at most; the rest is in the JSON."""
    start = int(datetime(2026, 10, 3, tzinfo=UTC).timestamp())
    flaps = [happened(OUTAGE, start + number * 360, start + number * 360 + 9) for number in range(30)]
    text = incidents_text(incidents(flaps), "UTC")
    assert "\n  … 20 entries more; --json has all\n" in text
    assert len(text.splitlines()) == 2 + 41


def test_what_goes_on_has_no_end_yet() -> None:
    """Shown as in the list of events."""
    events = [
        happened(OUTAGE, 0, None),
        happened(FAILOVER, 5, 5, None, ("fibre", "copper")),
        happened(FAILBACK, 9, 9, None, ("copper", "fibre")),
    ]
    assert incidents_text(incidents(events), "UTC").startswith(
        "1970-01-01 00:00:00+00:00 to …  incident-outage-fibre-0"
    )
