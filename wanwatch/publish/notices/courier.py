"""The courier: takes letters out of the outbox and brings each to its receiver, by whichever line works.

Letters to one receiver go one after the other, in the order in which they were made; receivers do not wait for each
other. A letter is over once it is taken or refused, and that is kept before the next one is sent. Who is killed between
the receiver's word and the keeping of it sends that one letter again, under the same id.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Final, TypeAlias

from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices import Answer, Outbox, Post, PostState, Sent, answered
from wanwatch.core.notices.post import LONGEST_PAUSE_NS
from wanwatch.core.ports import Clock
from wanwatch.core.shown import shown
from wanwatch.publish.ways import Line, trouble

log = logging.getLogger("wanwatch")

Send: TypeAlias = Callable[[Post, Line], Awaitable[Sent]]
"""Tries once by one line. Returns what the receiver said; OSError where it said nothing."""

LOOK_EVERY_S: Final = 10.0
"""A letter may be put there by a command beside the daemon."""
GRACE_S: Final = 0.3
"""At the end, for a receiver that is about to answer."""


class Courier:
    """Brings the letters of one outbox.

    Args:
        outbox: Where what became of a letter is kept.
        waiting: Returns what waits in the outbox, in the order of making; never raises.
        send: How a letter is sent.
        lines: The lines to try now, best first; empty while all are down.
        show: Is told how many letters wait, and when the oldest of them was made (Unix nanoseconds; None: none waits).
        clock: Where time comes from.
        at_once: Whether pauses from before are cut short: a person has just mended something.
        settled: What a former courier has settled, though that may not be on the disk yet.
    """

    def __init__(
        self,
        outbox: Outbox,
        waiting: Callable[[], Awaitable[Sequence[Post]]],
        send: Send,
        *,
        lines: Callable[[], Sequence[Line]],
        show: Callable[[int, int | None], None],
        clock: Clock,
        at_once: bool = False,
        settled: Iterable[Post] = (),
    ) -> None:
        self._outbox, self._read, self._send = outbox, waiting, send
        self._lines, self._show, self._clock, self._at_once = lines, show, clock, at_once
        self._news, self._line_news = asyncio.Event(), asyncio.Event()
        self._waiting: dict[str, list[Post]] = {}
        self._known = {post.letter.id: post for post in settled}
        self._asked_to_wait: set[str] = set()
        self._rounds: dict[str, asyncio.Task[None]] = {}
        self._under_way: set[str] = set()
        self._troubled: set[str] = set()
        self._leaving = False

    @property
    def settled(self) -> list[Post]:
        """What it has settled, as far as the disk may not know of it."""
        return [post for post in self._known.values() if post.state is not PostState.WAITING]

    def wake(self) -> None:
        """Look into the outbox: a letter was put there."""
        self._news.set()

    def line_came(self) -> None:
        """Try at once what waits for a line: one has come up."""
        self._line_news.set()
        self._line_news.clear()

    async def run(self) -> None:
        """Bring letters for good; ends by being cancelled, with what is about to be answered."""
        try:
            while True:
                self._news.clear()
                try:
                    await self._look()
                except Exception:  # whoever falls silent here would not even be missed
                    log.exception("notices: a fault of this program; the outbox is looked into again")
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._news.wait(), LOOK_EVERY_S)
        finally:
            await self._end()

    async def _look(self) -> None:
        found = await self._read()
        if self._at_once:
            found, self._at_once = [replace(post, next_try_unix_ns=0) for post in found], False
        # What became of a letter may not be on the disk yet: it is known here until it is.
        self._known = {post.letter.id: self._known.get(post.letter.id, post) for post in found}
        self._asked_to_wait &= self._known.keys()
        self._sort()
        for to in self._waiting:
            if to not in self._rounds or self._rounds[to].done():
                self._rounds[to] = asyncio.create_task(self._round(to))

    async def _round(self, to: str) -> None:
        """Bring what waits for one receiver."""
        while not self._leaving and self._waiting.get(to):
            post = self._waiting[to][0]
            await self._until_due(post)
            if not self._lines():
                await self._line_or(LOOK_EVERY_S)
            elif self._known.get(post.letter.id) is post:
                await self._bring(post)

    async def _until_due(self, post: Post) -> None:
        wait_ns = post.next_try_unix_ns - self._clock.now_unix_ns()
        # After the wall clock was set back, nothing waits for it to catch up.
        wait_s = min(max(0, wait_ns), LONGEST_PAUSE_NS) / NS_PER_S
        if post.letter.id in self._asked_to_wait:
            await asyncio.sleep(wait_s)
        elif wait_s:
            await self._line_or(wait_s)

    async def _line_or(self, seconds: float) -> None:
        with suppress(TimeoutError):
            await asyncio.wait_for(self._line_news.wait(), seconds)

    async def _bring(self, post: Post) -> None:
        to = post.letter.to
        self._under_way.add(to)
        try:
            sent, uplink = await self._by_any_line(post)
            after = answered(post, sent, self._clock.now_unix_ns(), uplink)
            self._note(after)
            # Being stopped now must not make us forget: what the receiver has taken is not sent again.
            await asyncio.shield(self._outbox.post(after))
        finally:
            self._under_way.discard(to)

    def _note(self, after: Post) -> None:
        self._known[after.letter.id] = after
        self._sort()
        self._say(after)

    async def _by_any_line(self, post: Post) -> tuple[Sent, str | None]:
        """Try by one line after the other; what a receiver says weighs more than that nobody answered elsewhere."""
        said: Sent | None = None
        silence = Sent(Answer.AGAIN, "no line is up")
        for line in self._lines():
            try:
                sent = await self._send(post, line)
            except OSError as error:
                silence = Sent(Answer.AGAIN, f"by {line.name}: {trouble(error)}")
                continue
            except Exception:  # one letter that cannot be sent must not keep the others
                log.exception("a letter to %s could not be sent", named(post.letter.to))
                silence = Sent(Answer.AGAIN, "a fault of this program; its log has more")
                continue
            if sent.answer is Answer.TAKEN:
                return sent, line.name
            if said is None or said.answer is Answer.REFUSED:
                said = sent
        if said is not None and said.answer is Answer.AGAIN:
            self._asked_to_wait.add(post.letter.id)
        else:
            self._asked_to_wait.discard(post.letter.id)
        return said or silence, None

    def _sort(self) -> None:
        waiting = [post for post in self._known.values() if post.state is PostState.WAITING]
        self._waiting = {}
        for post in waiting:
            self._waiting.setdefault(post.letter.to, []).append(post)
        self._show(len(waiting), min((post.notice.made_unix_ns for post in waiting), default=None))

    def _say(self, after: Post) -> None:
        to = after.letter.to
        if after.state is PostState.REFUSED:
            log.warning("notices to %s: one was refused, and is not sent again: %s", named(to), after.word)
        elif after.state is PostState.WAITING and to not in self._troubled:
            self._troubled.add(to)
            log.warning("notices to %s: %s; they are kept, and it is tried again", named(to), after.word)
        elif after.state is PostState.TAKEN and to in self._troubled:
            self._troubled.discard(to)
            log.warning("notices to %s: they arrive again", named(to))

    async def _end(self) -> None:
        self._leaving = True
        tasks = list(self._rounds.values())
        busy = [self._rounds[to] for to in self._under_way]
        if busy:
            await asyncio.wait(busy, timeout=GRACE_S)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def named(to: str) -> str:
    """Return an address for the log; what stands behind the host of a URL may be somebody's key."""
    return shown(to).removeprefix("mailto:")
