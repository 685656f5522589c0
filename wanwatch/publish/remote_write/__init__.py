"""Remote write: sends the record, minute by minute and in order, to a receiver that takes Prometheus remote write 1.0.

In:       the record; a receiver; for each attempt how a socket is made, or that no line is up; where to go on.
Out:      each minute delivered once in order, a position to keep, sentences for the log.
Imports:  wanwatch.core, aiohttp, cramjam (the extra `remote-write`), asyncio. Never measure, store or report.
"""

from wanwatch.publish.remote_write.forwarder import Forwarder, Receiver, Source, Way
from wanwatch.publish.remote_write.wire import NoSnappyError, needs_snappy

__all__ = ["Forwarder", "NoSnappyError", "Receiver", "Source", "Way", "needs_snappy"]
