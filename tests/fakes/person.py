"""A person at a terminal: runs a command in a pseudo-terminal, reads what it says, and types."""

import os
import pty
import select
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from types import TracebackType
from typing import Final, Self

_COLUMNS: Final = "100"


class Person:
    """One command at a terminal. Use as a context manager.

    Args:
        command: The command.
        env: Its environment.

    Attributes:
        read: All that it said so far, without colours.
    """

    def __init__(self, command: Sequence[str], env: Mapping[str, str]) -> None:
        self._terminal, theirs = pty.openpty()
        environ = {**env, "TERM": "xterm", "NO_COLOR": "1", "COLUMNS": _COLUMNS}
        self._process = subprocess.Popen(command, env=environ, stdin=theirs, stdout=theirs, stderr=theirs)
        os.close(theirs)
        self._left = False
        self.read = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self.leave()

    def leave(self) -> None:
        """Close the terminal."""
        if not self._left:
            os.close(self._terminal)
        self._left = True

    def expect(self, text: str, within_s: float = 60.0) -> None:
        """Read until it says *text*, and fail with all that it said where it never does."""
        deadline = time.monotonic() + within_s
        while text not in self.read:
            assert time.monotonic() < deadline, f"it never said {text!r}, but:\n{self.read}"
            assert self._more(), f"it ended without saying {text!r}, but:\n{self.read}"

    def type(self, text: str) -> None:
        """Type a line."""
        os.write(self._terminal, f"{text}\n".encode())

    def interrupt(self) -> None:
        """Do as Ctrl-C does."""
        self._process.send_signal(signal.SIGINT)

    def ended(self, within_s: float = 60.0) -> int:
        """Read to its end, and return its exit code."""
        deadline = time.monotonic() + within_s
        while self._more():
            assert time.monotonic() < deadline, f"it never ended:\n{self.read}"
        return self._process.wait(5)

    def gone(self, within_s: float = 10.0) -> None:
        """Wait for its end without a terminal."""
        self._process.wait(within_s)

    def _more(self) -> bool:
        """Read what there is, for half a second at most; False once there will be no more."""
        if not select.select([self._terminal], [], [], 0.5)[0]:
            return True
        try:
            said = os.read(self._terminal, 65_536)
        except OSError:  # Linux says EIO where everybody has left the terminal
            return False
        self.read += said.decode(errors="replace").replace("\r\n", "\n")
        return bool(said)
