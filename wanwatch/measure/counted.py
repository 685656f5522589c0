"""Counted: connections that tell how much they have moved over a line, once they are closed.

Source:      Linux tcp(7), TCP_INFO; RFC 9293 sections 3.1 and 3.6 (header, close); RFC 7323 (the timestamps option).
Departures:  options of the first two packets, 8 bytes more each, are left out; a close is reckoned as four packets.
"""

import socket
from collections.abc import Callable
from typing import Final

from wanwatch.core.wire import tcp_info

_IP_BYTES: Final = {socket.AF_INET: 20, socket.AF_INET6: 40}
_TCP_BYTES: Final = 20
_TIMESTAMPS_BYTES: Final = 12
_CLOSE_PACKETS: Final = 4


class Counted(socket.socket):
    """A TCP socket that counts.

    Args:
        made: The socket, not connected yet; it is taken over.
        tell: Called with the bytes of IP packets that went both ways, when it is closed.
    """

    def __init__(self, made: socket.socket, tell: Callable[[int], None]) -> None:
        super().__init__(fileno=made.detach())
        self.settimeout(0)
        self._tell: Callable[[int], None] | None = tell

    def dup(self) -> "Counted":
        """Return another one of the same connection, which counts in its stead."""
        tell, self._tell = self._tell, None
        return Counted(socket.fromfd(self.fileno(), self.family, self.type, self.proto), tell or _nobody)

    def close(self) -> None:
        """Count, and close."""
        if self._tell is not None and self.fileno() >= 0:
            self._tell(self._bytes())
            self._tell = None
        super().close()

    def _bytes(self) -> int:
        info = tcp_info.parse(self.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, tcp_info.SIZE))
        packets = (info.packets_out or 0) + (info.packets_in or 0)
        if not packets:  # nothing ever left
            return 0
        header = _IP_BYTES[socket.AddressFamily(self.family)] + _TCP_BYTES + _TIMESTAMPS_BYTES * info.timestamps
        closing = _CLOSE_PACKETS if info.packets_in else 0
        return (packets + closing) * header + (info.sent or 0) + (info.received or 0)


def _nobody(_: int) -> None:
    """Tell nobody: it was counted before."""
