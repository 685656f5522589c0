"""Retention in small steps, so that an event never waits for it."""

from dataclasses import dataclass
from typing import Final

from wanwatch.core.ports import Clock
from wanwatch.core.sighting import DAY_NS
from wanwatch.store._blocks import NS_PER_MINUTE
from wanwatch.store._ledger import SqliteLedger

_STEP_TARGET_NS: Final = 25_000_000
"""A step that takes longer is halved, a shorter one doubled: well below the 100 ms that an event may wait."""


@dataclass(slots=True)
class Prune:
    """One run of retention: raw arrays are emptied before one instant, rows deleted before an earlier one.

    Attributes:
        raw_before_unix_ns: Raw arrays of minutes that end by then are emptied.
        before_unix_ns: Rows of what ended before then are deleted.
    """

    raw_before_unix_ns: int
    before_unix_ns: int
    _minutes: int = 1
    _deleted_to: int = 0

    def step(self, ledger: SqliteLedger, clock: Clock) -> bool:
        """Do one short transaction's worth; return True when nothing is left to do.

        Raises:
            WriteError: The file cannot be written now; the step may be done again.
        """
        began_ns = clock.now_ns()
        done = self._delete(ledger) and self._empty(ledger)
        self._minutes = max(1, self._minutes // 2 if clock.now_ns() - began_ns > _STEP_TARGET_NS else self._minutes * 2)
        return done

    def _delete(self, ledger: SqliteLedger) -> bool:
        oldest, stop = ledger.oldest_minute(), self.before_unix_ns // NS_PER_MINUTE
        # The oldest minute of the file may be another site's, and stay.
        begin = stop if oldest is None else max(oldest, self._deleted_to)
        if begin >= stop:
            return True
        self._deleted_to = min(stop, begin + self._minutes)
        ledger.delete_minutes(begin, self._deleted_to)
        return False

    def _empty(self, ledger: SqliteLedger) -> bool:
        oldest, stop = ledger.oldest_minute(), self.raw_before_unix_ns // NS_PER_MINUTE
        begin = max(ledger.raw_from_minute(), stop if oldest is None else oldest)
        if begin < stop:
            ledger.empty_raw(begin, min(stop, begin + self._minutes))
            return False
        ledger.delete_ended(self.before_unix_ns)
        # What was sighted in a day still stands for the samples of the next.
        ledger.delete_sightings(self.raw_before_unix_ns - DAY_NS)
        return True
