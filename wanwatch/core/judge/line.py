"""The line machine: from evidence to whether a line lives.

The rules are the rows of `TRANSITIONS`; the code below only works out which signal the evidence gives. The machine
runs once for each uplink's line, once for its resolvers, and once for the path of ordinary traffic.
"""

from collections.abc import Sequence
from enum import Enum
from typing import Final, NamedTuple

from wanwatch.core.judge.evidence import AHEAD, NEVER, Said, Voice
from wanwatch.core.judge.run import SLACK_NS, Run
from wanwatch.core.model import Kind, Sample, State


class Phase(Enum):
    """What the machine holds of a line."""

    BLIND = "blind"  # no evidence
    DIM = "dim"  # the first evidence after blindness is silence; it proves nothing yet
    UP = "up"
    DOUBTED = "doubted"  # up, and silent since a moment
    DOWN = "down"
    PROVING = "proving"  # down, and answering again


class Signal(Enum):
    """What the evidence amounts to."""

    LIFE = "life"  # a send was answered, and nothing later is silent (DOWN, PROVING: a send after the cut)
    SILENCE = "silence"  # a send after the last answered one got no answer
    EXPIRED = "expired"  # all that were asked have been silent for `down_after`
    PROVED = "proved"  # a majority has been answering for `up_after`
    RELAPSED = "relapsed"  # no majority has been answering for `down_after`
    BLINDED = "blinded"  # nothing conclusive was heard for too long


_B, _M, _U, _T, _D, _P = Phase.BLIND, Phase.DIM, Phase.UP, Phase.DOUBTED, Phase.DOWN, Phase.PROVING
_ORDER: Final = (
    Signal.LIFE, Signal.SILENCE, Signal.EXPIRED, Signal.PROVED, Signal.RELAPSED, Signal.BLINDED,
)  # fmt: skip
_ROWS: Final = {
    #    LIFE SILENCE EXPIRED PROVED RELAPSED BLINDED
    _B: (_U,  _M,     _B,     _B,    _B,      _B),  # no verdict without evidence
    _M: (_U,  _M,     _D,     _M,    _M,      _B),
    _U: (_U,  _T,     _U,     _U,    _U,      _B),
    _T: (_U,  _T,     _D,     _T,    _T,      _B),
    _D: (_P,  _D,     _D,     _D,    _D,      _B),  # one answer does not make a line
    _P: (_P,  _P,     _P,     _U,    _D,      _B),
}  # fmt: skip
TRANSITIONS: Final = {phase: dict(zip(_ORDER, row, strict=True)) for phase, row in _ROWS.items()}

PUBLIC: Final = {
    _B: State.UNOBSERVED,
    _M: State.UNOBSERVED,
    _U: State.UP,
    _T: State.UP,
    _D: State.DOWN,
    _P: State.DOWN,
}
"""The state that each phase is told as; `impaired` overlays `up` (see window)."""

QUICK: Final = frozenset({_M, _T, _D, _P})
"""The phases in which an end or a start is being timed, so that probing is quick."""


class Rules(NamedTuple):
    """The machine's numbers, monotonic nanoseconds."""

    down_after_ns: int
    up_after_ns: int


class Turn(NamedTuple):
    """A change of phase."""

    before: Phase
    after: Phase


class Cut(NamedTuple):
    """Where a line fell silent: its first unanswered send, the answered one before it, and when it had begun by."""

    first_ns: int
    life_ns: int
    by_ns: int


class Recovery(NamedTuple):
    """Where a line came back: its first answered send, that answer's arrival, the unanswered send before it."""

    first_ns: int
    known_ns: int
    silent_ns: int


