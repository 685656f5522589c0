"""The programme of a drill: a table of steps and words, and the code that looks rows up.

Source: the steps are ours, with no published source.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from wanwatch.core.model import NS_PER_S, State


class Step(Enum):
    """Where a drill stands."""

    ANNOUNCED = "announced"
    STEADY = "steady before"
    PULL = "plug to be pulled"
    MOVING = "line gone"
    SECOND = "on the second line"
    RETURN = "plug to go back"
    HOMING = "line back"
    SETTLING = "reading the record"
    DONE = "done"
    GIVEN_UP = "given up"


class Word(Enum):
    """What a view of the office amounts to. Where several hold, the first one here that the step heeds counts."""

    QUIT = "quit"
    UNSEEN = "unseen"  # the daemon does not answer any more
    YES = "yes"
    UNSTEADY = "unsteady"
    STEADY = "steady"
    GONE = "gone"  # the line is down, or, where its interface is this machine's own, out of sight
    MOVED = "moved"
    STAYED = "stayed"  # traffic was on the second line for as long as was asked for
    BACK = "back"  # the line is up and traffic is on it
    UP = "up"
    SETTLED = "settled"
    LATE = "late"


class Said(Enum):
    """What the person said."""

    NOTHING = "nothing"
    YES = "yes"
    QUIT = "quit"


TABLE: Final[Mapping[Step, Mapping[Word, Step]]] = {
    Step.ANNOUNCED: {Word.QUIT: Step.GIVEN_UP, Word.YES: Step.STEADY},
    Step.STEADY: {
        Word.QUIT: Step.GIVEN_UP,
        Word.UNSEEN: Step.GIVEN_UP,
        Word.UNSTEADY: Step.GIVEN_UP,
        Word.STEADY: Step.PULL,
    },
    # A quick gateway moves traffic before the line is judged: that is seen as soon as the line is gone.
    Step.PULL: {
        Word.QUIT: Step.GIVEN_UP,
        Word.UNSEEN: Step.GIVEN_UP,
        Word.GONE: Step.MOVING,
        Word.LATE: Step.GIVEN_UP,
    },
    Step.MOVING: {
        Word.QUIT: Step.GIVEN_UP,
        Word.UNSEEN: Step.GIVEN_UP,
        Word.MOVED: Step.SECOND,
        Word.UP: Step.HOMING,
        Word.LATE: Step.RETURN,
    },
    Step.SECOND: {
        Word.QUIT: Step.GIVEN_UP,
        Word.UNSEEN: Step.GIVEN_UP,
        Word.STAYED: Step.RETURN,
        Word.UP: Step.HOMING,
    },
    Step.RETURN: {
        Word.QUIT: Step.GIVEN_UP,
        Word.UNSEEN: Step.GIVEN_UP,
        Word.UP: Step.HOMING,
        Word.LATE: Step.GIVEN_UP,
    },
    Step.HOMING: {
        Word.QUIT: Step.GIVEN_UP,
        Word.UNSEEN: Step.GIVEN_UP,
        Word.BACK: Step.SETTLING,
        Word.LATE: Step.SETTLING,
    },
    # All has happened by now; only the judge's last words are waited for.
    Step.SETTLING: {Word.QUIT: Step.DONE, Word.UNSEEN: Step.DONE, Word.SETTLED: Step.DONE, Word.LATE: Step.DONE},
    Step.DONE: {},
    Step.GIVEN_UP: {},
}
"""Where a step goes on a word; on any other it stays."""

ENDS: Final = frozenset({Step.DONE, Step.GIVEN_UP})
OUT: Final = frozenset({Step.PULL, Step.MOVING, Step.SECOND, Step.RETURN})
"""The steps at which the plug may be out."""

_WHY: Final[Mapping[Step, Mapping[Word, str]]] = {
    Step.STEADY: {Word.UNSTEADY: "the lines were not steady before the plug was to be pulled"},
    Step.PULL: {Word.LATE: "the line never went down"},
    Step.RETURN: {Word.LATE: "the line did not come back up"},
}
_WHY_EVER: Final = {Word.QUIT: "it was stopped by hand", Word.UNSEEN: "the daemon fell silent"}


@dataclass(frozen=True, slots=True)
class Patience:
    """How long each step may take, or lasts, in monotonic nanoseconds.

    Attributes:
        steady_ns: The lines are watched for so long before the plug is pulled.
        hand_ns: A person may take so long to pull the plug, and to put it back until the line is up.
        move_ns: Traffic has so long to move once the line is gone.
        stay_ns: The second line is watched for so long.
        back_ns: Traffic has so long to come back once the line is up.
        settle_ns: The record has so long to hold the judge's last words.
        unseen_ns: The daemon may be silent for so long.
    """

    steady_ns: int = 10 * NS_PER_S
    hand_ns: int = 600 * NS_PER_S
    move_ns: int = 120 * NS_PER_S
    stay_ns: int = 60 * NS_PER_S
    back_ns: int = 300 * NS_PER_S
    settle_ns: int = 60 * NS_PER_S
    unseen_ns: int = 15 * NS_PER_S

    @property
    def longest_ns(self) -> int:
        """The longest that a drill can take from the yes to its end."""
        return self.steady_ns + 2 * self.hand_ns + self.move_ns + self.stay_ns + self.back_ns + self.settle_ns


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What is known at an instant.

    Attributes:
        at_ns: The instant (monotonic).
        states: Each uplink's state; empty while the daemon does not answer.
        carrying: The carrying uplink, None for none.
        known: Whether it is known.
        said: What the person said by now.
        settled: Whether the record holds all that the answers wait for.
    """

    at_ns: int
    states: Mapping[str, State]
    carrying: str | None = None
    known: bool = False
    said: Said = Said.NOTHING
    settled: bool = False


