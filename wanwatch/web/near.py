"""Near: the socket in the record's folder by which commands on this machine ask the daemon.

They need no token and no certificate for it: whoever may open the socket may read the record as well.

Source:   unix(7).
"""

import contextlib
import os
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Final

_NAME: Final = "wanwatch.sock"
_MODE: Final = 0o660


def bind(folder: Path) -> socket.socket:
    """Return a listening socket in *folder*, in the place of one that was left there; the record's lock is ours.

    Raises:
        OSError: The folder takes no socket.
    """
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        release(folder)
        with _short(folder) as path:
            listening.bind(path)
            os.chmod(path, _MODE)  # noqa: PTH101 - a path that leads through an open folder
        listening.listen(16)
    except OSError:
        listening.close()
        raise
    return listening


def connect(folder: Path, timeout_s: float) -> socket.socket:
    """Return a socket that is connected to the daemon whose record is in *folder*.

    Raises:
        OSError: There is none, or whoever asks may not.
    """
    asking = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        asking.settimeout(timeout_s)
        with _short(folder) as path:
            asking.connect(path)
    except OSError:
        asking.close()
        raise
    return asking


def release(folder: Path) -> None:
    """Take the socket out of *folder*."""
    (folder / _NAME).unlink(missing_ok=True)


@contextlib.contextmanager
def _short(folder: Path) -> Iterator[str]:
    """Lead to the socket through the open folder: an address holds 107 bytes, and a path may be longer."""
    held = os.open(folder, os.O_PATH | os.O_DIRECTORY)
    try:
        yield f"/proc/self/fd/{held}/{_NAME}"
    finally:
        os.close(held)
