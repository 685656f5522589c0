"""Where the record is sent: keys that go together, and secrets that are not shown."""

from collections.abc import Callable
from pathlib import Path

import pytest

from wanwatch.config import load
from wanwatch.config.remote_write import receiver_names

SECRET = "correct horse battery"  # noqa: S105 - a test's own
TABLE = '\n[[remote_write]]\nurl = "https://metrics.example.net/api/v1/write"\n'


def test_a_receiver_is_read_with_its_secret(tmp_path: Path, right: str) -> None:
    """From its file, and into no text."""
    (tmp_path / "token").write_text(f"{SECRET}\n")
    (tmp_path / "wanwatch.toml").write_text(f'{right}{TABLE}bearer_token_file = "token"\n')
    config = load(tmp_path / "wanwatch.toml", {})
    (receiver,) = config.remote_writes
    assert receiver.bearer_token is not None
    assert receiver.bearer_token.get_secret_value() == SECRET
    assert (receiver.through, receiver.back_fill_ns) == ("up", 86_400 * 10**9)
    assert SECRET not in repr(config)


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (
            'user = "site"',
            "remote_write[0].password_file: this key is missing; write it beside user, or leave out both",
        ),
        (
            'password_file = "token"',
            "remote_write[0].user: this key is missing; write it beside password_file, or leave out both",
        ),
        (
            'user = "site"\npassword_file = "token"\nbearer_token_file = "token"',
            "remote_write[0]: it says bearer_token_file as well as user; keep the one that the receiver asks for",
        ),
    ],
)
def test_secrets_go_together(
    mistakes: Callable[[str], list[str]], tmp_path: Path, right: str, more: str, line: str
) -> None:
    """One way to sign in, and all of it."""
    (tmp_path / "token").write_text(SECRET)
    assert line in mistakes(f"{right}{TABLE}{more}\n")


def test_two_tables_of_one_url_are_a_mistake(mistakes: Callable[[str], list[str]], right: str) -> None:
    """By its URL it is known how far a receiver has got, whoever signs in there: one would take the other's place."""
    (said,) = mistakes(f"{right}{TABLE}{TABLE}")
    assert said == (
        "remote_write[1].url = 'https://metrics.example.net/api/v1/write': there is a table for this URL already; keep "
        "one of them"
    )


def test_a_receiver_is_named_by_its_host(tmp_path: Path, right: str) -> None:
    """The path and the query may be somebody's key; a second receiver of one host is numbered."""
    urls = ("https://metrics.example.net/a?key=secret", "https://metrics.example.net/b", "http://[2001:db8::1]:9090/")
    tables = "".join(f'\n[[remote_write]]\nurl = "{url}"\n' for url in urls)
    (tmp_path / "wanwatch.toml").write_text(f"{right}{tables}")
    assert receiver_names(load(tmp_path / "wanwatch.toml", {}).remote_writes) == (
        "metrics.example.net",
        "metrics.example.net (2)",
        "[2001:db8::1]:9090",
    )
