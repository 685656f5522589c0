"""Pin proof joined to the uplinks: a lost pin is an event, and its uplink is out of sight until it is proved again."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from wanwatch.core.judge.events import Book, Draft, Moment, at, resumed
from wanwatch.core.judge.evidence import NEVER
from wanwatch.core.judge.pin import Phase, Pins, Verdict, from_json, to_json
from wanwatch.core.judge.uplink import Uplink
from wanwatch.core.model import Event, EventKind, Json, PinChanged, PinsSeen, Question, Sample

_PROVED: Final = {Phase.UNPROVED: None, Phase.PROVED: True, Phase.LOST: False}


class Proof:
    """What is held of a site's pins, and what follows from it.

    Args:
        uplinks: The site's uplinks; shared with the judge, who keeps it up to date.
        book: Where events are told.
        proofs: What each pin showed when it was last proved, as `proofs` returned it before a restart.
        open_events: Events that were open when an earlier run ended; those of lost pins go on.
    """

    def __init__(
        self, uplinks: Mapping[str, Uplink], book: Book, *, proofs: Mapping[str, Json] | None = None,
        open_events: Iterable[Event] = (),
    ) -> None:  # fmt: skip
        self._uplinks = uplinks
        self._book = book
        self._lost = {
            event.uplink: resumed(event)
            for event in open_events
            if event.kind is EventKind.PIN_LOST and event.uplink is not None
        }
        known = {name: from_json(value) for name, value in (proofs or {}).items()}
        self._pins = Pins({name: shown for name, shown in known.items() if shown is not None}, self._lost)
        self._began_ns = NEVER
        self._said: dict[str, PinChanged] = {}

    def begin(self, now_ns: int) -> None:
        """Watching begins."""
        self._began_ns = now_ns
        for name in self._lost.keys() & self._uplinks.keys():
            self._uplinks[name].distrust(at(now_ns), now_ns)

    def reconfigure(self, uplinks: Sequence[str], questions: Iterable[Question], now_ns: int) -> None:
        """Take other uplinks or questions; a lost pin of an uplink that is gone is nobody's any more."""
        self._pins.reconfigure(uplinks, questions)
        for gone in self._lost.keys() - set(uplinks):
            if self._began_ns != NEVER:
                self._lost[gone].detail["ended_by"] = "configuration"
                self._end(gone, now_ns)

    def hear(self, sample: Sample) -> bool:
        """Take in a public address; return whether its uplink's pin is lost, so that it tells nothing of its line."""
        self._pins.hear(sample)
        return sample.series.uplink in self._lost

    def see(self, seen: PinsSeen, carrying: str | None) -> list[str]:
        """Judge with a round of traces, while *carrying* carries ordinary traffic; return the pins just lost."""
        lost = []
        for name in self._pins.see(seen):
            verdict = self._pins.verdicts[name]
            if verdict.phase is Phase.LOST and name not in self._lost:
                self._lose(name, verdict, seen.at_ns, carrying)
                lost.append(name)
            elif verdict.phase is Phase.PROVED and name in self._lost:
                self._end(name, seen.at_ns)
                self._uplinks[name].trust(seen.at_ns)
            told = self._told(name)
            if self._said.get(name) != told:
                self._said[name] = told
                self._book.effects.append(told)
        return lost

    def _lose(self, name: str, verdict: Verdict, now_ns: int, carrying: str | None) -> None:
        # Nothing has vouched for this line since its pin was last seen to hold, so none of that time counts as seen.
        own_ns = max(self._pins.own_ns.get(name, NEVER), self._began_ns)
        since = Moment(own_ns, own_ns, now_ns)
        proof = self._pins.proofs.get(name)
        fell_back = proof is not None and verdict.other == carrying
        draft = Draft(kind=EventKind.PIN_LOST, uplink=name, start=since, detail={
            "because": "default-route" if fell_back else "one-line",
            "leaves_by": verdict.other,
            "shows": to_json(verdict.shown),
            "showed": None if proof is None else to_json(proof),
        })  # fmt: skip
        self._lost[name] = draft
        self._book.tell(draft)
        self._uplinks[name].distrust(since, now_ns)

    def _end(self, name: str, now_ns: int) -> None:
        draft = self._lost.pop(name)
        draft.end = at(now_ns)
        self._book.tell(draft)

    @property
    def proofs(self) -> dict[str, Json]:
        """What each pin showed when it was last proved, to be kept over a restart."""
        return {name: to_json(shown) for name, shown in self._pins.proofs.items()}

    @property
    def told(self) -> list[PinChanged]:
        """What is held of each pin."""
        return [self._told(name) for name in self._pins.verdicts]

    def _told(self, name: str) -> PinChanged:
        verdict = self._pins.verdicts[name]
        return PinChanged(name, _PROVED[verdict.phase], verdict.nat, verdict.other)
