"""The daemon is killed between a receiver's word that it has a letter and the keeping of that word."""

import asyncio
import contextlib
import signal
import sqlite3
import sys
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import trustme
from aiohttp import web
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.publish.notices.hook_server import Answering, hook_server
from tests.publish.notices.mail_server import Handler, mail_server
from tests.publish.notices.posts import MAIL, post_to
from tests.test_daemon import FAR_AWAY, office
from tests.test_daemon_noticing import SITE, posts, smtp, until
from wanwatch.config import load
from wanwatch.core.notices import PostState
from wanwatch.reflector import StampReflector
from wanwatch.store.announcing import put_in_outbox
from wanwatch.web.ask import ask_health

LETTERS = 3
FATAL = 2
"""After the word about this one nothing can be kept."""


@dataclass
class Held:
    """Holds the record as a writer does, so that nobody else can write, from the fatal letter until it is let go."""

    path: Path
    heard: int = 0
    held: sqlite3.Connection | None = None

    def hear(self) -> None:
        """Count a letter."""
        self.heard += 1
        if self.heard == FATAL:
            self.held = sqlite3.connect(self.path, timeout=5, isolation_level=None)
            self.held.execute("BEGIN IMMEDIATE")

    def let_go(self) -> None:
        """Let others write."""
        assert self.held is not None
        self.held.close()


@dataclass
class HoldingMail(Handler):
    """A mail server that holds the record before it says 250."""

    held: Held = field(kw_only=True)

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802 - its name
        """Take a message."""
        self.held.hear()
        return await super().handle_DATA(server, session, envelope)


class HoldingHook(Answering):
    """A webhook that holds the record before it says 204."""

    def __init__(self, held: Held) -> None:
        super().__init__(204)
        self.held = held

    async def handle(self, request: web.Request) -> web.Response:
        """Take one request."""
        self.held.hear()
        return await super().handle(request)


@contextlib.asynccontextmanager
async def daemon(path: Path) -> AsyncIterator[asyncio.subprocess.Process]:
    """One in a process of its own, killed at the end."""
    process = await asyncio.create_subprocess_exec(sys.executable, "-m", "wanwatch", "run", str(path))
    try:
        yield process
    finally:
        process.send_signal(signal.SIGKILL)
        await process.wait()


@contextlib.asynccontextmanager
async def receiver(kind: str, folder: Path, held: Held) -> AsyncIterator[tuple[str, str, HoldingMail | HoldingHook]]:
    """Whom letters are sent to: the address, what the configuration says of it, and what came."""
    authority, hook, mail = trustme.CA(), HoldingHook(held), HoldingMail(held=held)
    authority.cert_pem.write_to_path(folder / "ca.pem")
    async with mail_server(mail) as (port, _), hook_server(hook, authority, "127.0.0.1") as url:
        yield (MAIL, smtp(port), mail) if kind == "mail" else (url, "", hook)


def names(came: HoldingMail | HoldingHook) -> list[str]:
    """By what a receiver knows letters, in the order in which they came."""
    if isinstance(came, HoldingMail):
        return [str(message["Message-ID"]) for message in came.taken]
    return [headers["Idempotency-Key"] for _, headers, _ in came.requests]


@pytest.mark.parametrize("kind", ["mail", "webhook"])
async def test_a_letter_whose_receipt_could_not_be_kept_comes_again_by_the_same_name_and_no_other_does(
    kind: str, tmp_path: Path
) -> None:
    """RFC 5322 section 3.6.4 (Message-ID), the draft of Idempotency-Key: so its receiver can tell."""
    record, far = tmp_path / "data" / "wanwatch.sqlite", StampReflector(FAR_AWAY, 0)
    async with receiver(kind, tmp_path, Held(record)) as (to, said, came):
        path = office(tmp_path, far.port, extra=f'[[notice]]\nto = "{to}"\n{said}')
        path.write_text(path.read_text().replace("[site]\n", '[site]\nauthorities = "ca.pem"\n'))
        listen = load(path).listen
        for number in range(LETTERS):
            put_in_outbox(record, SITE, post_to(to, number=number))

        def known_as_taken() -> bool:
            health = ask_health(listen.address, listen.port, tmp_path)
            return health is not None and health["notices"]["waiting"] == LETTERS - FATAL  # type: ignore[call-overload, index]

        async with daemon(path):
            async with asyncio.timeout(20):
                while came.held.held is None or not await asyncio.to_thread(known_as_taken):  # noqa: ASYNC110
                    await asyncio.sleep(0.05)
            assert [post.state for post in posts(tmp_path)].count(PostState.WAITING) == LETTERS - FATAL + 1
        came.held.let_go()
        async with daemon(path):
            await until(lambda: {post.state for post in posts(tmp_path)} == {PostState.TAKEN})
    first, fatal, again, last = names(came)
    assert fatal == again
    assert len({first, fatal, last}) == LETTERS == len(posts(tmp_path))
    far.close()
