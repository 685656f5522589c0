"""Windows: what a line's last minute of probes shows.

A window of `JudgeSettings.window_ns` slides in sixths, so that trouble shows soon, and is judged once every send in
it has had its waiting time. Sends are counted at the targets' usual interval only: probing quickens in silence, and
would count a short silence many times over.

Sources: NIST/SEMATECH e-Handbook 7.2.6.2 (percentiles); RFC 7680 (a corrupt reply is lost). Departure from RFC 2679
section 5: percentiles of delay are taken over answered sends, since loss is judged by its own limit here.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Final, NamedTuple

from wanwatch.core.account.percentile import quantile
from wanwatch.core.judge import turning
from wanwatch.core.judge.evidence import AHEAD, Voice
from wanwatch.core.judge.run import SLACK_NS
from wanwatch.core.judge.usual import Usuals
from wanwatch.core.model import Json, JudgeSettings

STEPS: Final = 6
"""A window slides by this part of itself."""

MIN_LOSSES: Final = 2
"""One lost probe is chance, whatever its share; two at the least are a sign."""

MIN_SENT: Final = 10
"""With fewer probes than this in a window its loss is not judged: two chance losses would be a fifth of it."""

MIN_ANSWERED: Final = 20
"""With 19 answers or fewer the 95th percentile of NIST 7.2.6.2 is simply the largest: p(N+1) >= N."""

_LATE: Final = 0.05
"""The share of sends that lies above the 95th percentile."""


class Look(NamedTuple):
    """What one window shows.

    Attributes:
        start_ns: Its first instant.
        end_ns: The first instant after it.
        bad: The line is impaired by it.
        clean: It shows no trouble, with half the limits so that a line at the limit does not flip.
        sent: Probes that its loss is judged by.
        lost: Those of them that were lost.
        began_ns: The lost or slow send that the trouble in it begins with, None if there is none.
        over_ns: The one that it ends with.
        last_bad_ns: The last lost or slow send.
        detail: Its figures, as an event tells them.
    """

    start_ns: int
    end_ns: int
    bad: bool
    clean: bool
    sent: int
    lost: int
    began_ns: int | None
    over_ns: int | None
    last_bad_ns: int | None
    detail: dict[str, Json]


@dataclass(slots=True)
class _Track:
    """One target's sends."""

    every_ns: int
    sends: list[tuple[int, int]] = field(default_factory=list)

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
        self.usuals = Usuals()
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
        self.usuals.reconfigure(self._tracks.keys(), settings.zone, settings.window_ns)
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

    def next(self, offset_ns: int) -> Look:
        """Judge the window that is due; *offset_ns* is the wall clock minus the monotonic one."""
        end_ns = self._next_ns
        look = self.look(end_ns - self._settings.window_ns, end_ns, offset_ns)
        self._next_ns += self._step_ns
        self._steps += 1
        for track in self._tracks.values():
            track.sends = [send for send in track.sends if send[0] >= look.start_ns]
        return look

    def learn(self, look: Look, offset_ns: int, *, calm: bool) -> int | None:
        """Learn from the window that was judged last, if it is a whole one; return the hour of the day that is over."""
        if self._steps % STEPS != 1:
            return None
        medians = {}
        for target, track in self._tracks.items():
            if rtts := sorted(rtt for _, rtt in track.cut(look.start_ns, look.end_ns) if rtt >= 0):
                medians[target] = quantile(rtts, 0.5)
        return self.usuals.learn(_middle_ns(look.start_ns, look.end_ns) + offset_ns, medians, calm=calm)

    def look(self, start_ns: int, end_ns: int, offset_ns: int) -> Look:
        """Judge the sends from *start_ns* on, before *end_ns*."""
        usual = self.usuals.usual_ns(_middle_ns(start_ns, end_ns) + offset_ns)
        parts = []
        for target, track in self._tracks.items():
            sends = track.cut(max(start_ns, self._since_ns), end_ns)
            if sends:
                parts.append(_Part(sends, sorted(rtt for _, rtt in sends if rtt >= 0), usual.get(target)))
        # A line is as good as the better half of its targets: one dead or distant target must not spoil it.
        better = (len(parts) + 1) // 2
        loss, delay = sorted(parts, key=_loss)[:better], sorted(parts, key=_excess)[:better]
        return self._weigh(start_ns, end_ns, loss, delay)

    def _weigh(self, start_ns: int, end_ns: int, loss: list[_Part], delay: list[_Part]) -> Look:
        limit, delay_limit = self._settings.impaired_loss_ratio, self._settings.impaired_delay_ns
        sent, lost = sum(len(part.sends) for part in loss), sum(part.lost for part in loss)
        ratio = lost / sent if sent else 0.0
        lossy = sent >= MIN_SENT and lost >= MIN_LOSSES and ratio >= limit
        worst = delay[-1] if delay else None
        excess = None if worst is None else worst.excess_ns
        slow = excess is not None and excess >= delay_limit
        spans = [
            *([_spell(_lost(loss), limit)] if lossy else []),
            *([_spell(self._late(delay), _LATE)] if slow else []),
        ]
        found = [span for span in spans if span is not None]
        calm = ratio < limit / 2 and (excess is None or excess < delay_limit / 2)
        return Look(
            start_ns, end_ns, bad=lossy or slow, clean=sent >= MIN_SENT and calm, sent=sent, lost=lost,
            began_ns=min((span.began_ns for span in found), default=None),
            over_ns=max((span.over_ns for span in found), default=None),
            last_bad_ns=max((span.last_bad_ns for span in found), default=None),
            detail=_detail(ratio if sent else None, worst, lossy=lossy, slow=slow),
        )  # fmt: skip

    def _late(self, parts: list[_Part]) -> list[tuple[int, bool]]:
        limit_ns = self._settings.impaired_delay_ns
        return sorted(
            (sent, rtt >= p.usual_ns + limit_ns) for p in parts if p.usual_ns is not None for sent, rtt in p.sends
        )


class _Trouble(NamedTuple):
    """Where the trouble in a window begins and ends, and its last bad send."""

    began_ns: int
    over_ns: int
    last_bad_ns: int


def _spell(marks: Sequence[tuple[int, bool]], limit: float) -> _Trouble | None:
    """Find the trouble in sends that are marked bad or not."""
    found = turning.spell(bad - limit for _, bad in marks)
    if found is None:
        return None
    return _Trouble(marks[found.first][0], marks[found.last][0], max(sent for sent, bad in marks if bad))


def _lost(parts: Iterable[_Part]) -> list[tuple[int, bool]]:
    return sorted((sent, rtt < 0) for part in parts for sent, rtt in part.sends)


def _middle_ns(start_ns: int, end_ns: int) -> int:
    return (start_ns + end_ns) // 2


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
