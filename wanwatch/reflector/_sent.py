"""What TCP has sent for downloads: only the sender knows what it had to send again.

Sources: RFC 6349 section 4.2 (what the figures are for); see `wanwatch.core.wire.tcp_info`.
"""

import socket
from typing import NamedTuple, Self

from wanwatch.core.wire import tcp_info


class Sent(NamedTuple):
    """What one or several connections sent.

    Attributes:
        sent: Payload bytes, those sent again included.
        retransmitted: Of them, those sent again.
    """

    sent: int = 0
    retransmitted: int = 0

    def plus(self, other: Self) -> "Sent":
        """Add what another connection sent."""
        return Sent(self.sent + other.sent, self.retransmitted + other.retransmitted)


def look(sock: socket.socket | None) -> Sent | None:
    """Return what a connection has sent so far; None where the kernel does not tell, or no more."""
    try:
        held = sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, tcp_info.SIZE) if sock else b""
    except OSError:
        return None
    info = tcp_info.parse(held)
    if info.sent is None or info.retransmitted is None:
        return None
    return Sent(info.sent, info.retransmitted)
