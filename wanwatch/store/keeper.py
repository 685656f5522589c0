"""The daemon's side of the record: takes what the event loop has to keep, and never makes it wait for the disk."""

import asyncio
import json
import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from wanwatch.core.model import NS_PER_S, Afterword, Event, Json, Learnt, Measurement, Observation, Sample, Series
from wanwatch.core.notices import Post
from wanwatch.core.ports import Clock
from wanwatch.store._alive import AliveSpans
from wanwatch.store._blocks import NS_PER_MINUTE, NS_PER_US, Gathered
from wanwatch.store._ledger import SqliteLedger
from wanwatch.store._lock import Lock
from wanwatch.store._prune import Prune
from wanwatch.store._rows import event_row, measurement_row, post_row
from wanwatch.store._sightings import Sightings
from wanwatch.store._writer import Stage, Work, Writer

MINUTES_IN_MEMORY: Final = 60
"""How many minutes of samples wait while the disk cannot be written: under 1 MB at 20 series of one a second."""
EVENT_PATIENCE_S: Final = 5.0
"""A disk that hangs must not hold up the telling of an event for longer."""
CLOSE_LIMIT_S: Final = 1.5
STALL_GRACE_S: Final = 5.0
"""How much later than due the loop may mark itself alive before the time between counts as not watched."""


