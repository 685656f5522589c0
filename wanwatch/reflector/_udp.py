"""One UDP socket that answers, never with more than it was asked, and no address more often than its share.

Both rules live here and not in the protocols, so that a new protocol cannot forget them.
"""

import asyncio
import time
from typing import Final

from wanwatch.reflector import _socket
from wanwatch.reflector._errors import CannotListenError
from wanwatch.reflector._limiter import Limiter

_BATCH: Final = 64  # datagrams a wake-up, so that a flood cannot keep the loop from everything else


class UdpServer:
    """One listening socket; answers from the moment it is made until `close`. A protocol overrides `reply`.

    Args:
        address: IPv4 or IPv6 address to listen on; `::` listens to both families.
        port: UDP port; 0 for any free one.
        per_s: Answers a second that one address may have.
        burst: Answers that it may have at once.

    Attributes:
        port: The port that it listens on.
        answered: Datagrams that were answered.
        ignored: Datagrams that were no question, or that were shorter than their answer.
        limited: Datagrams left unread because their address asks too often.
        least_bytes: How long an answer may always be; 0: never longer than its question.

    Raises:
        CannotListenError: It cannot listen there.
    """

    least_bytes = 0

    def __init__(self, address: str, port: int, *, per_s: float = 1000.0, burst: int = 2000) -> None:
        try:
            self._sock = _socket.open_udp(address, port)
        except (OSError, ValueError) as error:
            raise CannotListenError(address, port, error) from error
        self.port: int = self._sock.getsockname()[1]
        self.answered = self.ignored = self.limited = 0
        self._limiter = Limiter(per_s, burst)
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(self._sock, self._drain)

    def reply(self, datagram: _socket.Datagram) -> bytes | None:
        """Return the answer to *datagram*; None where it is no question."""
        raise NotImplementedError

    def wake(self, now_ns: int) -> None:
        """Do what has to be done once before a batch of answers."""

    def close(self) -> None:
        """Stop answering and give the port back."""
        self._loop.remove_reader(self._sock)
        self._sock.close()

    def _drain(self) -> None:
        now_ns = time.monotonic_ns()
        self.wake(now_ns)
        for _ in range(_BATCH):
            datagram = _socket.receive(self._sock, time.time_ns)
            if datagram is None:
                return
            if self._limiter.allow(datagram.peer[0], now_ns):
                self._answer(datagram)
            else:
                self.limited += 1

    def _answer(self, datagram: _socket.Datagram) -> None:
        answer = self.reply(datagram)
        if answer is None or len(answer) > max(len(datagram.data), self.least_bytes):
            self.ignored += 1
        elif _socket.send_back(self._sock, answer, datagram):
            self.answered += 1
