"""Apart: names that are written from right to left, set apart so that what stands around them keeps its order.

Source: Unicode Standard Annex 9 (bidirectional algorithm), sections 2.4 (isolates) and 3.2 (classes).
"""

import unicodedata
from dataclasses import replace
from typing import Final

from wanwatch.core.model import Event, Json

_LEFTWARD: Final = frozenset({"R", "AL", "AN"})
_APART: Final = "\u2068{}\u2069"  # FIRST STRONG ISOLATE to POP DIRECTIONAL ISOLATE


def one_line(text: str) -> str:
    """Return *text* as one printable line: whatever is neither letter, sign nor space leaves a space."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def apart(name: str) -> str:
    """Return a name for use within a sentence; the configuration has refused all marks of direction in it."""
    leftward = any(unicodedata.bidirectional(letter) in _LEFTWARD for letter in name)
    return _APART.format(name) if leftward else name


def event_apart(event: Event) -> Event:
    """Return an event whose names and remarks can stand within a sentence."""
    return replace(
        event,
        uplink=_maybe(event.uplink),
        from_uplink=_maybe(event.from_uplink),
        to_uplink=_maybe(event.to_uplink),
        detail={key: _fact(fact) for key, fact in event.detail.items()},
    )


def _maybe(name: str | None) -> str | None:
    return None if name is None else apart(name)


def _fact(fact: Json) -> Json:
    return apart(fact) if isinstance(fact, str) else fact
