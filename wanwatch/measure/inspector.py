"""The inspector: asks every resolver now and then what shows how it resolves, and tells each round as a whole.

Sources: RFC 6761 section 6.4 (`invalid`); RFC 6840 section 5.7 (AD in a query asks for AD in the answer).
"""

import asyncio
import secrets
from collections.abc import Callable, Iterator, Sequence
from typing import Final

import dns.flags
import dns.message
import dns.rcode

from wanwatch.core.model import NS_PER_S
from wanwatch.core.ports import Clock
from wanwatch.core.resolver import Resolver
from wanwatch.core.resolving import KINDS, LABELS, RANDOM, Inspection, NamesAnswer, NamesSeen
from wanwatch.measure import names
from wanwatch.measure.attempt import Finding
from wanwatch.measure.resolvers import Way, ask
from wanwatch.measure.stream import CannotSendError

_LABEL_BYTES: Final = 10


class Inspector:
    """Asks inspections in rounds. Resolvers are asked side by side, each one question after the other.

    Create it inside a running event loop.

    Args:
        clock: Where time comes from.
        tell: Called in the event loop with each round; must not block.
    """

    def __init__(self, clock: Clock, tell: Callable[[NamesSeen], None]) -> None:
        self._clock = clock
        self._tell = tell
        self._asked: tuple[Inspection, ...] = ()
        self._task: asyncio.Task[None] | None = None

    async def apply(self, inspections: Sequence[Inspection]) -> None:
        """Ask these from now on, the first round at once; what is asked already goes on undisturbed."""
        if tuple(inspections) == self._asked:
            return
        await self.close()
        self._asked = tuple(inspections)
        if self._asked:
            self._task = asyncio.create_task(self._go_on())

    async def close(self) -> None:
        """Stop at once; a round under way is not told."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._task = None
        self._asked = ()

    async def _go_on(self) -> None:
        every_ns = min(one.question.every_ns for one in self._asked)
        due_ns = self._clock.now_ns()
        number = 0
        while True:
            # A resolver on a metered line takes part in some of the rounds only.
            asked = [one for one in self._asked if number % (one.question.every_ns // every_ns) == 0]
            await self._round(asked)
            number += 1
            due_ns = max(due_ns + every_ns, self._clock.now_ns())
            await asyncio.sleep((due_ns - self._clock.now_ns()) / NS_PER_S)

    async def _round(self, asked: Sequence[Inspection]) -> None:
        by_resolver: dict[tuple[str, str], list[Inspection]] = {}
        for one in asked:
            by_resolver.setdefault((one.question.series.uplink, one.question.series.target), []).append(one)
        answers = await asyncio.gather(*(self._of_one(mine) for mine in by_resolver.values()))
        told = tuple(answer for mine in answers for answer in mine)
        self._tell(NamesSeen(self._clock.now_ns(), self._clock.now_unix_ns(), told))

    async def _of_one(self, inspections: Sequence[Inspection]) -> list[NamesAnswer]:
        return [await self._answer(one, name, kind) for one in inspections for name, kind in _questions(one)]

    async def _answer(self, one: Inspection, name: str, kind: str) -> NamesAnswer:
        question = one.question
        resolver = question.resolver or Resolver(question.address, question.port or names.PORT)
        query = names.question(name, kind)
        query.flags |= dns.flags.AD
        told = (question.series.uplink, question.series.target, one.purpose, name)
        try:
            async with asyncio.timeout(question.timeout_ns / NS_PER_S):
                reply = await ask(Way(question.pin, resolver, self._clock, question.ca_file), query)
        except (OSError, TimeoutError, CannotSendError):
            return NamesAnswer(*told, None)
        if isinstance(reply, Finding) or not query.is_response(reply):
            return NamesAnswer(*told, None)
        found = tuple(sorted(names.addresses(query, reply)))
        return NamesAnswer(*told, dns.rcode.to_text(reply.rcode()), found, bool(reply.flags & dns.flags.AD))


def _questions(one: Inspection) -> Iterator[tuple[str, str]]:
    """Give the names and kinds of record to ask for."""
    name = one.question.ask or "."
    if one.purpose not in RANDOM:
        yield name, KINDS[0]
        return
    for _ in range(LABELS):
        random = f"{secrets.token_hex(_LABEL_BYTES)}.{name}"
        yield from ((random, kind) for kind in KINDS)
