"""From a line that falls silent to a letter in somebody's hands: the whole daemon, with a mail server and a webhook."""

import asyncio
import contextlib
import json
import math
import os
import time
from collections.abc import AsyncIterator, Callable
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

import pytest
import trustme

from tests.publish.notices.hook_server import Answering, hook_server
from tests.publish.notices.mail_server import Handler, mail_server
from tests.publish.notices.posts import line, post_to
from tests.test_daemon import FAR_AWAY, mute, office, running
from wanwatch.config import load
from wanwatch.core.instants import instant_from_text
from wanwatch.core.notices import PostState
from wanwatch.daemon.noticing import Noticing
from wanwatch.reflector import StampReflector
from wanwatch.store import SqliteRecord
from wanwatch.store.announcing import put_in_outbox

SITE = "harbour-lane"
MAIL = 'to = "mailto:ops@example.net"\n'
SOON = 'on = ["outage"]\nbegin_after = "1s"\nend_after = "300ms"\n'


@pytest.fixture
async def reflector() -> AsyncIterator[StampReflector]:
    """What both lines are asked for."""
    far = StampReflector(FAR_AWAY, 0)
    yield far
    with contextlib.suppress(ValueError):  # a test may have closed it
        far.close()


def smtp(port: int) -> str:
    return f'[smtp]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "none"\nsender = "wan@example.net"\n'


async def until(true: Callable[[], bool], within_s: float = 30.0) -> None:
    async with asyncio.timeout(within_s):
        while not true():  # noqa: ASYNC110 - what is awaited is no event of ours
            await asyncio.sleep(0.02)


async def silent_until(true: Callable[[], bool], far: StampReflector) -> StampReflector:
    """Let the far end of both lines fall silent until something holds; return the new one."""
    far.close()
    with mute(far.port):
        await until(true)
    return StampReflector(FAR_AWAY, far.port)


async def test_while_no_line_works_letters_are_kept_and_arrive_once_with_their_true_times(
    tmp_path: Path, reflector: StampReflector
) -> None:
    """RFC 5322 section 3.6.1: Date is when the letter was made, though nothing could leave then.

    One letter by mail and one by webhook when both lines are down, and one when it is over; a second start sends none.
    """
    authority, handler, hook = trustme.CA(), Handler(), Answering(204)
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    (tmp_path / "secret").write_text("open sesame\n")
    async with mail_server(handler) as (port, _), hook_server(hook, authority, "127.0.0.1") as url:
        tables = f'[[notice]]\n{MAIL}{SOON}[[notice]]\nto = "{url}"\nsecret_file = "secret"\n{SOON}{smtp(port)}'
        path = office(tmp_path, reflector.port, extra=tables)
        path.write_text(path.read_text().replace("[site]\n", '[site]\nauthorities = "ca.pem"\n'))
        async with running(path) as daemon:
            await until(lambda: {line["state"] for line in lines(daemon.health())} == {"up"})
            again = await silent_until(lambda: waiting(daemon.health()) > 1, reflector)
            assert not handler.taken
            assert not hook.requests
            mended_unix_s = time.time()
            await until(lambda: "over" in "".join(message["Subject"] for message in handler.taken))
            await until(lambda: daemon.health()["notices"] == {"waiting": 0, "oldest_unix_s": None})
        async with running(path):
            await asyncio.sleep(0.5)
        again.close()
    told = [json.loads(body) for body in hook.bodies]
    made_unix_s = [instant_from_text(one["made"]) / 1e9 for one in told]
    assert made_unix_s == sorted(made_unix_s)
    assert made_unix_s[0] < mended_unix_s < made_unix_s[-1]
    dates_unix_s = [parsedate_to_datetime(message["Date"]).timestamp() for message in handler.taken]
    assert dates_unix_s == [math.floor(made) for made in made_unix_s]
    assert len({message["Message-ID"] for message in handler.taken}) == len(handler.taken)
    kinds = [one["kind"] for one in told]
    assert (kinds[0], kinds[-1], len(kinds)) == ("began", "ended", len(handler.taken))
    assert all("wanwatch=" in headers["Signature"] for _, headers, _ in hook.requests)
    kept = posts(tmp_path)
    assert {(post.state, post.tries) for post in kept} == {(PostState.TAKEN, 1)}
    assert len(kept) == 2 * len(kinds)