class Line:
    """The machine for one set of targets.

    It stays blind until `reconfigure` gives it targets that speak for it.

    Attributes:
        phase: Where it stands.
        every_ns: The slowest target's interval: evidence is due again so long after the last.
        seen_ns: When something conclusive was last known; blindness begins there.
        cut: Where the present or last silence of a line that is or was down began.
        recovery: Where the present or last coming back began, None since the line went down.
        woken: The first answer after blindness.
    """

    def __init__(self) -> None:
        self.phase = Phase.BLIND
        self.seen_ns = NEVER
        self.cut = Cut(NEVER, NEVER, NEVER)
        self.recovery: Recovery | None = None
        self.woken = Recovery(NEVER, NEVER, NEVER)
        self.blind_told = False
        self._run = Run()
        self._silent_ns = NEVER
        self._doubt_ns = NEVER
        self._weak_ns: int | None = None
        self.reconfigure((), Rules(0, 0))

    def reconfigure(self, voices: Sequence[Voice], rules: Rules) -> None:
        """Take other targets or numbers. What was heard of the line stays; the silence of a gone target does not."""
        names = {voice.series.target for voice in voices}
        if not names >= self._run.targets.keys():
            self._run.clear()
        self.voices = tuple(voices)
        self.rules = rules
        self.majority = len(self.voices) // 2 + 1
        self.every_ns = max((voice.every_ns for voice in voices), default=0)
        slowest = max((3 * voice.every_ns + voice.timeout_ns for voice in voices), default=0)
        self.blind_after_ns = max(slowest, rules.down_after_ns)

    def hear(self, voice: Voice, said: Said, sample: Sample) -> Turn | None:
        """Take in one sample, whose word the caller has noted in *voice*; return the change of phase, if any."""
        if said is Said.NOTHING:
            return None
        self.seen_ns = max(self.seen_ns, sample.known_ns)
        self.blind_told = False
        if said is Said.LIFE:
            return self._life(sample)
        return self._silence(voice, sample)

    def _life(self, sample: Sample) -> Turn | None:
        sent_ns = sample.sent_ns
        before = self._run.last_before(sent_ns)
        self._run.life(sent_ns, sample.rtt_ns or 0)
        match self.phase:
            case Phase.UP:
                return None
            case Phase.BLIND | Phase.DIM:
                self.woken = self._back(sample, before)
            case Phase.DOUBTED:
                if self._run:
                    return None
            case Phase.DOWN:
                if sent_ns <= self.cut.first_ns:
                    return None  # sent before the cut, and slow
                self.recovery = self._back(sample, before)
                self._weak_ns = sent_ns
                self._weigh(sent_ns)
            case Phase.PROVING:
                return self._prove(sample)
        return self._step(Signal.LIFE)

    def _back(self, sample: Sample, silent_ns: int) -> Recovery:
        known = (silent_ns, self._silent_ns, self.cut.first_ns)
        return Recovery(
            sample.sent_ns, sample.known_ns, max((ns for ns in known if ns < sample.sent_ns), default=NEVER)
        )

    def _prove(self, sample: Sample) -> Turn | None:
        start = self.recovery
        if start is not None and self.cut.first_ns < sample.sent_ns < start.first_ns:
            # A farther target's answer, sent earlier and under way for longer than the first one to arrive.
            start = self.recovery = self._back(sample, NEVER)._replace(known_ns=min(start.known_ns, sample.known_ns))
        self._weigh(sample.sent_ns)
        long_enough = start is not None and sample.sent_ns - start.first_ns >= self.rules.up_after_ns
        return self._step(Signal.PROVED) if long_enough and self._weak_ns is None else None

    def _silence(self, voice: Voice, sample: Sample) -> Turn | None:
        sent_ns = sample.sent_ns
        self._run.silence(sent_ns, voice.series.target, self._alive_ns(voice))
        self._silent_ns = max(self._silent_ns, sent_ns)
        if self.phase is Phase.PROVING:
            self._late_silence(sent_ns)
            return None
        if not self._run:
            return None
        if self.phase in (Phase.UP, Phase.BLIND):
            self._doubt_ns = sample.known_ns
        return self._step(Signal.SILENCE)

    def _late_silence(self, sent_ns: int) -> None:
        start = self.recovery
        if start is not None and sent_ns < start.first_ns:
            self.recovery = start._replace(silent_ns=max(start.silent_ns, sent_ns))
        else:
            self._weigh(sent_ns)

    def _weigh(self, sent_ns: int) -> None:
        """Note since which send no majority has been answering, or that one is."""
        first_ns = self.recovery.first_ns if self.recovery is not None else NEVER
        strong = sum(1 for voice in self.voices if voice.answers and voice.life_ns >= first_ns) >= self.majority
        if strong:
            self._weak_ns = None
        elif self._weak_ns is None:
            self._weak_ns = sent_ns

    @property
    def fall(self) -> Cut | None:
        """Where the silence began that is in doubt, or that brought the line down; None while it is well or unseen."""
        if self.phase is Phase.DOUBTED:
            return Cut(self._run.first_ns, self._run.life_ns, self._run.began_by_ns) if self._run else None
        return self.cut if self.phase in (Phase.DOWN, Phase.PROVING) else None

    def due_ns(self) -> int:
        """When `advance` has something to decide if nothing is heard until then; `AHEAD` if never."""
        return min(self._deadlines())[0]

    def _deadlines(self) -> list[tuple[int, int, Signal]]:
        # The number in the middle settles a tie: a verdict comes before blindness.
        due = [(AHEAD, 9, Signal.BLINDED)]
        if not self.blind_told:
            due.append((self.seen_ns + self.blind_after_ns, 2, Signal.BLINDED))
        if self.phase in (Phase.DIM, Phase.DOUBTED):
            due.append((self._verdict_ns(), 0, Signal.EXPIRED))
        if self.phase is Phase.PROVING and self._weak_ns is not None:
            due.append((self._weak_ns + self.rules.down_after_ns, 1, Signal.RELAPSED))
        return due

    def _verdict_ns(self) -> int:
        """When silence becomes an outage. A minority never decides: the rest may be unable to ask at all."""
        silent = self._run.targets
        if len(silent) < self.majority:
            return AHEAD
        # Probing is quick since the first silence was known, so each target's fate is known one pulse and one
        # waiting time later; one that still has no word by then is not being asked.
        waits = (v.pulse_ns + v.timeout_ns for v in self.voices if v.series.target not in silent)
        due_ns = max(self._run.first_ns + self.rules.down_after_ns, self._doubt_ns + max(waits, default=0))
        # A silence has to be followed up to its verdict, but for the sends whose fate cannot be known by then. Else
        # the next silent send decides, or blindness does.
        open_ns = max((v.pulse_ns + v.timeout_ns for v in self.voices), default=0) + SLACK_NS
        return due_ns if due_ns <= max(silent.values()) + open_ns else AHEAD

    def advance(self, now_ns: int) -> Turn | None:
        """Decide what is due first at *now_ns*, if anything is; call again until nothing is due."""
        due_ns, _, signal = min(self._deadlines())
        if due_ns > now_ns:
            return None
        if signal is Signal.EXPIRED:
            self.cut = Cut(self._run.first_ns, self._run.life_ns, self._run.began_by_ns)
            self.recovery = None
        if signal is Signal.RELAPSED:
            self.recovery = self._weak_ns = None
        if signal is Signal.BLINDED:
            self._run.clear()
            self.blind_told = True
        return self._step(signal)

    def _alive_ns(self, voice: Voice) -> int:
        """How long a lost probe may have lived: a packet dies on its way there or back, a fetch takes several trips."""
        if voice.series.kind is Kind.HTTP:
            return voice.timeout_ns
        trips = (other.rtt_ns for other in self.voices if other.series.kind is not Kind.HTTP)
        return max(self._run.rtt_ns, max(trips, default=0))

    def blind(self, now_ns: int) -> None:
        """Forget the line's present: its evidence does not count until *now_ns*."""
        self._run.clear()
        self.phase = Phase.BLIND
        self.recovery = None
        self.seen_ns = now_ns
        self.blind_told = False

    def _step(self, signal: Signal) -> Turn | None:
        before = self.phase
        self.phase = TRANSITIONS[before][signal]
        if self.phase is Phase.UP and self._run and before is not Phase.UP:
            self._doubt_ns = self.seen_ns
            self.phase = TRANSITIONS[self.phase][Signal.SILENCE]
        return None if self.phase is before and signal is not Signal.BLINDED else Turn(before, self.phase)
