"""Evidence: the facts that are stored with an event, as short lines of text.

A key's ending names its unit, as everywhere in the program: `_ratio` is printed in percent, `_s` as a length of time,
`_at` as an instant.
"""

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from typing import Final

from wanwatch.core.instants import InstantError, instant_from_text
from wanwatch.core.model import NS_PER_S, Event, Json
from wanwatch.core.planned import AFTERWARDS, BEFOREHAND
from wanwatch.core.traced import ROUTES
from wanwatch.report.pen import Pen

_ANNOUNCED: Final = {
    BEFOREHAND: "announced beforehand",
    AFTERWARDS: "announced afterwards, so no contract counts it out",
}
_UNKEPT: Final = "nothing kept this computer's clock right: the instants may be off, all alike"
_BOUNDS: Final = "_bounds_s"
_TRAFFIC: Final = {"echo": "path", "connect": "new connections", "held": "open connection"}
_RUNG: Final = {"answered": "answered", "silent": "silent", "unknown": "not known"}


def evidence(event: Event, pen: Pen) -> list[str]:
    """Return the facts of an event's detail, one a line, in their stored order."""
    bounds = {key for key in event.detail if key.endswith(_BOUNDS)}
    told = {key: value for key, value in event.detail.items() if key not in bounds}
    found = []
    for key, value in told.items():
        between = event.detail.get(f"{key.removesuffix('_s')}{_BOUNDS}")
        found += [f"{line}{_surely(between, pen)}" for line in _lines(key, value, pen)]
    return found


def _surely(between: Json, pen: Pen) -> str:
    """Say the least and the most that a length of time can have been, where they are told beside it."""
    if not isinstance(between, list) or not between:
        return ""
    return f" ({' to '.join(_fact(_BOUNDS, seconds, pen) for seconds in between)})"


def _lines(key: str, value: Json, pen: Pen) -> Iterator[str]:
    """A mapping or a list of facts gives one line each; a plain value gives one."""
    label = _label(key)
    if key == "announced":
        yield _ANNOUNCED.get(str(value), str(value))
    elif key == "clock":
        if isinstance(value, dict) and value.get("synchronised") is False:
            yield _UNKEPT
    elif key == ROUTES:
        return  # a dossier has them side by side; as a line of facts they would say nothing
    elif key == "interruption" and isinstance(value, Mapping):
        yield from (
            f"{_TRAFFIC.get(kind, kind)} cut off: {_cut_off(found, pen)}"
            for kind, found in value.items()
            if isinstance(found, Mapping)
        )
    elif isinstance(value, Mapping):
        for inner, fact in value.items():
            yield f"{label}, {_label(inner)}: {_fact(inner, fact, pen)}"
    elif isinstance(value, list) and any(isinstance(part, dict) for part in value):
        for part in value:
            yield _rung(part, pen) if isinstance(part, dict) and "rung" in part else _fact(key, part, pen)
    else:
        yield f"{label}: {_fact(key, value, pen)}"


def _cut_off(found: Mapping[str, Json], pen: Pen) -> str:
    """Say how long a kind of traffic was cut off, at the least and at the most, and whether what was open lived."""
    length, least, most = (
        pen.duration(round(seconds * NS_PER_S)) if isinstance(seconds := found.get(key), int | float) else None
        for key in ("s", "low_s", "high_s")
    )
    ended = {True: ", it survived", False: ", it broke"}.get(found.get("survived"), "")  # type: ignore[call-overload]
    if least is None:
        return f"not observed{ended}"
    return f"{length} ({least} to {most}){ended}" if length and most else f"at least {least}{ended}"


def _rung(rung: dict[str, Json], pen: Pen) -> str:
    """Say what one rung of the fault ladder said, and when it last answered if it fell silent."""
    said = str(rung.get("said"))
    answered = rung.get("last_answered")
    last = f" after {_instant(answered, pen.clock)}" if said == "silent" and isinstance(answered, str) else ""
    return f"{_label(str(rung['rung']))} {_RUNG.get(said, said)}{last}"


def _instant(text: str, say: Callable[[int], str]) -> str:
    try:
        return say(instant_from_text(text))
    except InstantError:  # a record is read as it is; what cannot be read as an instant is shown as it stands
        return text


def _label(key: str) -> str:
    return key.removesuffix("_ratio").removesuffix("_s").replace("_", " ").replace("-", " ")


def _fact(key: str, value: Json, pen: Pen) -> str:
    match value:
        case None:
            return "not known"
        case bool():
            return "yes" if value else "no"
        case list():
            return ", ".join(_fact(key, part, pen) for part in value) or "none"
        case dict():
            return ", ".join(f"{_label(inner)} {_fact(inner, part, pen)}" for inner, part in value.items())
        case int() | float():
            return _number(key, value, pen)
        case _:
            return _instant(value, pen.instant) if key.endswith("_at") else value


def _number(key: str, value: float, pen: Pen) -> str:
    if key.endswith("_ratio"):
        return pen.per_cent(Fraction(str(value)), 1)
    if key.endswith("_s"):
        return (
            pen.duration(round(value * NS_PER_S))
            if abs(value) >= 1
            else pen.milliseconds(Fraction(str(value)) * 1_000_000)
        )
    return pen.figures_in(f"{value:.6g}") if isinstance(value, float) else f"{value:.6g}"
