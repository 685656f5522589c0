"""Announcing: what a command writes into a record, beside a daemon that writes or without one.

Each is a short transaction of its own: the write-ahead log lets it wait for the daemon's, and the daemon for it.
"""

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path

from wanwatch.core.model import Event, EventKind, Measurement
from wanwatch.core.notices import Post
from wanwatch.store._errors import NoRecordError, StoreError, WriteError
from wanwatch.store._ledger import SqliteLedger
from wanwatch.store._lock import Lock
from wanwatch.store._rows import event_row, measurement_row, post_row


def announce(path: Path, site: str, windows: Sequence[Event]) -> list[str]:
    """Commit the events of planned work or of a drill, all or none; a record that is not there is made.

    Returns:
        The ids that are taken already; none was kept unless this is empty.

    Raises:
        StoreError: The file cannot be made or written.
    """
    with _ledger(path, site) as ledger:
        return ledger.add_events([event_row(window) for window in windows])


def keep_measurement(path: Path, site: str, measured: Measurement) -> None:
    """Commit what a command has measured; a record that is not there is made.

    Raises:
        StoreError: The file cannot be made or written.
    """
    with _ledger(path, site) as ledger:
        ledger.keep_measurements([measurement_row(measured)])


def put_in_outbox(path: Path, site: str, post: Post) -> None:
    """Commit a letter for the daemon to send; a record that is not there is made.

    Raises:
        StoreError: The file cannot be made or written.
    """
    with _ledger(path, site) as ledger:
        ledger.keep_posts([post_row(post)])


def tell_again(path: Path, site: str, event: Event) -> None:
    """Commit an event whose id is kept already: what was announced has ended, and more is known of it.

    Raises:
        StoreError: The file cannot be written.
    """
    with _ledger(path, site) as ledger:
        ledger.keep([event_row(event)], {}, {})


def withdraw(path: Path, site: str, event_id: str) -> bool:
    """Take planned work out of the record; False if there is none of that id.

    Raises:
        NoRecordError: There is no such file.
        StoreError: The file cannot be written.
    """
    if not path.exists():
        raise NoRecordError(path)
    with _ledger(path, site) as ledger:
        return ledger.delete_event(event_id, EventKind.PLANNED_WORK)


def the_only_drill(path: Path) -> AbstractContextManager[None]:
    """Hold what one drill of a record can hold at a time; the kernel lets go of it however the holder ends.

    Raises:
        StoreLockedError: Another process holds it.
        StoreError: The folder cannot be written.
    """
    return _held(path.with_name("drill"))


def the_only_acceptance(path: Path) -> AbstractContextManager[None]:
    """Hold likewise what one acceptance test of a record can hold at a time; errors are the same."""
    return _held(path.with_name("accept"))


@contextmanager
def _held(path: Path) -> Iterator[None]:
    lock = Lock(path)
    lock.take()
    try:
        yield
    finally:
        lock.release()


@contextmanager
def _ledger(path: Path, site: str) -> Iterator[SqliteLedger]:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with closing(SqliteLedger(path, site)) as ledger:
            yield ledger
    except (WriteError, OSError) as error:
        why = error.strerror or str(error) if isinstance(error, OSError) else str(error)
        mend = "check that site.data_dir is writable for this user and its disk is neither full nor read-only"
        raise StoreError(path, f"cannot be written: {why}", mend) from error
