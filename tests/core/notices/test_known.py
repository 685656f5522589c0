"""Since when an address has been known."""

import pytest

from wanwatch.core.model import Json
from wanwatch.core.notices import known_since


def test_an_address_is_known_from_the_first_time_on() -> None:
    """A new one from now, a known one from then, one that is gone not at all."""
    assert known_since({"a": 5, "gone": 3}, ["a", "b"], 9) == {"a": 5, "b": 9}


@pytest.mark.parametrize("remembered", [None, [], {"a": "x"}, {"a": None}])
def test_what_is_no_memory_is_none(remembered: Json) -> None:
    """The first start, or a record from elsewhere."""
    assert known_since(remembered, ["a"], 9) == {"a": 9}


def test_a_clock_that_was_set_back_makes_nobody_unknown() -> None:
    """Since a moment that is still to come, nothing would be told until then."""
    assert known_since({"a": 50}, ["a"], 9) == {"a": 9}