@dataclass(frozen=True, slots=True)
class Passed:
    """A step that was entered: what was seen then, and the word that led there; None for the first."""

    step: Step
    view: View
    word: Word | None = None


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill as it stands.

    Attributes:
        uplink: Whose failover is rehearsed.
        patience: How long each step may take.
        passed: The steps so far, the present one last.
        seen_ns: When the daemon last answered (monotonic).
    """

    uplink: str
    patience: Patience
    passed: tuple[Passed, ...]
    seen_ns: int

    @property
    def step(self) -> Step:
        """The present step."""
        return self.passed[-1].step

    @property
    def second(self) -> str | None:
        """The line that traffic was seen to move to, None while it was not."""
        entered = self.when(Step.SECOND)
        return None if entered is None else entered.view.carrying

    def when(self, step: Step) -> Passed | None:
        """Return how a step was entered, None if it was not."""
        return next((passed for passed in self.passed if passed.step is step), None)


_UP: Final = frozenset({State.UP, State.IMPAIRED})
_GONE: Final = frozenset({State.DOWN, State.UNOBSERVED})


def begun(uplink: str, patience: Patience, view: View) -> Drill:
    """Return a drill that was announced."""
    return Drill(uplink, patience, (Passed(Step.ANNOUNCED, view),), view.at_ns)


def follow(drill: Drill, view: View) -> Drill:
    """Take in a view: the drill goes as many steps as the view is worth."""
    if view.states:
        drill = replace(drill, seen_ns=view.at_ns)
    while (word := _word(drill, view)) is not None:
        drill = replace(drill, passed=(*drill.passed, Passed(TABLE[drill.step][word], view, word)))
    return drill


def why_given_up(drill: Drill) -> str | None:
    """Say why a drill was given up, None if it was not."""
    if drill.step is not Step.GIVEN_UP:
        return None
    before, word = drill.passed[-2].step, drill.passed[-1].word
    assert word is not None  # noqa: S101 - no drill begins with its end
    return _WHY.get(before, {}).get(word) or _WHY_EVER[word]


def in_order(uplink: str, view: View) -> bool:
    """Return whether traffic is on a line that is up, and another line is up."""
    others = [state for name, state in view.states.items() if name != uplink]
    mine = view.states.get(uplink) in _UP and view.known and view.carrying == uplink
    return mine and any(state in _UP for state in others)


def _word(drill: Drill, view: View) -> Word | None:
    return next((word for word in Word if word in TABLE[drill.step] and _HOLDS[word](drill, view)), None)


def _up(drill: Drill, view: View) -> bool:
    return view.states.get(drill.uplink) in _UP


def _since_ns(drill: Drill, view: View) -> int:
    return view.at_ns - drill.passed[-1].view.at_ns


def _limit_ns(drill: Drill) -> int:
    patience = drill.patience
    return {
        Step.PULL: patience.hand_ns,
        Step.MOVING: patience.move_ns,
        Step.RETURN: patience.hand_ns,
        Step.HOMING: patience.back_ns,
        Step.SETTLING: patience.settle_ns,
    }[drill.step]


_HOLDS: Final[Mapping[Word, Callable[[Drill, View], bool]]] = {
    Word.QUIT: lambda _drill, view: view.said is Said.QUIT,
    Word.UNSEEN: lambda drill, view: view.at_ns - drill.seen_ns >= drill.patience.unseen_ns,
    Word.YES: lambda _drill, view: view.said is Said.YES,
    Word.UNSTEADY: lambda drill, view: bool(view.states) and not in_order(drill.uplink, view),
    Word.STEADY: lambda drill, view: (
        in_order(drill.uplink, view) and _since_ns(drill, view) >= drill.patience.steady_ns
    ),
    Word.GONE: lambda drill, view: view.states.get(drill.uplink) in _GONE,
    Word.MOVED: lambda drill, view: view.known and view.carrying not in {None, drill.uplink},
    Word.STAYED: lambda drill, view: _since_ns(drill, view) >= drill.patience.stay_ns,
    Word.BACK: lambda drill, view: _up(drill, view) and view.known and view.carrying == drill.uplink,
    Word.UP: _up,
    Word.SETTLED: lambda _drill, view: view.settled,
    Word.LATE: lambda drill, view: _since_ns(drill, view) >= _limit_ns(drill),
}
"""When each word holds."""
