"""Noticing: tells people. Letters are put into the outbox first; the courier brings them by whichever line works."""

import asyncio
import logging
import sqlite3
from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from typing import Final

from wanwatch.config import Config
from wanwatch.config.noticing import Notice
from wanwatch.config.plan import ca_file, store_path
from wanwatch.core.databudget import Purpose
from wanwatch.core.model import NS_PER_S, Effect, Json, State, StateChanged, Tell
from wanwatch.core.notices import Answer, Post, PostState, Sent, known_since
from wanwatch.core.ports import Clock
from wanwatch.daemon.letters import letters_due
from wanwatch.daemon.lines import Lines
from wanwatch.publish.notice_metrics import NoticeMetrics
from wanwatch.publish.notices.courier import Courier
from wanwatch.publish.notices.mail import MailServer, send_mail
from wanwatch.publish.notices.webhook import Hook, post_facts
from wanwatch.publish.ways import Line
from wanwatch.store import NoRecordError, SqliteKeeper, SqliteRecord, StoreError
from wanwatch.store.last_run import recalled

log = logging.getLogger("wanwatch")

KNOWN: Final = "notices"
"""Under what it is remembered since when each address has been known."""
LOOK_EVERY_S: Final = 60.0
_AGAIN: Final = 5
"""How often the wait is doubled before looking every minute is often enough."""
_PAUSES: Final = 10
"""So many times as long as a look took nobody looks again."""
_A_MOMENT_NS: Final = NS_PER_S // 10


