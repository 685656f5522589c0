"""How a data budget binds probing. The rules are ours; the tables here are worked out by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.databudget import DataUse, Month, Purpose

MB = 10**6
AMOUNT = st.integers(0, 10**10)


def month(**known: float) -> Month:
    usual = {"budget": 2000 * MB, "watched": 0, "tested": 0, "ahead": 0, "ahead_sparingly": 0, "passed": 0.5}
    return Month(**(usual | known))  # type: ignore[arg-type]  # whole numbers, but for the share


@pytest.mark.parametrize(
    ("before", "known", "sparing"),
    [
        (False, {"watched": 900 * MB, "ahead": 1000 * MB}, False),  # all of it fits
        (False, {"watched": 1500 * MB, "ahead": 1000 * MB, "ahead_sparingly": 100 * MB}, False),  # not yet
        (False, {"watched": 1900 * MB, "ahead": 400 * MB, "ahead_sparingly": 100 * MB}, True),  # now it just fits
        (True, {"watched": 1899 * MB, "ahead": 400 * MB, "ahead_sparingly": 100 * MB}, True),  # no to and fro
        (True, {"watched": 10 * MB, "ahead": 1000 * MB, "ahead_sparingly": 100 * MB}, False),  # a new month
        (False, {"watched": 500 * MB, "tested": 1400 * MB, "ahead_sparingly": 100 * MB}, True),  # tests count, too
    ],
)
def test_an_uplink_is_asked_sparingly_from_when_on_that_just_fits(
    *, before: bool, known: dict[str, float], sparing: bool
) -> None:
    """The rest of the budget is kept for watching the line to the month's end."""
    assert month(**known).sparing(before=before) is sparing


@pytest.mark.parametrize(
    ("known", "left"),
    [
        ({"watched": 100 * MB, "ahead": 100 * MB}, 900 * MB),  # (2000 - 200) * 0.5
        ({"watched": 100 * MB, "ahead": 100 * MB, "tested": 850 * MB}, 50 * MB),
        ({"watched": 100 * MB, "ahead": 100 * MB, "tested": 950 * MB}, 0),
        ({"watched": 100 * MB, "ahead": 1900 * MB}, 0),  # watching needs all of it
        ({"watched": 100 * MB, "ahead": 5000 * MB}, 0),
        ({"passed": 0.0}, 0),
        ({"passed": 1.0}, 2000 * MB),
    ],
)
def test_tests_get_what_watching_leaves_spread_over_the_month(known: dict[str, float], left: int) -> None:
    """Else a day of tests would use up what a month of them needs."""
    assert month(**known).left_for_tests() == left


@given(watched=AMOUNT, tested=AMOUNT, ahead=AMOUNT, passed=st.floats(0, 1))
def test_a_test_that_is_let_through_never_takes_the_month_past_its_budget(
    watched: int, tested: int, ahead: int, passed: float
) -> None:
    """Watching to the month's end included."""
    now = month(watched=watched, tested=tested, ahead=ahead, passed=passed)
    left = now.left_for_tests()
    assert left == 0 or watched + tested + left + ahead <= now.budget


def test_what_a_killed_daemon_may_have_used_counts_as_used() -> None:
    """What was ahead when it last wrote is counted when it is read again, and only once."""
    use = DataUse()
    use.count("copper", Purpose.LINE, 1000)
    again = DataUse.from_json(use.to_json({"copper": 70, "fibre": 0}))
    assert again == {"copper": {Purpose.LINE: 1000, Purpose.UNWRITTEN: 70}}
    assert DataUse.from_json(again.to_json({})) == again


@pytest.mark.parametrize(
    "value", [None, 7, [], {"counts": 3}, {"counts": {"copper": 5}}, {"counts": {"copper": {"line": "x", "else": 4}}}]
)
def test_a_note_that_is_none_of_ours_is_no_use_of_data(value: object) -> None:
    """A record of another version must not keep the daemon from starting."""
    assert DataUse.from_json(value) == {}  # type: ignore[arg-type]  # on purpose
