"""The store's errors: what a person has to mend before there can be a record."""

from pathlib import Path

from wanwatch.core.errors import WanwatchError


class StoreError(WanwatchError):
    """The record cannot be opened or read.

    Attributes:
        path: The database file.
        reason: Why not.
    """

    def __init__(self, path: Path, reason: str, mend: str) -> None:
        self.path = path
        self.reason = reason
        super().__init__(f"store '{path}': {reason}; {mend}")


class StoreLockedError(StoreError):
    """Another daemon keeps this record.

    Attributes:
        pid: Its process id, None where it cannot be told.
    """

    def __init__(self, path: Path, pid: int | None) -> None:
        self.pid = pid
        holder = "another process" if pid is None else f"process {pid}"
        super().__init__(path, f"already kept by {holder}", "stop that one, or give this one its own site.data_dir")


class StoreSchemaError(StoreError):
    """The file's schema is not one that this program can use.

    Attributes:
        found: The file's schema version.
        known: The version that this program writes.
    """

    def __init__(self, path: Path, found: int, known: int) -> None:
        self.found = found
        self.known = known
        newer = found > known
        super().__init__(
            path,
            f"its schema version is {found}, this program {'knows no newer than' if newer else 'reads'} {known}",
            "run the newer wanwatch that wrote it"
            if newer
            else "start `wanwatch run` once, which brings it up to date",
        )


class NoRecordError(StoreError):
    """There is no file to read."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, "no such file", "check site.data_dir, or start `wanwatch run`, which makes it")


class WriteError(Exception):
    """A write that failed, for now: what was to be written stays in memory. Never leaves the store."""
