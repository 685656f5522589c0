"""The command about notices: what it lists, and how a test goes its way."""

import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.store.backends import letter
from wanwatch.cli import main
from wanwatch.core.model import NS_PER_S, Json
from wanwatch.core.notices import Answer, Kind, Post, PostState, Sent, answered
from wanwatch.publish.letters.listing import FIELDS
from wanwatch.store import SqliteRecord, StoreError, put_in_outbox

SITE = "harbour-lane"
HOOK = "https://hooks.example.net/key-7"
CONFIG = """
[site]
name = "harbour-lane"
timezone = "Europe/London"
data_dir = "{folder}"

[[uplink]]
name = "fibre"
pin = {{ source = "192.0.2.11" }}

[[target]]
name = "near"
echo = "192.0.2.1"

[smtp]
host = "mail.example.net"
sender = "wanwatch@example.net"

[[notice]]
to = "mailto:ops@example.net"

[[notice]]
to = "https://hooks.example.net/key-7"
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A small office's configuration, with an empty record beside it."""
    path = tmp_path / "wanwatch.toml"
    path.write_text(CONFIG.format(folder=tmp_path), "utf-8")
    return path


@pytest.fixture
def daemon(monkeypatch: pytest.MonkeyPatch) -> Callable[[str | None], None]:
    """What answers for the daemon: one of the site of this name, or nobody."""

    def set_up(site: str | None) -> None:
        health: dict[str, Json] | None = None if site is None else {"site": site, "uplinks": []}
        monkeypatch.setattr("wanwatch.web.ask.ask_health", lambda *_: health)

    return set_up


def record_of(config: Path) -> Path:
    return config.parent / "wanwatch.sqlite"


def wanwatch(config: Path, *words: str) -> Result:
    return CliRunner().invoke(main, ["notices", *words, "--config", str(config)])


@contextmanager
def courier(config: Path, *answers: Sent) -> Iterator[None]:
    """Somebody who brings what waits, one after the other, and is given these answers."""

    def bring() -> None:
        left, until_s = list(answers), time.monotonic() + 20
        while left and time.monotonic() < until_s:
            time.sleep(0.02)
            waiting = []
            with suppress(StoreError), SqliteRecord(record_of(config)) as record:  # it may not be there, or not whole
                waiting = record.posts(SITE, state=PostState.WAITING)
            for post in waiting[: len(left)]:
                put_in_outbox(record_of(config), SITE, answered(post, left.pop(0), 5, "fibre"))

    thread = threading.Thread(target=bring)
    thread.start()
    yield
    thread.join()


def kept(config: Path, *posts: Post) -> None:
    for post in posts:
        put_in_outbox(record_of(config), SITE, post)


def test_letters_are_listed_with_what_became_of_them(config: Path) -> None:
    """Of a webhook only the host is shown: what stands behind it may be a key."""
    now = time.time_ns()
    waits = letter("incident-a", now, HOOK)
    taken = answered(letter("incident-b", now + 1), Sent(Answer.TAKEN, "250 queued"), now + 2, "fibre")
    old = letter("incident-old", now - 30 * 86_400 * NS_PER_S)
    kept(config, waits, taken, old)
    text = wanwatch(config).stdout
    assert "https://hooks.example.net  fibre is down  waiting\n" in text
    assert "mailto:ops@example.net     fibre is down  taken by fibre: 250 queued\n" in text
    assert "key-7" not in text + wanwatch(config, "--json").stdout
    assert len(text.splitlines()) == 2
    listed = json.loads(wanwatch(config, "--waiting", "--json").stdout)
    assert [one["about"] for one in listed] == ["incident-old", "incident-a"]
    assert [tuple(one) for one in listed] == [FIELDS] * 2


def test_no_notices_are_said_to_be_none(config: Path) -> None:
    """An empty answer could be a broken one."""
    kept(config, letter("incident-old", 5))
    assert wanwatch(config).stdout == "no notices\n"
    assert wanwatch(config, "--json").stdout == "[]\n"


def test_a_test_goes_to_every_address_and_says_what_each_said(
    config: Path, daemon: Callable[[str | None], None]
) -> None:
    """The daemon sends it, by the way that an alarm would take."""
    daemon(SITE)
    with courier(config, Sent(Answer.TAKEN, "250 queued"), Sent(Answer.TAKEN, "200 OK")):
        done = wanwatch(config, "--test", "--json")
    assert done.exit_code == 0
    told = json.loads(done.stdout)
    assert {(one["to"], one["kind"], one["state"]) for one in told} == {
        ("mailto:ops@example.net", "test", "taken"), ("https://hooks.example.net", "test", "taken"),
    }  # fmt: skip
    assert all("test" in one["subject"] for one in told)


@pytest.mark.parametrize("written", ["ops@example.net", "mailto:ops@example.net"])
def test_a_test_that_is_refused_is_not_as_it_should_be(
    config: Path, daemon: Callable[[str | None], None], written: str
) -> None:
    """Exit code 1, with the receiver's own words; the other address hears nothing."""
    daemon(SITE)
    with courier(config, Sent(Answer.REFUSED, "550 no such box")):
        done = wanwatch(config, "--test", written)
    assert done.exit_code == 1
    assert done.stdout.endswith("refused: 550 no such box\n")
    assert len(done.stdout.splitlines()) == 1


def test_a_test_that_still_waits_could_not_be_measured(config: Path, daemon: Callable[[str | None], None]) -> None:
    """Exit code 3; the letter stays, and the daemon goes on with it."""
    daemon(SITE)
    done = wanwatch(config, "--test", "https://hooks.example.net", "--wait", "300ms")
    assert (done.exit_code, done.stdout.endswith("  waiting\n")) == (3, True)
    with SqliteRecord(record_of(config)) as record:
        assert [post.notice.kind for post in record.posts(SITE)] == [Kind.TEST]


@pytest.mark.parametrize("site", [None, "mill-road"])
def test_without_a_daemon_of_this_site_nothing_is_put_in(
    config: Path, daemon: Callable[[str | None], None], site: str | None
) -> None:
    """Nobody would send it now, and a test that arrives tomorrow would mislead."""
    daemon(site)
    done = wanwatch(config, "--test")
    assert (done.exit_code, done.stdout) == (3, "")
    assert done.stderr == "wanwatch: no daemon answers on 127.0.0.1:9470; start it with: wanwatch run\n"
    assert not record_of(config).exists()


def test_an_address_that_nobody_wrote_down_is_told_with_those_that_are(config: Path) -> None:
    """Without anybody's key."""
    done = wanwatch(config, "--test", "boss@example.net")
    assert done.exit_code == 2
    assert done.stderr == (
        "wanwatch: --test 'boss@example.net': there is no [[notice]] table for it; take one of: ops@example.net,"
        " https://hooks.example.net\n"
    )


def test_without_any_address_there_is_nobody_to_test(config: Path) -> None:
    """It says what is missing."""
    config.write_text(config.read_text("utf-8").partition("[smtp]")[0], "utf-8")
    done = wanwatch(config, "--test")
    assert done.exit_code == 2
    assert done.stderr == "wanwatch: there is no [[notice]] table, so nobody is told of anything; write one\n"