async def test_a_letter_leaves_by_the_pin_of_a_line(
    tmp_path: Path, reflector: StampReflector, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server sees the line's own address; what one line refuses is tried by the other, and its word is kept."""
    monkeypatch.setattr("wanwatch.publish.notices.courier.LOOK_EVERY_S", 0.1)
    handler = Handler(to_rcpt=["550 5.1.1 nobody of that name"])
    async with mail_server(handler) as (port, _):
        path = office(tmp_path, reflector.port, extra=f"[[notice]]\n{MAIL}{smtp(port)}")
        async with running(path) as daemon:
            await until(lambda: {line["state"] for line in lines(daemon.health())} == {"up"})
            await asyncio.to_thread(put_in_outbox, tmp_path / "data" / "wanwatch.sqlite", SITE, post_to())
            await until(lambda: len(refused(tmp_path)) > 0)
            # It came no further than RCPT, by either line (RFC 5321): a dozen packets, and some words.
            told: Any = daemon.health()["data"]
            assert all(700 < row["purposes"]["notices"] < 3000 for row in told)
    assert handler.seen_from == ["127.20.0.11", "127.20.0.12"]
    assert {post.word for post in refused(tmp_path)} == {"550 5.1.1 nobody of that name"}


async def test_a_month_s_report_is_sent_once_when_it_is_written(tmp_path: Path, reflector: StampReflector) -> None:
    """With a mail the page goes along; a report from before the address was known is no news."""
    handler, folder = Handler(), tmp_path / "data" / "reports"
    folder.mkdir(parents=True)
    for name in ("2026-09.html", "2026-09.json"):
        (folder / name).write_text("{}")
        os.utime(folder / name, (1_790_000_000, 1_790_000_000))
    async with mail_server(handler) as (port, _):
        path = office(tmp_path, reflector.port, extra=f"[[notice]]\n{MAIL}{SOON}report = true\n{smtp(port)}")
        async with running(path) as daemon:
            await asyncio.sleep(0.3)
            (folder / "2026-10.json").write_text("{}")
            daemon._noticing._news.set()
            await asyncio.sleep(0.3)
            (folder / "2026-10.html").write_text("<p>October</p>")
            daemon._noticing._news.set()
            await until(lambda: bool(handler.taken))
            daemon._noticing._news.set()
            await asyncio.sleep(0.3)
    (message,) = handler.taken
    (attached,) = message.iter_attachments()
    assert attached.get_filename() == "2026-10.html"
    assert attached.get_content().strip() == "<p>October</p>"


async def test_a_reload_tries_at_once_what_settings_held_up(tmp_path: Path, reflector: StampReflector) -> None:
    """Wrong settings put letters off for long; who mends them need not wait. An address that is gone gets nothing."""
    handler = Handler()
    async with mail_server(handler) as (port, _):
        hopeless = smtp(port).replace('security = "none"', 'security = "starttls"')
        path = office(tmp_path, reflector.port, extra=f"[[notice]]\n{MAIL}{SOON}{hopeless}")
        async with running(path) as daemon:
            await until(lambda: {line["state"] for line in lines(daemon.health())} == {"up"})
            again = await silent_until(lambda: waiting(daemon.health()) > 0, reflector)
            await until(lambda: any("STARTTLS" in post.word for post in posts(tmp_path)))
            path.write_text(path.read_text().replace("starttls", "none"))
            await daemon.reload()
            await until(lambda: len(handler.taken) > 1)
            path.write_text(path.read_text().partition("[[notice]]")[0])
            await daemon.reload()
            assert daemon.health()["notices"] is None
            names = {sample.name for family in daemon._metrics.registry.collect() for sample in family.samples}
            assert "wanwatch_notices_pending" not in names
        again.close()


async def test_changes_that_come_at_once_leave_one_courier(tmp_path: Path, reflector: StampReflector) -> None:
    """A reload and a budget that runs out may meet; two couriers would bring each letter twice."""
    path = office(
        tmp_path, reflector.port, extra=f"[[notice]]\n{MAIL}{SOON}{smtp(9)}[ping]\nurl = 'http://{FAR_AWAY}:9/'"
    )
    async with running(path) as daemon:
        path.write_text(path.read_text().replace("300ms", "400ms").replace(":9/", ":9/other"))
        daemon._config = load(path)
        await asyncio.gather(daemon._probe(), daemon._probe())
        at_work = [str(getattr(task.get_coro(), "__qualname__", "")) for task in asyncio.all_tasks()]
        assert [at_work.count(f"{one}.run") for one in ("Courier", "Pinger")] == [1, 1]


async def test_a_letter_that_a_command_has_put_there_is_found_and_sent(
    tmp_path: Path, reflector: StampReflector, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As `wanwatch notices --test` does, beside the running daemon."""
    monkeypatch.setattr("wanwatch.publish.notices.courier.LOOK_EVERY_S", 0.1)
    handler = Handler()
    async with mail_server(handler) as (port, _):
        path = office(tmp_path, reflector.port, extra=f"[[notice]]\n{MAIL}{smtp(port)}")
        async with running(path):
            await until((tmp_path / "data" / "wanwatch.sqlite").exists)
            await asyncio.sleep(0.5)
            await asyncio.to_thread(put_in_outbox, tmp_path / "data" / "wanwatch.sqlite", SITE, post_to())
            await until(lambda: bool(handler.taken))
    assert handler.taken[0]["Subject"] == "letter 1"
    assert [post.state for post in posts(tmp_path)] == [PostState.TAKEN]


async def test_a_letter_to_an_address_that_is_not_configured_any_more_is_settled(
    tmp_path: Path, reflector: StampReflector
) -> None:
    """It would wait for ever otherwise."""
    path = office(tmp_path, reflector.port, extra=f"[[notice]]\n{MAIL}{smtp(9)}")
    config = load(path, {})
    noticing = Noticing.__new__(Noticing)
    noticing._config, noticing._addresses = config, {}
    sent = await noticing._send(post_to("mailto:gone@example.net"), line())
    assert (sent.answer.value, sent.why) == ("refused", "the address is not in the configuration any more")


def waiting(health: dict[str, Any]) -> int:
    return int(health["notices"]["waiting"])


def lines(health: dict[str, Any]) -> list[dict[str, Any]]:
    return list(health["uplinks"])


def posts(folder: Path) -> list[Any]:
    with SqliteRecord(folder / "data" / "wanwatch.sqlite") as record:
        return list(record.posts(SITE))


def refused(folder: Path) -> list[Any]:
    return [post for post in posts(folder) if post.state is PostState.REFUSED]
