"""A limit of answers for each address that asks, in memory that a stranger cannot fill."""

from collections import OrderedDict
from typing import Final

from wanwatch.asker import account

_NS_PER_S: Final = 1_000_000_000


class Limiter:
    """Grant each address a burst, then a steady rate.

    A forged source address gets no more than its share of packets thrown at it; the address that was quiet the
    longest is forgotten first, which costs an attacker's own addresses before it costs a steady sender.

    Args:
        per_s: Answers a second that one address may have.
        burst: Answers that it may have at once.
        addresses: How many addresses are remembered.
    """

    def __init__(self, per_s: float, burst: int, *, addresses: int = 4096) -> None:
        self._gap_ns = int(_NS_PER_S / per_s)
        self._slack_ns = burst * self._gap_ns
        self._addresses = addresses
        self._due: OrderedDict[bytes, int] = OrderedDict()  # when the address's account is level again

    def allow(self, address: str, now_ns: int) -> bool:
        """Tell whether *address* may be answered at *now_ns* (monotonic), and count the answer if so."""
        whose = account(address)
        due = max(self._due.get(whose, now_ns), now_ns) + self._gap_ns
        if due - now_ns > self._slack_ns:
            return False
        self._due[whose] = due
        self._due.move_to_end(whose)
        if len(self._due) > self._addresses:
            self._due.popitem(last=False)
        return True