class Noticing:
    """Everything that is told to people.

    Args:
        clock: Where time comes from.
        keeper: Where letters are kept.
        lines: Which lines work.
        metrics: Where machines see what waits.
    """

    def __init__(self, clock: Clock, keeper: SqliteKeeper, lines: Lines, metrics: NoticeMetrics) -> None:
        self._clock, self._keeper, self._lines, self._metrics = clock, keeper, lines, metrics
        self._config: Config | None = None
        self._addresses: dict[str, Notice] = {}
        self._since: dict[str, int] = {}
        self._courier: Courier | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._news = asyncio.Event()
        self._due_ns: set[int] = set()
        self._read: Sequence[Post] = ()
        self._settled: Sequence[Post] = ()
        self._waiting: tuple[int, int | None] = (0, None)
        self._well = True

    async def apply(self, config: Config) -> None:
        """Tell as this configuration says from now on; letters that wait are tried at once after a change."""
        if config == self._config:
            return
        before = self._config
        await self.close()
        self._config, self._addresses = config, {table.to: table for table in config.notices}
        if not config.notices:
            self._metrics.forget_waiting()
            return
        path, site = store_path(config), config.site.name
        remembered = self._since or recalled(path, site, KNOWN)
        self._since = known_since(dict(remembered) if isinstance(remembered, dict) else None,
                                  self._addresses, self._clock.now_unix_ns())  # fmt: skip
        self._keeper.remember(KNOWN, dict(self._since))
        self._courier = Courier(
            self._keeper, self._in_the_outbox, self._send,
            lines=partial(self._lines.not_down, Purpose.NOTICES), show=self._show, clock=self._clock,
            at_once=before is not None, settled=self._settled,
        )  # fmt: skip
        self._tasks = [asyncio.create_task(self._run(config)), asyncio.create_task(self._courier.run())]

    async def close(self) -> None:
        """Stop; what is about to be answered is waited for briefly, and the rest is kept for the next start."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._settled = self._courier.settled if self._courier is not None else self._settled
        self._config, self._courier, self._tasks, self._read = None, None, [], ()

    def heed(self, effect: Effect) -> None:
        """Look at once at what has happened, and again when it has lasted long enough to be told."""
        match effect:
            case Tell(event):
                self._news.set()
                for table in self._addresses.values():
                    self._look_at(event.start.estimate_unix_ns + table.begin_after_ns)
                    if event.end is not None:
                        # What came again after its end was told waits twice as long each time.
                        for again in range(_AGAIN):
                            self._look_at(event.end.estimate_unix_ns + (table.end_after_ns << again))
            case StateChanged(state=State.UP | State.IMPAIRED) if self._courier is not None:
                self._courier.line_came()

    def to_json(self) -> dict[str, Json] | None:
        """What waits, as `/health` shows it; None where nobody is to be told anything."""
        number, oldest_unix_ns = self._waiting
        oldest_unix_s = None if oldest_unix_ns is None else oldest_unix_ns / NS_PER_S
        return None if self._courier is None else {"waiting": number, "oldest_unix_s": oldest_unix_s}

    def _look_at(self, unix_ns: int) -> None:
        wait_ns = unix_ns - self._clock.now_unix_ns()
        if wait_ns > 0:
            # To the whole second, so that a line that flaps does not pile up instants.
            due_ns = self._clock.now_ns() + wait_ns + _A_MOMENT_NS
            self._due_ns.add(due_ns + -due_ns % NS_PER_S)

    async def _run(self, config: Config) -> None:
        while True:
            self._news.clear()
            now_ns = self._clock.now_ns()
            self._due_ns = {due_ns for due_ns in self._due_ns if due_ns > now_ns}
            await self._look(config)
            # Where thousands of events are read, as of a line that flaps for days, probing comes first.
            await asyncio.sleep(min(_PAUSES * (self._clock.now_ns() - now_ns) / NS_PER_S, LOOK_EVERY_S))
            now_ns = self._clock.now_ns()
            first_s = min(((due_ns - now_ns) / NS_PER_S for due_ns in self._due_ns), default=LOOK_EVERY_S)
            with suppress(TimeoutError):
                await asyncio.wait_for(self._news.wait(), max(0.0, min(first_s, LOOK_EVERY_S)))

    async def _look(self, config: Config) -> None:
        try:
            due = await asyncio.to_thread(letters_due, config, self._since, self._clock.now_unix_ns())
        except NoRecordError:  # it is just being made
            return
        except (StoreError, sqlite3.Error, OSError) as error:
            if self._well:
                log.warning("notices: nothing can be told: %s", error)
            self._well = False
            return
        except Exception:  # what cannot be told must not keep what can be told later
            log.exception("notices: a fault of this program")
            return
        self._well = True
        for post in due:
            await self._keeper.post(post)
        if due and self._courier is not None:
            self._courier.wake()

    async def _in_the_outbox(self) -> Sequence[Post]:
        assert self._config is not None  # noqa: S101  # a courier is at work
        path, site = store_path(self._config), self._config.site.name

        def read() -> Sequence[Post]:
            with SqliteRecord(path) as record:
                return record.posts(site, state=PostState.WAITING)

        with suppress(StoreError, sqlite3.Error):  # as it was known before; the keeper tells of trouble with the disk
            self._read = await asyncio.to_thread(read)
        return self._read

    async def _send(self, post: Post, line: Line) -> Sent:
        config, table = self._config, self._addresses.get(post.letter.to)
        if config is None or table is None:
            return Sent(Answer.REFUSED, "the address is not in the configuration any more")
        if not table.to.startswith("mailto:"):
            secret = table.secret.get_secret_value() if table.secret else None
            return await post_facts(Hook(secret, ca_file(config)), post, line, self._clock)
        return await send_mail(_mail_server(config), post, line)

    def _show(self, number: int, oldest_unix_ns: int | None) -> None:
        self._waiting = number, oldest_unix_ns
        self._metrics.waiting(number, oldest_unix_ns)


def _mail_server(config: Config) -> MailServer:
    smtp = config.smtp
    assert smtp is not None  # noqa: S101  # the configuration was checked for it
    return MailServer(
        host=smtp.host,
        port=smtp.port,
        security=smtp.security,
        sender=smtp.sender,
        user=smtp.user,
        password=smtp.password.get_secret_value() if smtp.password else None,
        ca_file=smtp.ca_file or config.site.authorities,
    )
