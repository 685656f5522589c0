"""What `wanwatch status` says of notices and signs of life."""

from tests.fakes.web import health_of
from wanwatch.core.model import Json
from wanwatch.publish.listing import status_text

NOW_UNIX_S = 1_793_700_000.0


def told(**more: Json) -> list[str]:
    """The lines below those of the uplinks."""
    return status_text(health_of() | more, NOW_UNIX_S).partition("\n\n")[2].splitlines()[2:]


def test_notices_that_wait_are_told_with_the_oldest_s_age() -> None:
    """Whoever asks how things stand must hear that nobody else has."""
    waiting: Json = {"waiting": 3, "oldest_unix_s": NOW_UNIX_S - 300}
    assert told(notices=waiting) == ["notices: 3 not sent yet, the oldest made 5 min 00 s ago"]


def test_nothing_is_said_where_all_is_well() -> None:
    """Nor by a daemon from before an upgrade, or one that tells nobody."""
    assert told(notices={"waiting": 0, "oldest_unix_s": None}, ping={"heard_unix_s": 1.0, "trouble": None}) == []
    assert told(notices=None, ping=None) == told() == []


def test_a_sign_of_life_that_nobody_hears_is_told() -> None:
    """Else people trust in somebody who was never asked."""
    trouble: Json = {"heard_unix_s": None, "trouble": "by fibre: 404 Not Found"}
    assert told(ping=trouble) == ["ping: by fibre: 404 Not Found"]
