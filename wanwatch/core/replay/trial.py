"""Trials: the judge of the daemon, run over a record once for each setting."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from wanwatch.core.judge import Memory, SiteJudge
from wanwatch.core.model import (
    NS_PER_S,
    CarryingChanged,
    Effect,
    Event,
    Json,
    JudgeSettings,
    Learnt,
    PinsSeen,
    Question,
    Sample,
    Span,
    Tell,
)
from wanwatch.core.ports import Record
from wanwatch.core.replay.observations import MINUTE_NS, Known, Retold
from wanwatch.core.sighting import DAY_NS, WEEK_NS, Sighting, is_witness, usuals

_STILL_RUNNING_NS: Final = 15 * NS_PER_S
"""A daemon marks itself alive every nine seconds: one whose last mark is no older may be running."""


class Replayable(Record, Protocol):
    """A record that holds what was sighted, too."""

    def sightings(self, site: str, span: Span) -> Iterator[Sighting]:
        """What was sighted within *span*, by instant."""


@dataclass(frozen=True, slots=True)
class Site:
    """Whose record is judged again, and how it is asked: by the configuration as it is now."""

    name: str
    uplinks: tuple[str, ...]
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a replay.

    Attributes:
        span: From the first watched instant of what was asked for to the last; empty if nothing was watched.
        events: For each setting, the events that there would have been, by start, as they were told last.
        samples: How many samples were judged.
        hollow_minutes: Minutes of a series that could not be, as their raw samples are no longer kept.
        sighted_since_ns: Since when the record holds what STUN servers and the kernel's route said, which alone tell of
            switches; None if it holds nothing of that.
    """

    span: Span
    events: tuple[tuple[Event, ...], ...]
    samples: int
    hollow_minutes: int
    sighted_since_ns: int | None


class Trial:
    """One setting, run through the watched spans as the daemon was: each begins with what the one before remembered.

    Args:
        site: Whose record it is.
        settings: The setting.
        usuals: What was known to be usual when it begins.
    """

    def __init__(self, site: Site, settings: JudgeSettings, usuals: Mapping[str, Mapping[str, Json]]) -> None:
        self._site = site
        self._settings = settings
        self._told: dict[str, Event] = {}
        self._carrying: CarryingChanged | None = None
        self._proofs: dict[str, Json] = {}
        self._alive_ns: int | None = None
        self._usuals: dict[str, dict[str, Json]] = {uplink: {**known} for uplink, known in usuals.items()}
        self._judge = self._make()

    def _make(self) -> SiteJudge:
        site, carrying = self._site, self._carrying
        memory = Memory(
            open_events=tuple(event for event in self.events if event.end is None),
            carrying=None if carrying is None else carrying.uplink,
            carrying_known=carrying is not None,
            shares=() if carrying is None else carrying.shares,
            last_alive_unix_ns=self._alive_ns,
            proofs=self._proofs,
            usuals=self._usuals,
        )
        return SiteJudge(site.name, site.uplinks, site.questions, self._settings, memory=memory)

    def begin(self, at_ns: int) -> None:
        """A daemon starts."""
        self._judge = self._make()
        self._take(self._judge.tick(at_ns, at_ns))

    def feed(self, known: Known) -> None:
        """It is told something."""
        self._take(self._judge.feed(known.seen))
        if isinstance(known.seen, PinsSeen):
            self._proofs = self._judge.proofs

    def end(self, at_ns: int, *, stops: bool) -> None:
        """It stops, or goes on beyond what is looked at."""
        self._take(self._judge.tick(at_ns, at_ns))
        if stops:
            self._take(self._judge.stop(at_ns))
        self._alive_ns = at_ns

    def _take(self, effects: Iterable[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, Tell):
                self._told[effect.event.id] = effect.event
            elif isinstance(effect, CarryingChanged) and effect.known:
                self._carrying = effect
            elif isinstance(effect, Learnt):
                self._usuals.setdefault(effect.uplink, {})[effect.what] = effect.known

    @property
    def events(self) -> tuple[Event, ...]:
        """The events so far, by start, as they were told last."""
        return tuple(sorted(self._told.values(), key=lambda event: event.start.estimate_unix_ns))


def replay(record: Replayable, site: Site, span: Span, settings: Sequence[JudgeSettings]) -> Outcome:
    """Judge what was watched within *span* once for each of *settings*, in one reading of the record.

    What was going on when *span* begins is judged from there on only.
    """
    watched = record.watched(site.name, span)
    begins_ns = watched[0].start_unix_ns if watched else span.start_unix_ns
    usual = usuals(record.sightings(site.name, Span(begins_ns - WEEK_NS, begins_ns)))
    trials = [Trial(site, setting, usual) for setting in settings]
    since_ns = span.start_unix_ns // MINUTE_NS * MINUTE_NS
    sightings = list(record.sightings(site.name, Span(since_ns - DAY_NS, span.end_unix_ns)))
    retold = Retold(site.questions, sightings)
    told = retold.observations(record.blocks(site.name, Span(since_ns, span.end_unix_ns)))
    samples = 0
    for begin, part in zip(watched, _by_span(told, watched), strict=False):
        for trial in trials:
            trial.begin(begin.start_unix_ns)
        for known in part:
            samples += isinstance(known.seen, Sample)
            for trial in trials:
                trial.feed(known)
        stops = begin is not watched[-1] or begin.end_unix_ns < span.end_unix_ns - _STILL_RUNNING_NS
        for trial in trials:
            trial.end(begin.end_unix_ns, stops=stops)
    covered = Span(watched[0].start_unix_ns, watched[-1].end_unix_ns) if watched else Span(0, 0)
    since = next((kept.at_unix_ns for kept in sightings if is_witness(kept)), None)
    return Outcome(covered, tuple(trial.events for trial in trials), samples, retold.hollow, since)


def _by_span(told: Iterator[Known], watched: Sequence[Span]) -> Iterator[Iterator[Known]]:
    """For each watched span, what became known from its start until the next one's, and none from before the first."""
    waiting = next(told, None)

    def until(start_ns: int, stop_ns: int) -> Iterator[Known]:
        nonlocal waiting
        while waiting is not None and waiting.at_ns < stop_ns:
            if waiting.at_ns >= start_ns:
                yield waiting
            waiting = next(told, None)

    for place, span in enumerate(watched):
        last = place + 1 == len(watched)
        yield until(span.start_unix_ns, span.end_unix_ns if last else watched[place + 1].start_unix_ns)
