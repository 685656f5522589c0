"""The record of a drill: an event from the moment of the yes, told again at its end."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from wanwatch.core.drill.answers import Answer
from wanwatch.core.drill.programme import Drill, Step, why_given_up
from wanwatch.core.judge.events import event_id
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Json

LONGEST_NS: Final = 4 * 3600 * NS_PER_S
"""No drill takes longer. One whose record has no end by then lost its command (a power cut, say) and is over."""
DONE: Final = "done"
GIVEN_UP: Final = "given-up"


def as_event(
    drill: Drill, site: str, start_unix_ns: int, end_unix_ns: int | None = None, found: Sequence[Answer] = ()
) -> Event:
    """Return the drill as the record keeps it.

    Args:
        drill: The drill.
        site: The site's name.
        start_unix_ns: The moment of the yes (wall clock).
        end_unix_ns: When it ended; None while it goes on.
        found: Its answers.
    """
    detail: dict[str, Json] = {}
    if end_unix_ns is not None:
        why = why_given_up(drill)
        detail = {
            "outcome": GIVEN_UP if drill.step is Step.GIVEN_UP else DONE,
            **({"why": why} if why else {}),
            "steps": _steps(drill),
            "answers": [_answer(answer) for answer in found],
        }
    return Event(
        id=event_id(EventKind.DRILL, drill.uplink, start_unix_ns),
        site=site,
        kind=EventKind.DRILL,
        uplink=drill.uplink,
        start=_exactly(start_unix_ns),
        end=None if end_unix_ns is None else _exactly(end_unix_ns),
        from_uplink=drill.uplink,
        to_uplink=drill.second,
        drill=True,
        detail=detail,
    )


def given_up(left: Event, now_unix_ns: int, why: str) -> Event:
    """Return the record of a drill whose command ended without a word, with an end."""
    end_unix_ns = min(now_unix_ns, left.start.estimate_unix_ns + LONGEST_NS)
    return replace(left, end=_exactly(end_unix_ns), detail={**left.detail, "outcome": GIVEN_UP, "why": why})


def _steps(drill: Drill) -> Json:
    begun_ns = drill.passed[0].view.at_ns
    return [
        {"step": passed.step.value, "after_s": round((passed.view.at_ns - begun_ns) / NS_PER_S, 3)}
        for passed in drill.passed
    ]


def _answer(answer: Answer) -> Json:
    return {
        "about": answer.about.value,
        "question": answer.question,
        "answer": answer.verdict.value,
        "says": answer.says,
        "values": dict(answer.values),
        "evidence": list(answer.evidence),
    }


def _exactly(unix_ns: int) -> Bounds:
    return Bounds(unix_ns, unix_ns, unix_ns)
