"""Blame: where each outage broke, from the ladder of its own line and from what the other lines show meanwhile.

A ladder sees one line only. Two things are seen better from beside it:

- Lines that fall silent at once have one cause, and it is none of the providers'. At once means that all lines that
  were not down before, two at the least, have a start between whose bounds one instant can lie. It is ours then, or the
  power: unless something beyond the gateway answered on one of them, which shows that we were well; and unless they
  stand behind one gateway, and that is what fell silent.
- Far ends that answer over another line are well. Where nothing nearer is silent, it broke in the provider's network.
"""

from collections.abc import Mapping, Sequence
from typing import Final

from wanwatch.core.judge import ladder
from wanwatch.core.judge.events import Book, Draft
from wanwatch.core.judge.evidence import AHEAD, NEVER
from wanwatch.core.judge.ladder import ANSWERED, SILENT, Finding, Rung
from wanwatch.core.judge.line import Phase
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import Domain, Json

_BEYOND: Final = frozenset({"first-hop", "resolver", "far-targets"})
"""The rungs that are outside of the building: whatever answers there shows that our side and its power are well."""

_KEYS: Final = {"gateway": "gateway", "first-hop": "first_hop", "resolver": "resolvers (and [names])"}


class Blame:
    """Names the domain of outages as soon as that can be told.

    It looks once all that happened at an instant is known, so that the order of simultaneous news does not matter.
    A named domain stays: the gateway that somebody restarts to mend a dead line is not where it broke. Only a line
    that turns out to have fallen silent at the same instant may still change it.

    Args:
        uplinks: The site's uplinks, shared with the judge.
        book: Where the outages are told.
    """

    def __init__(self, uplinks: Mapping[str, Uplink], book: Book) -> None:
        self._uplinks = uplinks
        self._book = book
        self._due_ns = AHEAD

    def due_ns(self) -> int:
        """When there is something to look at; `AHEAD` if there is not."""
        return self._due_ns

    def review(self, now_ns: int) -> None:
        """Something changed: while an outage is not named, it may be nameable now."""
        if self._due_ns == AHEAD and any(map(_unnamed, self._uplinks.values())):
            self._due_ns = now_ns + 1

    def advance(self, now_ns: int) -> None:
        """Look at each outage that is not named yet."""
        if self._due_ns > now_ns:
            return
        self._due_ns = AHEAD
        # All ladders are climbed before any is judged, for one may be judged by what stands on another.
        news = {name: uplink.climb() for name, uplink in self._uplinks.items() if _unnamed(uplink)}
        for name, climbed in news.items():
            uplink = self._uplinks[name]
            outage = _unnamed(uplink)  # another line's look may have named it meanwhile
            if outage is not None:
                self._look(uplink, outage, news=climbed)

    def _look(self, uplink: Uplink, outage: Draft, *, news: bool) -> None:
        fallen = self._fallen_with(uplink)
        if fallen is None or (fallen and not all(one.heard_out for one in fallen)):
            found: Finding | None = None  # the others' silence, or what stands on their ladders, is not known yet
        elif fallen and (shared := _shared(fallen)) is not None:
            self._share(fallen, shared)
            return
        else:
            found = self._from_beside(uplink, ladder.climb(outage.ladder))
        if _put(outage, found) or news:
            self._book.tell(outage)

    def _fallen_with(self, uplink: Uplink) -> list[Uplink] | None:
        """The lines that fell silent at once with *uplink*, itself included; none if it fell alone; None: not known."""
        fall = uplink.line.fall
        others = [other for other in self._uplinks.values() if other is not uplink and not _fell_before(other, uplink)]
        falls = [other.line.fall for other in others]
        known = [one for one in (fall, *falls) if one is not None and one.life_ns != NEVER]
        if not others or len(known) <= len(others) or max(f.life_ns for f in known) > min(f.by_ns for f in known):
            return []
        if any(other.line.phase is Phase.DOUBTED for other in others):
            return None
        return [uplink, *others]

    def _share(self, fallen: Sequence[Uplink], found: Finding) -> None:
        for uplink in fallen:
            outage = uplink.outage
            if outage is None or (outage.domain is not None and "at_once" in outage.detail):
                continue
            alone = outage.domain or ladder.climb(outage.ladder).domain
            if alone is not None and alone is not found.domain:
                outage.detail["ladder_says"] = str(alone)
            outage.detail["at_once"] = [*sorted(one.name for one in fallen)]
            if _put(outage, found):
                self._book.tell(outage)

    def _from_beside(self, uplink: Uplink, found: Finding) -> Finding:
        """Take the far end out of what may be at fault, if it answers over another line."""
        may_be = found.may_be or ((found.domain,) if found.domain else ())
        if Domain.FAR_END not in may_be or uplink.line.fall is None:
            return found
        since_ns, outage = uplink.line.fall.first_ns, uplink.outage
        witnesses: list[Json] = [
            other.name
            for other in self._uplinks.values()
            if other is not uplink and other.answered_since(since_ns) & uplink.targets
        ]
        if not witnesses or outage is None:
            return found
        outage.detail["far_ends_answer_over"] = witnesses
        left = [domain for domain in may_be if domain is not Domain.FAR_END] or [Domain.PROVIDER]
        return Finding(left[0]) if len(left) == 1 else Finding(None, tuple(left))


