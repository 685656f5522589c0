"""The fault ladder: which rung, nearest first, does not answer."""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from wanwatch.core.judge.evidence import NEVER, Voice
from wanwatch.core.model import Domain, LinkSeen

ANSWERED: Final = "answered"
SILENT: Final = "silent"
UNKNOWN: Final = "unknown"

RUNGS: Final = {
    "interface": Domain.OUR_SIDE,
    "gateway": Domain.GATEWAY,
    "first-hop": Domain.ACCESS_LINE,
    "resolver": Domain.PROVIDER,
    "far-targets": Domain.FAR_END,
}
"""The rungs, nearest first, with the domain at fault if a rung is the first that does not answer."""


class Rung(NamedTuple):
    """What one rung said since the outage began, with its last sends of both sorts (monotonic; None for none).

    Attributes:
        because: Of our own interface: what is wrong with it.
        alive_ns: The send at which it turned from silence to answering, if it answers.
    """

    name: str
    said: str
    answered_ns: int | None
    silent_ns: int | None
    because: str | None = None
    alive_ns: int | None = None


class Finding(NamedTuple):
    """The domain, or the domains between which the evidence cannot tell."""

    domain: Domain | None
    may_be: tuple[Domain, ...] = ()


def of_voices(name: str, voices: Iterable[Voice], since_ns: int) -> Rung:
    """Return the rung that *voices* stand for: it answers if the last word of any of them since *since_ns* was life.

    A gateway, hop or resolver that was never heard to answer may just not answer probes: its silence says nothing.
    """
    since = [voice for voice in voices if max(voice.life_ns, voice.silent_ns) >= since_ns]
    if name != "far-targets":
        since = [voice for voice in since if voice.life_ns != NEVER]
    life_ns = max((voice.life_ns for voice in since), default=NEVER)
    silent_ns = max((voice.silent_ns for voice in since), default=NEVER)
    said = UNKNOWN if not since else ANSWERED if any(voice.answers for voice in since) else SILENT
    alive_ns = min((voice.alive_ns for voice in since if voice.answers), default=None)
    answered_ns, unanswered_ns = (None if at_ns == NEVER else at_ns for at_ns in (life_ns, silent_ns))
    return Rung(name, said, answered_ns, unanswered_ns, alive_ns=alive_ns)


def of_link(link: LinkSeen | None, lines: Iterable[Voice], since_ns: int) -> Rung:
    """Return the rung of our own interface: from what the kernel says of it, and from probes that could not leave."""
    trouble = None if link is None else _trouble(link)
    ours_ns = max((voice.ours_ns for voice in lines if voice.ours_ns == voice.silent_ns), default=NEVER)
    if ours_ns >= since_ns:
        return Rung("interface", SILENT, None, ours_ns, trouble or "cannot-send")
    if link is None:
        return Rung("interface", UNKNOWN, None, None)
    if trouble is None:
        return Rung("interface", ANSWERED, link.at_ns, None)
    return Rung("interface", SILENT, None, link.at_ns, trouble)


def _trouble(link: LinkSeen) -> str | None:
    if not link.enabled:
        return "set-down"  # by somebody, or by a program; a cable that is out says no-carrier
    if not link.carrier:
        return "no-carrier"
    return None if link.address else "no-address"


def climb(rungs: Sequence[Rung]) -> Finding:
    """Return what the first silent one of *rungs*, nearest first, says.

    Unknown rungs directly before it leave open on which of them it broke; then no domain is named. A nearer rung
    that is silent or unknown does not matter once a farther one answers.
    """
    if mending(rungs):
        return Finding(None)
    may_be: list[Domain] = []
    last_answer = max((at for at, rung in enumerate(rungs) if rung.said == ANSWERED), default=-1)
    for rung in rungs[last_answer + 1 :]:
        may_be.append(RUNGS[rung.name])
        if rung.said == SILENT:
            return Finding(may_be[0]) if len(may_be) == 1 else Finding(None, tuple(may_be))
    return Finding(None)


def mending(rungs: Sequence[Rung]) -> bool:
    """Whether the farthest rung that answers came to do so after all silence beyond it that is known by now.

    Where a line comes back its nearest rungs show it first, and that does not put the break beyond them.
    """
    last_answer = max((at for at, rung in enumerate(rungs) if rung.said == ANSWERED), default=-1)
    if last_answer < 0 or rungs[last_answer].alive_ns is None:
        return False
    silent_ns = max((rung.silent_ns for rung in rungs[last_answer + 1 :] if rung.silent_ns is not None), default=None)
    return silent_ns is not None and silent_ns < (rungs[last_answer].alive_ns or 0)
