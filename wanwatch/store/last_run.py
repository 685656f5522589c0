"""What the last run left behind for the next one."""

from pathlib import Path
from typing import Final, NamedTuple

from wanwatch.core.judge import Memory
from wanwatch.core.model import Event, EventKind, Json
from wanwatch.core.routes import Routes
from wanwatch.store._errors import NoRecordError, StoreError
from wanwatch.store.record import SqliteRecord

# Under which keys the daemon keeps values for its next run.
CARRYING: Final = "carrying"
PROOFS: Final = "proofs"
ROUTES: Final = "routes"
USUALS: Final = "usuals"


class LastRun(NamedTuple):
    """What the judge remembers, and what is known of the routes."""

    memory: Memory
    routes: Routes


def last_run(path: Path, site: str, now_unix_ns: int) -> LastRun:
    """Return what the run before *now_unix_ns* left behind; nothing, where there is no record yet."""
    try:
        with SqliteRecord(path) as record:
            carrying, proofs = record.recall(CARRYING, site), record.recall(PROOFS, site)
            usuals = record.recall(USUALS, site)
            uplink = carrying.get("uplink") if isinstance(carrying, dict) else None
            memory = Memory(
                open_events=tuple(record.open_events(site)),
                carrying=uplink if isinstance(uplink, str) else None,
                carrying_known=isinstance(carrying, dict),
                shares=_names(carrying.get("shares")) if isinstance(carrying, dict) else (),
                last_alive_unix_ns=record.last_alive(site, now_unix_ns),
                proofs=proofs if isinstance(proofs, dict) else {},
                usuals=usuals if isinstance(usuals, dict) else {},
            )
            return LastRun(memory, Routes(record.recall(ROUTES, site)))
    except NoRecordError:
        return LastRun(Memory(), Routes())


def recalled(path: Path, site: str, key: str) -> Json:
    """Return what was remembered under *key*, None if nothing was or the record cannot be read for now."""
    try:
        with SqliteRecord(path) as record:
            return record.recall(key, site)
    except StoreError:
        return None


def drills_kept(path: Path, site: str) -> list[Event] | None:
    """Return all drills of the record, by start; None where it cannot be read, or is not there yet."""
    try:
        with SqliteRecord(path) as record:
            return record.events(site, None, [EventKind.DRILL])
    except StoreError:
        return None


def _names(value: Json) -> tuple[str, ...]:
    return tuple(name for name in value if isinstance(name, str)) if isinstance(value, list) else ()
