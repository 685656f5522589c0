"""Evidence: what one sample says about the way to its target."""

from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Final

from wanwatch.core.model import Cause, Outcome, Question, Sample, Series

NEVER: Final = -(1 << 62)
"""An instant before all others: nothing of the sort was seen yet."""

AHEAD: Final = 1 << 62
"""An instant after all others: nothing is due."""


class Said(Enum):
    """What a sample says."""

    LIFE = "life"
    SILENCE = "silence"
    OUR_SIDE = "our-side"  # silence too, but we ourselves could not get it out of the door
    NOTHING = "nothing"  # could not measure, which is a gap and never loss


# Who refused decides: the target itself is alive, a router on the way only says that it cannot be reached. A packet
# that was too big, and a refusal whose author is not known, say nothing either way.
_REFUSED: Final = {
    Cause.RESET: Said.LIFE,
    Cause.PORT_UNREACHABLE: Said.LIFE,
    Cause.RCODE: Said.LIFE,
    Cause.TLS: Said.LIFE,
    Cause.HTTP_STATUS: Said.LIFE,
    Cause.NET_UNREACHABLE: Said.SILENCE,
    Cause.HOST_UNREACHABLE: Said.SILENCE,
    Cause.PROHIBITED: Said.SILENCE,
    Cause.TTL_EXCEEDED: Said.SILENCE,
    # A portal answers in the target's place: packets are carried, and still nobody gets to where they want to go.
    Cause.PORTAL: Said.SILENCE,
}
_NOT_SENT: Final = dict.fromkeys(
    (Cause.NO_INTERFACE, Cause.INTERFACE_DOWN, Cause.NO_ADDRESS, Cause.NO_ROUTE), Said.OUR_SIDE
)


def of_line(sample: Sample) -> Said:
    """Return what *sample* says of the line. A corrupt reply counts as lost (RFC 7680)."""
    outcome = sample.outcome
    if outcome is Outcome.ANSWERED:
        return Said.LIFE
    if outcome is Outcome.REFUSED:
        return Said.NOTHING if sample.cause is None else _REFUSED.get(sample.cause, Said.NOTHING)
    if outcome is Outcome.NOT_SENT:
        return Said.NOTHING if sample.cause is None else _NOT_SENT.get(sample.cause, Said.NOTHING)
    return Said.SILENCE


def of_names(sample: Sample) -> Said:
    """Return what *sample* says of a resolver: any refusal is a failure to resolve, whoever it came from."""
    if sample.outcome is Outcome.ANSWERED:
        return Said.LIFE
    return Said.NOTHING if sample.outcome is Outcome.NOT_SENT else Said.SILENCE


class Voice:
    """One series as the machines hear it: how it is asked, and its last word of each sort.

    Attributes:
        life_ns: Its last send that showed life, `NEVER` before the first.
        alive_ns: The send at which its latest word turned from silence to life; a chance loss that became known after a
            later answer did not turn it.
        silent_ns: Its last silent send.
        ours_ns: Its last send that failed on our own side; a silent send as well.
        rtt_ns: Round-trip time of its last answer, 0 before the first.
    """

    __slots__ = (
        "alive_ns",
        "every_ns",
        "life_ns",
        "ours_ns",
        "pulse_ns",
        "rtt_ns",
        "series",
        "silent_ns",
        "timeout_ns",
    )

    def __init__(self, question: Question) -> None:
        self.life_ns = self.alive_ns = self.silent_ns = self.ours_ns = NEVER
        self.rtt_ns = 0
        self.ask_as(question)

    def ask_as(self, question: Question) -> None:
        """Take over how *question* is asked; what was heard stays."""
        self.series = question.series
        self.every_ns = question.every_ns
        self.pulse_ns = question.pulse_ns
        self.timeout_ns = question.timeout_ns

    def note(self, said: Said, sample: Sample) -> None:
        """Remember what *sample* said. Outcomes become known in any order; the latest send holds."""
        if said is Said.LIFE:
            if sample.sent_ns > self.life_ns:
                if not self.answers:
                    self.alive_ns = sample.sent_ns
                self.life_ns = sample.sent_ns
                self.rtt_ns = sample.rtt_ns or 0
        elif said is not Said.NOTHING:
            self.silent_ns = max(self.silent_ns, sample.sent_ns)
            if said is Said.OUR_SIDE:
                self.ours_ns = max(self.ours_ns, sample.sent_ns)

    @property
    def answers(self) -> bool:
        """Whether its latest word was life."""
        return self.life_ns > self.silent_ns


def voices(old: Mapping[Series, Voice], questions: Sequence[Question]) -> dict[Series, Voice]:
    """Return the voices of *questions*; those of *old* that stay keep what was heard of them."""
    new = {}
    for question in questions:
        new[question.series] = old.get(question.series) or Voice(question)
        new[question.series].ask_as(question)
    return new
