"""When to try again."""

import pytest

from wanwatch.publish.retry import Said, meaning, wait_s

BEFORE_S = 946_684_769.0
"""Fri, 31 Dec 1999 23:59:29 GMT."""


@pytest.mark.parametrize(
    ("status", "said"),
    [(200, Said.DONE), (204, Said.DONE), (400, Said.NEVER), (404, Said.NEVER), (301, Said.AGAIN), (429, Said.AGAIN),
     (500, Said.AGAIN), (503, Said.AGAIN)],
)  # fmt: skip
def test_a_status_says_whether_to_try_again(status: int, said: Said) -> None:
    """Remote write 1.0: 2xx is done, 5xx must and 429 may be tried again, any other 4xx never; 3xx is none."""
    assert meaning(status) is said


@pytest.mark.parametrize(
    ("asked", "seconds"),
    [("120", 120), ("Fri, 31 Dec 1999 23:59:59 GMT", 30), ("Fri, 31 Dec 1999 23:58:59 GMT", 0), ("-5", 4), ("soon", 4),
     ("Fri, 31 Dec 1999 23:59:59 +99999999999999", 4),
     ("9999999", 3600), (None, 4)],
)  # fmt: skip
def test_a_receiver_may_say_when(asked: str | None, seconds: float) -> None:
    """RFC 9110 section 10.2.3, with its own example date; what is neither is left aside."""
    assert wait_s(3, asked, BEFORE_S) == seconds


def test_each_wait_is_twice_as_long_up_to_a_limit() -> None:
    """Exponential backoff: common practice, no published source for the numbers."""
    assert [wait_s(attempt, None, 0.0) for attempt in (1, 2, 3, 9, 10, 1000)] == [1, 2, 4, 256, 300, 300]
