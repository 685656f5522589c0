"""Secrets come from files or the environment, and are never shown."""

from collections.abc import Callable
from pathlib import Path

import pytest

from wanwatch.config import ConfigError, load
from wanwatch.config.plan import questions
from wanwatch.core.door import digest
from wanwatch.core.model import Role

SECRET = "correct horse battery"  # noqa: S105 - a test's own
LISTEN = '\n[listen]\naddress = "192.0.2.200:9470"\ntoken_file = "token"\n'


def test_a_token_comes_from_a_file_beside_the_configuration(tmp_path: Path, right: str) -> None:
    """The file's one line is the token; a relative path starts from the configuration's folder."""
    (tmp_path / "token").write_text(f"{SECRET}\n")
    (tmp_path / "wanwatch.toml").write_text(right + LISTEN)
    config = load(tmp_path / "wanwatch.toml", {})
    assert config.listen.tokens == (digest(SECRET),)
    assert SECRET not in repr(config) + str(config)


def test_a_token_comes_from_the_environment(tmp_path: Path, right: str) -> None:
    """Where no file is named, the variable counts."""
    (tmp_path / "wanwatch.toml").write_text(right + LISTEN.replace('token_file = "token"', ""))
    config = load(tmp_path / "wanwatch.toml", {"WANWATCH_LISTEN_TOKEN": SECRET})
    assert config.listen.tokens == (digest(SECRET),)


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (
            f'[listen]\ntoken_file = "{SECRET}"',
            (
                "listen.token_file: there is no such file, or it cannot be read; write the path of a file that the "
                "daemon's user can read, or set WANWATCH_LISTEN_TOKEN in its environment"
            ),
        ),
        (f'[listen]\ntoken = "{SECRET}"', "listen.token: there is no such key; did you mean 'token_file'?"),
        (
            f'[smtp]\nhost = "mail.example.net"\nsender = "wan@example.net"\npassword = "{SECRET}"',
            "smtp.password: there is no such key; did you mean 'password_file'?",
        ),
        (f'smtp = ["{SECRET}"]', None),
        (f'[[notice]]\nto = "https://ops:{SECRET.replace(" ", "-")}@hooks.example.net/"', None),
    ],
)
def test_a_misplaced_secret_is_not_shown(
    mistakes: Callable[[str], list[str]], right: str, more: str, line: str | None
) -> None:
    """People paste secrets where a path belongs; the mistake is told without them."""
    told = mistakes(f"{more}\n{right}" if more.startswith("smtp =") else f"{right}\n{more}\n")
    assert told
    if line is not None:
        assert told == [line]
    assert SECRET.split(" ", maxsplit=1)[0] not in "\n".join(told)


@pytest.mark.parametrize("content", ["", "one\ntwo\n"])
def test_a_secrets_file_holds_one_line(tmp_path: Path, right: str, content: str) -> None:
    """An empty token would be shown to anybody; two lines are likely another file."""
    (tmp_path / "token").write_text(content)
    page = 'address_url = "http://192.0.2.80/address"\naddress_token_file = "token"\n'
    (tmp_path / "wanwatch.toml").write_text(f"{right}\n[carrying]\n{page}")
    with pytest.raises(ConfigError, match="the file does not hold exactly one line"):
        load(tmp_path / "wanwatch.toml", {})


def test_a_stamp_key_comes_from_a_file_and_is_never_shown(tmp_path: Path, right: str) -> None:
    """It goes to the room that signs with it, and into no text."""
    (tmp_path / "key").write_text(f"{SECRET}\n")
    target = '\n[[target]]\nname = "signed"\nstamp = "192.0.2.77"\nstamp_key_file = "key"\n'
    (tmp_path / "wanwatch.toml").write_text(right + target)
    config = load(tmp_path / "wanwatch.toml", {})
    keys = {question.series.target: question.stamp_key for question in questions(config)}
    assert {name for name, key in keys.items() if key is not None} == {"signed"}
    assert keys["signed"] == SECRET.encode()
    assert SECRET not in repr(config) + repr(questions(config))


@pytest.mark.parametrize(
    ("way", "line"),
    [
        (
            'stamp = "192.0.2.77"',
            (
                "target[{}].stamp_key_file: there is no such file, or it cannot be read; write the path of a file that "
                "the daemon's user can read"
            ),
        ),
        (
            'echo = "192.0.2.77"',
            "target[{}].stamp_key_file: only a stamp target has a key; leave it out, or write stamp = an address",
        ),
    ],
)
def test_a_misplaced_stamp_key_is_not_shown(
    mistakes: Callable[[str], list[str]], right: str, way: str, line: str
) -> None:
    """People paste the key where its file belongs."""
    told = mistakes(f'{right}\n[[target]]\nname = "signed"\n{way}\nstamp_key_file = "{SECRET}"\n')
    assert line.format(right.count("[[target]]")) in told
    assert SECRET.split(" ", maxsplit=1)[0] not in "\n".join(told)


def test_a_token_for_the_address_comes_from_a_file_and_is_never_shown(tmp_path: Path, right: str) -> None:
    """It goes to the room that asks, and into no text; without a page to show it to it is a mistake."""
    (tmp_path / "token").write_text(f"{SECRET}\n")
    page = 'address_url = "http://192.0.2.80/address"\n'
    file = tmp_path / "wanwatch.toml"
    file.write_text(f'{right}\n[carrying]\n{page}address_token_file = "token"\n')
    config = load(file, {})
    assert {q.token for q in questions(config) if q.series.role is Role.EGRESS} == {SECRET}
    assert SECRET not in repr(config) + repr(questions(config))
    file.write_text(file.read_text().replace(page, ""))
    with pytest.raises(
        ConfigError, match=r"carrying.address_url: this key is missing; write it beside address_token_file"
    ):
        load(file, {})
