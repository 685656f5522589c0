"""Impairment: a line that answers, but loses or delays more than it should.

A window of `JudgeSettings.window_ns` slides in sixths, so that trouble shows soon, and is judged once every send in
it has had its waiting time. Sends are counted at the targets' usual interval only: probing quickens in silence, and
would count a short silence many times over.

Sources: NIST/SEMATECH e-Handbook 7.2.6.2 (percentiles); RFC 7680 (a corrupt reply is lost). Departure from RFC 2679
section 5: percentiles of delay are taken over answered sends, since loss is judged by its own limit here.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Final, NamedTuple

from wanwatch.core.account.percentile import quantile
from wanwatch.core.judge.evidence import AHEAD, Voice
from wanwatch.core.judge.run import SLACK_NS
from wanwatch.core.model import Json, JudgeSettings

STEPS: Final = 6
"""A window slides by this part of itself."""

MIN_LOSSES: Final = 2
"""One lost probe is chance, whatever its share; two at the least are a sign."""

MIN_SENT: Final = 10
"""With fewer probes than this in a window its loss is not judged: two chance losses would be a fifth of it."""

MIN_ANSWERED: Final = 20
"""With 19 answers or fewer the 95th percentile of NIST 7.2.6.2 is simply the largest: p(N+1) >= N."""

MIN_HISTORY: Final = 5
MAX_HISTORY: Final = 60
"""A line's usual delay is the median of so many windows' medians; an hour's worth at the default window."""

_FIGURES: Final = ("loss_ratio", "p95_s")


class Look(NamedTuple):
    """What one window shows.

    Attributes:
        bad: The line is impaired by it.
        clean: It shows no trouble, with half the limits so that a line at the limit does not flip.
        first_bad_ns: The first lost or slow send, None if there was none.
        last_bad_ns: The last one.
    """

    bad: bool
    clean: bool
    first_bad_ns: int | None
    last_bad_ns: int | None
    detail: dict[str, Json]


@dataclass(slots=True)
class _Track:
    """One target's sends, and its usual delay."""

    every_ns: int
    sends: list[tuple[int, int]] = field(default_factory=list)
    medians: deque[float] = field(default_factory=lambda: deque(maxlen=MAX_HISTORY))

    def cut(self, start_ns: int, end_ns: int) -> list[tuple[int, int]]:
        """Return the sends from *start_ns* on, before *end_ns*, thinned to the usual interval."""
        self.sends.sort(key=itemgetter(0))
        thin: list[tuple[int, int]] = []
        next_ns = start_ns
        for send in self.sends:
            if next_ns <= send[0] < end_ns:
                thin.append(send)
                next_ns = send[0] + self.every_ns * 9 // 10  # a send may be a little early
        return thin

    @property
    def usual_ns(self) -> float | None:
        """The median of its windows' medians, None before there are enough."""
        return quantile(sorted(self.medians), 0.5) if len(self.medians) >= MIN_HISTORY else None


class _Part(NamedTuple):
    """One target's part of a window."""

    sends: list[tuple[int, int]]
    rtts: list[int]
    usual_ns: float | None

    @property
    def lost(self) -> int:
        return len(self.sends) - len(self.rtts)

    @property
    def excess_ns(self) -> float | None:
        if self.usual_ns is None or len(self.rtts) < MIN_ANSWERED:
            return None
        return quantile(self.rtts, 0.95) - self.usual_ns


def _loss(part: _Part) -> float:
    return part.lost / len(part.sends)


def _excess(part: _Part) -> float:
    excess = part.excess_ns
    return -1.0 if excess is None else excess


