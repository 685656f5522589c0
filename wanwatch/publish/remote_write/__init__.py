"""Remote write: sends the record, minute by minute and in order, to a receiver that takes Prometheus remote write 1.0.

In:       the record; a receiver; for each attempt by which line, or that none is up; where to go on.
Out:      each minute delivered once in order, a position to keep, sentences for the log.
Imports:  wanwatch.core, aiohttp, cramjam (the extra `remote-write`), asyncio. Never measure, store or report.
"""

from wanwatch.publish.remote_write.forwarder import Forwarder, Receiver, Source
from wanwatch.publish.remote_write.wire import NoSnappyError, needs_snappy

__all__ = ["Forwarder", "NoSnappyError", "Receiver", "Source", "needs_snappy"]
