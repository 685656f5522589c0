"""Settings to try, from words on the command line."""

import pytest

from wanwatch.config.trials import TrialError, trials
from wanwatch.core.model import NS_PER_S, JudgeSettings

USUAL = JudgeSettings()


def test_nothing_given_tries_the_configuration() -> None:
    """Replaying as configured shows what the record gives today."""
    assert trials(USUAL, {"down_after": None}, None) == [("as configured", USUAL)]


def test_what_is_changed_is_in_the_name() -> None:
    """A row of the table says what it stands for."""
    ((name, tried),) = trials(USUAL, {"down_after": "10s", "impaired_loss": "5%", "window": None}, None)
    assert name == "down_after 10s, impaired_loss 5%"
    assert (tried.down_after_ns, tried.impaired_loss_ratio) == (10 * NS_PER_S, 0.05)
    assert tried.window_ns == USUAL.window_ns


def test_compared_values_stand_side_by_side() -> None:
    """Each value of the list is a setting; other changes hold in all of them."""
    tried = trials(USUAL, {"up_after": "1s"}, "2s, 500ms")
    assert [name for name, _ in tried] == ["up_after 1s, down_after 2s", "up_after 1s, down_after 500ms"]
    assert [one.down_after_ns for _, one in tried] == [2 * NS_PER_S, NS_PER_S // 2]
    assert {one.up_after_ns for _, one in tried} == {NS_PER_S}


@pytest.mark.parametrize(
    ("changes", "compare", "option"),
    [
        ({}, "2s,x", "--compare"),
        ({"up_after": "x"}, None, "--up-after"),
        ({"impaired_loss": "x"}, "2s", "--impaired-loss"),
    ],
)
def test_a_word_that_cannot_be_read_is_named(changes: dict[str, str], compare: str | None, option: str) -> None:
    """Which option, which word, what is wrong, and how to mend it."""
    with pytest.raises(TrialError, match=rf"^{option} 'x': not a .*such as"):
        trials(USUAL, changes, compare)
