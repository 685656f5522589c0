"""One daemon a record: an advisory lock on a file beside the database, let go by the kernel however the holder ends."""

import fcntl
import os
from contextlib import suppress
from pathlib import Path

from wanwatch.store._errors import StoreError, StoreLockedError


class Lock:
    """Holds the lock from `take` to `release`, or to the process's end."""

    def __init__(self, path: Path) -> None:
        self._store = path
        self._file = path.with_name(path.name + ".lock")
        self._fd: int | None = None

    def take(self) -> None:
        """Take the lock and leave this process's id in the file.

        Raises:
            StoreLockedError: Another process holds it.
            StoreError: The lock file can be neither made nor opened.
        """
        fd = self._open()
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            pid = os.pread(fd, 32, 0).strip()
            os.close(fd)
            raise StoreLockedError(self._store, int(pid) if pid.isdigit() else None) from error
        # Of fixed width, so that a shorter id leaves no digit of a longer one; a full disk spoils only the name.
        with suppress(OSError):
            os.pwrite(fd, b"%-12d" % os.getpid(), 0)
        self._fd = fd

    def release(self) -> None:
        """Let go; may be called when nothing is held."""
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None

    def _open(self) -> int:
        with suppress(OSError):
            self._file.parent.mkdir(parents=True, exist_ok=True)
        # A read-only file system still locks, and a daemon there must start: it watches and tells, and waits to write.
        try:
            return os.open(self._file, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
        except OSError as error:
            with suppress(OSError):
                return os.open(self._file, os.O_RDONLY | os.O_CLOEXEC)
            reason = f"cannot make the lock file '{self._file.name}': {error.strerror}"
            raise StoreError(self._store, reason, "check that site.data_dir exists and is writable") from error
