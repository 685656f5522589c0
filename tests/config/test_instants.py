"""Instants as typed on the command line."""

import pytest

from wanwatch.config.instants import BackwardsError, InstantError, parse_instant, parse_span
from wanwatch.core.model import NS_PER_S

NOW = 1_767_225_600 * NS_PER_S


@pytest.mark.parametrize(
    ("text", "unix_s"),
    [
        ("1985-04-12T23:20:50.52Z", 482_196_050.52),  # RFC 3339 section 5.8, from memory
        ("1996-12-19T16:39:57-08:00", 851_042_397),  # RFC 3339 section 5.8, from memory
    ],
)
def test_full_instants_are_those_of_rfc_3339(text: str, unix_s: float) -> None:
    """An instant with an offset needs no zone."""
    assert parse_instant("--since", text, "Asia/Kolkata", NOW) == round(unix_s * 100) * NS_PER_S // 100


def test_a_bare_date_is_midnight_at_the_site() -> None:
    """London, 1 October 2026 begins at 23:00 UTC of the day before (IANA time zone database)."""
    assert parse_instant("--since", "2026-10-01", "Europe/London", NOW) == 1_790_809_200 * NS_PER_S


@pytest.mark.parametrize(("text", "ago_s"), [("90m", 5400), ("24h", 86_400), ("7d", 604_800), ("4w", 2_419_200)])
def test_an_age_counts_back_from_now(text: str, ago_s: int) -> None:
    """How long ago, in minutes, hours, days or weeks."""
    assert parse_instant("--since", text, "UTC", NOW) == NOW - ago_s * NS_PER_S


def test_a_plus_counts_onwards_from_now() -> None:
    """Planned work is announced for a time to come."""
    assert parse_instant("--from", "+2h", "UTC", NOW) == NOW + 7200 * NS_PER_S


@pytest.mark.parametrize(
    "text",
    ["", "yesterday", "7", "7y", "2026-13-01", "99999999d", "0001-01-01T00:00:00+02:00", "9999-12-31T23:59:59-01:00"],
)
def test_anything_else_is_told_with_what_to_write(text: str) -> None:
    """Thing, value, reason and mend."""
    with pytest.raises(InstantError) as raised:
        parse_instant("--since", text, "UTC", NOW)
    assert str(raised.value) == (
        f"--since {text!r} is not an instant; write a date (2026-11-03), a date with a time "
        "(2026-11-03T14:00 or 2026-11-03T14:00:00Z), or how long ago (90m, 24h, 7d, 4w) or from now (+2h)"
    )


@pytest.mark.parametrize(
    ("since", "until", "said"),
    [
        ("2026-11-03", "2026-11-02", "--since '2026-11-03' lies after --until '2026-11-02'; swap them"),
        ("+2h", None, "--since '+2h' lies after now; add an --until that lies after it"),
    ],
)
def test_a_stretch_that_ends_before_it_begins_is_a_mistake(since: str, until: str | None, said: str) -> None:
    """Nothing happened in it, and saying only that would hide the slip."""
    with pytest.raises(BackwardsError) as raised:
        parse_span(since, until, "UTC", 1_793_700_000 * NS_PER_S)
    assert str(raised.value) == said