class SqliteKeeper:
    """Keeps one site's record in an SQLite file, through one writer thread. All methods belong to one event loop.

    While the file cannot be written, events and up to an hour of samples wait in memory; the oldest samples are given
    up first, events never. Writing is tried again every few seconds, and going on is told once, like the trouble.

    Args:
        path: The database file; a lock file of the same name and `.lock` is put beside it.
        site: The site's name.
        clock: Where time comes from.
        tell_trouble: Called on the event loop with a sentence when writing fails and when it works again.
        flush_every_s: How often samples and the alive mark are written; a kill loses about so much.
        retry_every_s: Pause between attempts while writing fails.
    """

    def __init__(
        self,
        path: Path,
        site: str,
        clock: Clock,
        *,
        tell_trouble: Callable[[str], None],
        flush_every_s: float = 9.0,
        retry_every_s: float = 3.0,
    ) -> None:
        self._path = path
        self._clock = clock
        self._tell = tell_trouble
        self._flush_every_s = flush_every_s
        self._lock = Lock(path)
        self._writer = Writer(lambda: SqliteLedger(path, site), clock, self, retry_every_s=retry_every_s)
        self._gathered: dict[int, dict[Series, Gathered]] = {}
        self._sightings = Sightings()
        self._given_up = 0
        self._failing_since_ns = 0

    @property
    def healthy(self) -> bool:
        """Whether the last attempt to write went well."""
        return self._writer.healthy

    def open(self) -> None:
        """Take the lock, open the file, begin this run's alive span. To be called on the running event loop.

        Raises:
            StoreLockedError: Another process keeps this record.
            StoreError: The file is of a newer program, of another program, or in a folder that cannot be used.
        """
        self._loop = asyncio.get_running_loop()
        self._lock.take()
        stall_ns = int((self._flush_every_s + STALL_GRACE_S) * NS_PER_S)
        self._alive = AliveSpans(self._clock.now_ns(), self._clock.now_unix_ns(), stall_ns=stall_ns)
        try:
            self._writer.start()
        except BaseException:
            self._lock.release()
            raise
        self._writer.put(Work(Stage.MINUTES, alive=self._alive.take()))
        self._timer = self._loop.call_later(self._flush_every_s, self._beat)

    async def close(self) -> None:
        """Write everything and let go of the file; a disk that does not take it by then is told and left."""
        self._timer.cancel()
        written = False
        with suppress(TimeoutError):
            written = await asyncio.wait_for(self._flush_twice(), CLOSE_LIMIT_S)
        self._writer.put(Work(Stage.EVENTS, last=True))
        # What was committed is safe: tidying the log up at the end may be cut short by the process's own end.
        await asyncio.to_thread(self._writer.join, CLOSE_LIMIT_S / 5)
        self._lock.release()
        if not written:
            self._tell(f"store '{self._path}': stopped without writing what still waited in memory")

    def sample(self, sample: Sample) -> None:
        """Add a sample to its minute."""
        minute, rest_ns = divmod(sample.sent_unix_ns, NS_PER_MINUTE)
        self._block(minute, sample.series).add(rest_ns // NS_PER_US, sample)
        self._sightings.see(sample)

    def sighting(self, seen: Observation | Learnt) -> None:
        """Keep what *seen* says besides the samples, where it is news."""
        self._sightings.see(seen)

    def afterword(self, afterword: Afterword) -> None:
        """Turn a lost sample late, or count a further answer."""
        minute, rest_ns = divmod(afterword.sent_unix_ns, NS_PER_MINUTE)
        block = self._block(minute, afterword.series)
        if afterword.late:
            block.late.append(rest_ns // NS_PER_US)
        else:
            block.duplicated += 1

    async def event(self, event: Event) -> bool:
        """Commit an event, new or told again; True once it is on the disk, False if it has to wait in memory."""
        work = Work(Stage.EVENTS, events={event.id: event_row(event)})
        return await self._written(work, EVENT_PATIENCE_S)

    async def measurement(self, measured: Measurement) -> bool:
        """Commit a measurement; True once it is on the disk, False if it has to wait in memory."""
        return await self._written(Work(Stage.EVENTS, measurements=(measurement_row(measured),)), EVENT_PATIENCE_S)

    async def post(self, post: Post) -> bool:
        """Commit a letter, new or with more known of it; True once it is on the disk, False if it has to wait."""
        return await self._written(Work(Stage.EVENTS, posts=(post_row(post),)), EVENT_PATIENCE_S)

    def remember(self, key: str, value: Json) -> None:
        """Keep a small value across restarts; it is written at once."""
        self._writer.put(Work(Stage.EVENTS, notes={key: json.dumps(value, allow_nan=False)}))

    def clock_stepped(self) -> None:
        """End this run's alive span on the old clock, and begin another one on the stepped clock."""
        self._alive.step(self._clock.now_ns(), self._clock.now_unix_ns())

    async def flush(self) -> bool:
        """Write what was handed over so far; True once it is on the disk."""
        if self._writer.busy and not await self._written(Work(Stage.MINUTES), None):
            return False
        self._hand_over()
        return await self._written(Work(Stage.MINUTES), None)

    async def _flush_twice(self) -> bool:
        # There is no later attempt, so a passing failure is met at once.
        return await self.flush() or await self.flush()

    async def prune(self, raw_before_unix_ns: int, before_unix_ns: int) -> bool:
        """Let go of what was kept long enough, in steps short enough for events to pass between.

        Args:
            raw_before_unix_ns: Raw samples of minutes that ended by then are let go; the minutes' figures stay.
            before_unix_ns: Minutes, events and alive spans that ended before then are let go whole.

        Returns:
            True when done, False if writing failed; it is gone on with when writing works again.
        """
        return await self._written(Work(Stage.PRUNE, prune=Prune(raw_before_unix_ns, before_unix_ns)), None)

    def cannot_write(self, reason: str) -> None:
        """Tell trouble; for the writer thread."""
        self._failing_since_ns = self._clock.now_ns()
        # SQLite says "unable to open database file" of it, which helps nobody.
        with suppress(OSError):
            if os.statvfs(self._path.parent).f_flag & os.ST_RDONLY:
                reason = f"{reason} (its file system is read-only)"
        self._call(self._tell_trouble, reason)

    def can_write_again(self) -> None:
        """Tell that it is over; for the writer thread."""
        self._call(self._tell_well)

    def _block(self, minute: int, series: Series) -> Gathered:
        try:
            return self._gathered[minute][series]
        except KeyError:
            block = self._gathered.setdefault(minute, {})[series] = Gathered()
            if len(self._gathered) > MINUTES_IN_MEMORY:
                self._give_up_oldest()
            return block

    def _give_up_oldest(self) -> None:
        oldest = self._gathered.pop(next(iter(self._gathered)))
        if not self._given_up:
            self._tell(f"store '{self._path}': still cannot write; the oldest samples are given up from now on")
        self._given_up += sum(len(block.rtts) for block in oldest.values())

    def _beat(self) -> None:
        self._timer = self._loop.call_later(self._flush_every_s, self._beat)
        self._hand_over()

    def _hand_over(self) -> None:
        self._alive.mark(self._clock.now_ns(), self._clock.now_unix_ns())
        # While the writer holds a batch, samples gather here, where their number is bounded.
        if not self._writer.busy:
            minutes, self._gathered = self._gathered, {}
            sightings = self._sightings.take()
            self._writer.put(Work(Stage.MINUTES, minutes=minutes, sightings=sightings, alive=self._alive.take()))

    async def _written(self, work: Work, patience_s: float | None) -> bool:
        done = asyncio.wrap_future(self._writer.put(work))
        try:
            return await asyncio.wait_for(done, patience_s)
        except TimeoutError:
            return False

    def _call(self, tell: Callable[..., None], *facts: str) -> None:
        with suppress(RuntimeError):  # The loop is closed: nobody is left to be told.
            self._loop.call_soon_threadsafe(tell, *facts)

    def _tell_trouble(self, reason: str) -> None:
        self._tell(
            f"store '{self._path}': cannot write: {reason}; probing goes on, every event and up to {MINUTES_IN_MEMORY}"
            " minutes of samples wait in memory; free space or make it writable, and writing resumes by itself"
        )

    def _tell_well(self) -> None:
        seconds = (self._clock.now_ns() - self._failing_since_ns) // NS_PER_S
        lost = f"{self._given_up} samples had to be given up" if self._given_up else "nothing that waited was lost"
        self._given_up = 0
        self._tell(f"store '{self._path}': writing works again after {seconds} s; {lost}")
