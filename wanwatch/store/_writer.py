"""The one thread that writes. It holds what it could not write, and tries again until it can."""

import queue
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, field
from enum import IntEnum
from itertools import islice
from threading import Thread
from typing import Final, Protocol

from wanwatch.core.model import Series
from wanwatch.core.ports import Clock
from wanwatch.store._blocks import Gathered
from wanwatch.store._errors import StoreError, WriteError
from wanwatch.store._ledger import SqliteLedger
from wanwatch.store._prune import Prune
from wanwatch.store._rows import Row
from wanwatch.store._sightings import SightingRow

MINUTES_A_COMMIT: Final = 2
"""The running minute, and the one before it whose last losses were known only now; after a trouble, no more at once."""


class Tidings(Protocol):
    """What the writer has to say; called on its own thread."""

    def cannot_write(self, reason: str) -> None:
        """Writing failed, after it went well."""

    def can_write_again(self) -> None:
        """Writing goes well, after it failed."""


class Stage(IntEnum):
    """What is written before what: an event never waits for more than one short transaction of the others."""

    EVENTS = 0
    MINUTES = 1
    PRUNE = 2


@dataclass(slots=True)
class Work:
    """Something to write.

    *done* is settled when everything up to *stage* is on the disk (True), or when an attempt at it failed and it has
    to wait (False).
    """

    stage: Stage
    events: dict[str, Row] = field(default_factory=dict)
    notes: dict[str, str] = field(default_factory=dict)
    measurements: tuple[Row, ...] = ()
    posts: tuple[Row, ...] = ()
    minutes: dict[int, dict[Series, Gathered]] = field(default_factory=dict)
    sightings: tuple[SightingRow, ...] = ()
    alive: dict[int, int] = field(default_factory=dict)
    prune: Prune | None = None
    last: bool = False
    done: "Future[bool]" = field(default_factory=Future)


class Writer:
    """Takes work from the event loop and writes it, events first.

    Args:
        connect: Opens the file; raises WriteError while it cannot be written.
        clock: Times the steps of retention.
        tidings: Told when writing fails and when it goes again.
        retry_every_s: Pause between attempts while writing fails.
    """

    def __init__(
        self, connect: Callable[[], SqliteLedger], clock: Clock, tidings: Tidings, *, retry_every_s: float
    ) -> None:
        self._connect = connect
        self._clock = clock
        self._tidings = tidings
        self._retry_every_s = retry_every_s
        self._ledger: SqliteLedger | None = None
        self._queue: queue.SimpleQueue[Work] = queue.SimpleQueue()
        self._held = Work(Stage.PRUNE)
        self._asking: dict[Stage, list[Future[bool]]] = {stage: [] for stage in Stage}
        self._steps = (
            (Stage.EVENTS, self._write_events),
            (Stage.MINUTES, self._write_minutes),
            (Stage.PRUNE, self._prune),
        )
        self._thread = Thread(target=self._run, name="wanwatch-store", daemon=True)
        self.healthy = True
        self.busy = False

    def start(self) -> None:
        """Open the file, then begin to write.

        Raises:
            StoreError: The file will not do. A file that merely cannot be written now is told, and tried again.
        """
        try:
            self._ledger = self._connect()
        except WriteError as error:
            self._fail(error)
        self._thread.start()

    def put(self, work: Work) -> "Future[bool]":
        """Hand work over. After handing over minutes, wait until `busy` is False: one such batch is held at a time."""
        self.busy = self.busy or bool(work.minutes or work.sightings)
        self._queue.put(work)
        return work.done

    def join(self, timeout_s: float) -> None:
        """Wait for the thread to end after its last work, but not for longer than this."""
        self._thread.join(timeout_s)

    def _run(self) -> None:
        idle, ending = True, False
        while not (idle and ending):
            ending = self._gather(wait=idle) or ending
            if ending:
                self._held.prune = None
            idle = self._attempt()
        if self._ledger is not None:
            self._ledger.close()

    def _gather(self, *, wait: bool) -> bool:
        """Take all the work there is, if need be waiting for some; True if it was the last."""
        ending = False
        with suppress(queue.Empty):
            while True:
                work = self._queue.get(wait, None if self.healthy else self._retry_every_s)
                self._hold(work)
                ending = ending or work.last
                wait = False
        return ending

    def _hold(self, work: Work) -> None:
        self._held.events.update(work.events)
        self._held.notes.update(work.notes)
        self._held.measurements += work.measurements
        self._held.posts += work.posts
        self._held.minutes.update(work.minutes)
        self._held.sightings += work.sightings
        self._held.alive.update(work.alive)
        self._held.prune = work.prune or self._held.prune
        self._asking[work.stage].append(work.done)

    def _attempt(self) -> bool:
        """Write a little; False if there is more to be written at once."""
        try:
            if self._ledger is None:
                self._ledger = self._connect()
            return self._write(self._ledger)
        except Exception as error:  # noqa: BLE001 - a dead thread would keep nothing, and say nothing
            self._fail(error)
            return True

    def _write(self, ledger: SqliteLedger) -> bool:
        for stage, step in self._steps:
            if not step(ledger):
                return False
            self._settle(stage, written=True)
            if stage is Stage.MINUTES:
                self._succeed()
        return True

    def _write_events(self, ledger: SqliteLedger) -> bool:
        held = self._held
        if held.events or held.notes:
            ledger.keep(held.events.values(), held.notes, held.alive)
            for written in (held.events, held.notes, held.alive):
                written.clear()
        if held.measurements:
            ledger.keep_measurements(held.measurements)
            held.measurements = ()
        if held.posts:
            ledger.keep_posts(held.posts)
            held.posts = ()
        return True

    def _write_minutes(self, ledger: SqliteLedger) -> bool:
        held = self._held
        if held.minutes or held.sightings:
            some = dict(islice(held.minutes.items(), MINUTES_A_COMMIT))
            ledger.keep_minutes(some, held.sightings, held.alive)
            held.sightings = ()
            for minute in some:
                del held.minutes[minute]
            # Cleared here alone: who finds it False hands over the next batch, and two would overwrite each other.
            self.busy = bool(held.minutes)
        elif held.alive:
            ledger.keep((), {}, held.alive)
        held.alive.clear()
        return not held.minutes

    def _prune(self, ledger: SqliteLedger) -> bool:
        if self._held.prune is not None and self._held.prune.step(ledger, self._clock):
            self._held.prune = None
        return self._held.prune is None

    def _settle(self, stage: Stage, *, written: bool) -> None:
        asking, self._asking[stage] = self._asking[stage], []
        for done in asking:
            if done.set_running_or_notify_cancel():
                done.set_result(written)

    def _fail(self, error: Exception) -> None:
        if self._ledger is not None:
            self._ledger.close()
            self._ledger = None
        if self.healthy:
            self.healthy = False
            self._tidings.cannot_write(_reason(error))
        for stage in Stage:
            self._settle(stage, written=False)

    def _succeed(self) -> None:
        if not self.healthy:
            self.healthy = True
            self._tidings.can_write_again()


def _reason(error: Exception) -> str:
    match error:
        case StoreError():
            return error.reason
        case WriteError():
            return str(error)
        case _:
            return repr(error)
