"""Since when addresses have been known: who is new is told what goes on, and nothing of what lies behind."""

from collections.abc import Iterable

from wanwatch.core.model import Json


def known_since(remembered: Json, addresses: Iterable[str], now_unix_ns: int) -> dict[str, int]:
    """Return since when each address has been known, as Unix nanoseconds; the value to be remembered from now on.

    Args:
        remembered: What was remembered before; None at first.
        addresses: Those that are to be told now. Any other is forgotten, and new again when it comes back.
        now_unix_ns: The wall clock.
    """
    before = remembered if isinstance(remembered, dict) else {}
    found = {to: before.get(to) for to in addresses}
    return {to: min(since, now_unix_ns) if isinstance(since, int) else now_unix_ns for to, since in found.items()}