def _unnamed(uplink: Uplink) -> Draft | None:
    outage = uplink.outage
    return outage if outage is not None and outage.domain is None and uplink.line.phase is Phase.DOWN else None


def _fell_before(other: Uplink, uplink: Uplink) -> bool:
    """Whether *other* was down already, so that nothing more could befall it."""
    if other.outage is None:
        return False
    fall, start = other.line.fall, uplink.line.fall
    return fall is None or start is None or fall.by_ns < start.life_ns or other.outage.start.fixed is not None


def _shared(fallen: Sequence[Uplink]) -> Finding | None:
    """Return what lines that fell silent at once have in common; None if each is to be judged by its own ladder."""
    ladders = [uplink.outage.ladder for uplink in fallen if uplink.outage is not None]
    if any(rung.said == ANSWERED for rungs in ladders for rung in rungs if rung.name in _BEYOND):
        return None
    gateways = set.union(*(uplink.gateways for uplink in fallen))
    if len(gateways) == 1 and all(rung.said == SILENT for rungs in ladders for rung in rungs if rung.name == "gateway"):
        return None
    near = all(any(rung.said == SILENT for rung in rungs if rung.name != "far-targets") for rungs in ladders)
    if near or all(len(uplink.targets) > 1 for uplink in fallen):
        return Finding(Domain.OUR_SIDE)
    # One far end for both, and nothing known of what lies between: it may as well be that one.
    return Finding(None, (Domain.OUR_SIDE, Domain.FAR_END))


def _put(outage: Draft, found: Finding | None) -> bool:
    """Write down what was found; return whether that is news."""
    before = outage.domain, outage.detail.get("may_be"), outage.detail.get("advice")
    outage.domain = None if found is None else found.domain
    outage.detail.pop("may_be", None)
    outage.detail.pop("advice", None)
    if found is not None and found.may_be:
        outage.detail["may_be"] = [str(domain) for domain in found.may_be]
        outage.detail["advice"] = _advice(found.may_be, outage.ladder)
    return (outage.domain, outage.detail.get("may_be"), outage.detail.get("advice")) != before


def _advice(may_be: Sequence[Domain], rungs: Sequence[Rung]) -> str:
    """Say which rungs are missing, and what to write in the configuration to have them."""
    missing = [rung.name for rung in rungs if rung.said == ladder.UNKNOWN and ladder.RUNGS[rung.name] in may_be]
    keys = [_KEYS[name] for name in missing if name in _KEYS]
    if not keys:
        return f"cannot tell: nothing is known of {', '.join(missing)}" if missing else "cannot tell"
    return (
        f"cannot tell: nothing is known of {', '.join(missing)}; configure {', '.join(keys)} for this uplink, with "
        "addresses that answer while it is up"
    )
