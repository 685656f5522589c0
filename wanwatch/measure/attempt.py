"""One question over a connection: bounded by its waiting time, and told as the one sample that it gives."""

import asyncio
import errno
import ssl
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from wanwatch.core.model import NS_PER_S, Cause, Json, Outcome, Question, Sample
from wanwatch.core.ports import Clock
from wanwatch.measure.lane import Ground
from wanwatch.measure.sockets import not_sent_cause
from wanwatch.measure.stream import CannotSendError

_REFUSALS: Final = {
    errno.ECONNREFUSED: Cause.RESET,
    errno.ECONNRESET: Cause.RESET,
    errno.EPIPE: Cause.RESET,
    errno.ENETUNREACH: Cause.NET_UNREACHABLE,
    errno.EPROTO: Cause.PROHIBITED,
    errno.EACCES: Cause.PROHIBITED,
}


class Finding(NamedTuple):
    """What came of a question, and why."""

    outcome: Outcome
    cause: Cause | None = None


@dataclass(slots=True)
class Attempt:
    """One question as it goes on.

    Attributes:
        question: What is asked.
        clock: Where time comes from.
        facts: What has been learnt so far.
    """

    question: Question
    clock: Clock
    facts: dict[str, Json] = field(default_factory=dict)

    async def silence(self) -> Finding:
        """Wait out the waiting time: what came was no answer, and none will come."""
        await asyncio.Event().wait()
        return Finding(Outcome.LOST)


Probe = Callable[[Attempt], Awaitable[Finding]]


async def run(ground: Ground, question: Question, probe: Probe) -> None:
    """Ask *question* once with *probe* and tell the one sample that it gives, within its waiting time."""
    attempt = Attempt(question, ground.clock)
    sent_ns, sent_unix_ns = ground.clock.now_ns(), ground.clock.now_unix_ns()
    finding = await _bounded(attempt, probe)
    known_ns = ground.clock.now_ns()
    if finding.outcome is Outcome.LOST:
        known_ns = sent_ns + question.timeout_ns
    timed = finding.outcome in (Outcome.ANSWERED, Outcome.REFUSED)
    rtt_ns = known_ns - sent_ns if timed else None
    said = (question.series, sent_ns, sent_unix_ns, known_ns, finding.outcome, rtt_ns, finding.cause)
    ground.tell(Sample(*said, facts=attempt.facts or None))


async def _bounded(attempt: Attempt, probe: Probe) -> Finding:
    question = attempt.question
    try:
        async with asyncio.timeout(question.timeout_ns / NS_PER_S):
            try:
                return await probe(attempt)
            except CannotSendError as error:
                return Finding(Outcome.NOT_SENT, not_sent_cause(error.error, question.pin))
            except ssl.SSLError:
                return Finding(Outcome.REFUSED, Cause.TLS)
            except OSError as error:
                cause = _REFUSALS.get(error.errno or 0)
                if cause is not None:
                    return Finding(Outcome.REFUSED, cause)
                # No host: our own kernel found no neighbour, or somebody says what silence says. Wait it out.
                return await attempt.silence()
    except TimeoutError:
        return Finding(Outcome.LOST)