class Windows:
    """The windows of one line."""

    def __init__(self) -> None:
        self._tracks: dict[str, _Track] = {}
        self._next_ns = AHEAD
        self._since_ns = AHEAD
        self._steps = 0
        self.reconfigure((), JudgeSettings())

    def reconfigure(self, voices: Sequence[Voice], settings: JudgeSettings) -> None:
        """Take other targets or numbers; a target that stays keeps its sends and its usual delay."""
        old = self._tracks
        self._tracks = {v.series.target: old.get(v.series.target, _Track(v.every_ns)) for v in voices}
        for voice in voices:
            self._tracks[voice.series.target].every_ns = voice.every_ns
        self._settings = settings
        self._step_ns = settings.window_ns // STEPS
        self._lag_ns = max((voice.timeout_ns for voice in voices), default=0) + SLACK_NS

    def restart(self, since_ns: int) -> None:
        """Count from *since_ns* on: the line is up since then."""
        self._since_ns = since_ns
        self._next_ns = since_ns + self._settings.window_ns
        self._steps = 0
        for track in self._tracks.values():
            track.sends = [send for send in track.sends if send[0] >= since_ns]

    def stop(self) -> None:
        """The line is not up: its sends say nothing about impairment."""
        self._next_ns = AHEAD

    def add(self, target: str, sent_ns: int, rtt_ns: int) -> None:
        """Count one probe; *rtt_ns* is -1 for a lost one."""
        self._tracks[target].sends.append((sent_ns, rtt_ns))

    def due_ns(self) -> int:
        """When the next window can be judged."""
        return AHEAD if self._next_ns == AHEAD else self._next_ns + self._lag_ns

    def next(self, *, impaired: bool) -> tuple[int, Look]:
        """Judge the window that is due; return its start and its look. A clean line's delay becomes its usual one."""
        end_ns = self._next_ns
        start_ns = end_ns - self._settings.window_ns
        look = self.look(start_ns, end_ns)
        self._next_ns += self._step_ns
        self._steps += 1
        if self._steps % STEPS == 1 and not (impaired or look.bad):
            self._learn(start_ns, end_ns)
        for track in self._tracks.values():
            track.sends = [send for send in track.sends if send[0] >= start_ns + self._step_ns]
        return start_ns, look

    def _learn(self, start_ns: int, end_ns: int) -> None:
        for track in self._tracks.values():
            rtts = sorted(rtt for _, rtt in track.cut(start_ns, end_ns) if rtt >= 0)
            if rtts:
                track.medians.append(quantile(rtts, 0.5))

    def look(self, start_ns: int, end_ns: int) -> Look:
        """Judge the sends from *start_ns* on, before *end_ns*."""
        parts = []
        for track in self._tracks.values():
            sends = track.cut(max(start_ns, self._since_ns), end_ns)
            if sends:
                parts.append(_Part(sends, sorted(rtt for _, rtt in sends if rtt >= 0), track.usual_ns))
        # A line is as good as the better half of its targets: one dead or distant target must not spoil it.
        better = (len(parts) + 1) // 2
        return self._weigh(sorted(parts, key=_loss)[:better], sorted(parts, key=_excess)[:better])

    def _weigh(self, loss: list[_Part], delay: list[_Part]) -> Look:
        limit, delay_limit = self._settings.impaired_loss_ratio, self._settings.impaired_delay_ns
        sent, lost = sum(len(part.sends) for part in loss), sum(part.lost for part in loss)
        ratio = lost / sent if sent else 0.0
        lossy = sent >= MIN_SENT and lost >= MIN_LOSSES and ratio >= limit
        worst = delay[-1] if delay else None
        excess = None if worst is None else worst.excess_ns
        slow = excess is not None and excess >= delay_limit
        bad = self._bad_sends(loss if lossy else [], delay if slow else [])
        calm = ratio < limit / 2 and (excess is None or excess < delay_limit / 2)
        return Look(
            bad=lossy or slow,
            clean=sent >= MIN_SENT and calm,
            first_bad_ns=min(bad, default=None),
            last_bad_ns=max(bad, default=None),
            detail=_detail(ratio if sent else None, worst, lossy=lossy, slow=slow),
        )

    def _bad_sends(self, lossy: list[_Part], slow: list[_Part]) -> list[int]:
        lost = [sent for part in lossy for sent, rtt in part.sends if rtt < 0]
        limit_ns = self._settings.impaired_delay_ns
        late = [sent for p in slow for sent, rtt in p.sends if p.usual_ns is not None and rtt >= p.usual_ns + limit_ns]
        return lost + late


def worse(old: dict[str, Json], new: dict[str, Json]) -> dict[str, Json]:
    """Return *old* with the higher figures of *new*: an impairment is told with its worst window of each sort."""
    figures = {key: max((x for x in (old[key], new[key]) if isinstance(x, float)), default=None) for key in _FIGURES}
    because = [why for why in ("loss", "delay") if why in str(old["because"]) + str(new["because"])]
    return {**figures, "usual_s": new["usual_s"], "because": [*because]}


def _detail(ratio: float | None, part: _Part | None, *, lossy: bool, slow: bool) -> dict[str, Json]:
    p95 = None if part is None or not part.rtts else round(quantile(part.rtts, 0.95) / 1e9, 6)
    usual = None if part is None or part.usual_ns is None else round(part.usual_ns / 1e9, 6)
    because: list[Json] = [*(["loss"] if lossy else []), *(["delay"] if slow else [])]
    return {
        "loss_ratio": None if ratio is None else round(ratio, 6),
        "p95_s": p95,
        "usual_s": usual,
        "because": because,
    }
