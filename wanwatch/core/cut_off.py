"""Cut off by kind: what a switch's `detail.interruption` says of names, new connections and the open one, in words."""

from collections.abc import Callable, Mapping
from typing import Final

from wanwatch.core.model import Event, Json

Duration = Callable[[float], str]
"""A length of time, given in seconds, in words."""

_KINDS: Final = {"names": "names", "connect": "new connections"}


def by_kind(event: Event, duration: Duration) -> list[str]:
    """Return a clause for each kind that was watched, such as `names were back after 1.2 s`.

    The path's own figure, `echo`, is the event's `interruption_s`, and has no clause here.
    """
    said = event.detail.get("interruption")
    if not isinstance(said, Mapping):
        return []
    clauses = [_back(name, said.get(kind), duration) for kind, name in _KINDS.items()]
    return [clause for clause in (*clauses, _held(said.get("held"), duration)) if clause]


def _back(name: str, said: Json, duration: Duration) -> str:
    length_s, least_s = _seconds(said, "s"), _seconds(said, "low_s")
    if length_s is not None:
        return f"{name} were back after {duration(length_s)}" if length_s else f"{name} worked all along"
    return f"{name} were away for at least {duration(least_s)}" if least_s else ""


def _held(said: Json, duration: Duration) -> str:
    length_s, least_s = _seconds(said, "s"), _seconds(said, "low_s")
    survived = said.get("survived") if isinstance(said, dict) else None
    if survived is None:
        return f"the open connection was silent for at least {duration(least_s)}" if least_s else ""
    silent = f" a silence of {duration(length_s)}" if length_s else ""
    again = f" and was replaced after {duration(length_s)}" if length_s else ""
    return f"the open connection survived{silent}" if survived else f"the open connection broke{again}"


def _seconds(said: Json, key: str) -> float | None:
    found = said.get(key) if isinstance(said, dict) else None
    return float(found) if isinstance(found, int | float) else None
