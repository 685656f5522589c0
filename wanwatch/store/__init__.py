"""Store: keeps what was observed and what was concluded from it.

In:       samples, afterwords, events, letters and small values from the daemon's event loop; a path; a clock.
Out:      the record of one or many sites: minute blocks, events, the outbox, alive spans, values kept over restarts.
Imports:  wanwatch.core, asyncio, threading, sqlite3. Never the probes, the metrics or the reports.
"""

from wanwatch.store._errors import NoRecordError, StoreError, StoreLockedError, StoreSchemaError
from wanwatch.store.announcing import (
    announce,
    keep_measurement,
    put_in_outbox,
    tell_again,
    the_only_acceptance,
    the_only_drill,
    withdraw,
)
from wanwatch.store.keeper import SqliteKeeper
from wanwatch.store.record import SqliteRecord

__all__ = [
    "NoRecordError",
    "SqliteKeeper",
    "SqliteRecord",
    "StoreError",
    "StoreLockedError",
    "StoreSchemaError",
    "announce",
    "keep_measurement",
    "put_in_outbox",
    "tell_again",
    "the_only_acceptance",
    "the_only_drill",
    "withdraw",
]
