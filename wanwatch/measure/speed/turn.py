"""One test a site at a time: an advisory lock on a file, let go by the kernel however the holder ends."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from wanwatch.measure.speed.errors import BusyError, NoLockError

LOCK_NAME: Final = "speed.lock"


@contextmanager
def turn(folder: Path) -> Iterator[None]:
    """Hold the site's turn for a test; *folder* is its data_dir.

    Raises:
        BusyError: Another test is under way.
        NoLockError: The lock file cannot be made.
    """
    path = folder / LOCK_NAME
    fd = _open(path)
    try:
        _take(fd)
        yield
    finally:
        os.close(fd)


def _open(path: Path) -> int:
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as error:
        with suppress(OSError):  # another user's file, such as the daemon's, still locks
            return os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        raise NoLockError(path, error) from error


def _take(fd: int) -> None:
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        pid = os.pread(fd, 32, 0).strip()
        raise BusyError(int(pid) if pid.isdigit() else None) from None
    # Of fixed width, so that a shorter id leaves no digit of a longer one.
    with suppress(OSError):  # the id only makes the message better
        os.pwrite(fd, b"%-12d" % os.getpid(), 0)
