"""What a reflector's own TCP says of a download: only the sender knows what it had to send again."""

import asyncio
import json
from typing import Final

from wanwatch.core.ports import Clock
from wanwatch.measure.speed.answer import END, Body, read_answer
from wanwatch.measure.speed.job import FarSent, Job
from wanwatch.measure.stream import CannotSendError, Tls, connected, send, talking

_ENDED_S: Final = 0.2
"""Until the far end has heard that its connections have ended."""
_PATIENCE_S: Final = 3.0
_MOST_BYTES: Final = 4096


async def asked(job: Job, clock: Clock) -> FarSent | None:
    """Ask the far end what it sent; None where it does not tell."""
    if job.account is None:
        return None
    try:
        async with asyncio.timeout(_PATIENCE_S):
            await asyncio.sleep(_ENDED_S)
            return read(await _said(job, clock))
    except (OSError, TimeoutError, CannotSendError):
        return None


async def _said(job: Job, clock: Clock) -> bytes:
    tls = Tls(job.host, job.ca_file) if job.tls else None
    lines = (f"GET {job.account} HTTP/1.0", f"Host: {job.authority}", f"Authorization: Bearer {job.token}", "", "")
    async with connected(job.pin, job.addresses, job.port) as sock, talking(sock, clock, {}, tls) as (reader, writer):
        send(writer, "\r\n".join(lines).encode())
        said = b""
        while len(said) < _MOST_BYTES and (more := await reader.read(_MOST_BYTES)):
            said += more
        return said


def read(said: bytes) -> FarSent | None:
    """Read an answer, head and body; None if it tells nothing, as of a reflector that knows no such thing."""
    head, _, body = said.partition(END)
    if not isinstance(read_answer(head), Body):
        return None
    try:
        told = json.loads(body)
        sent, retransmitted = int(told["sent"]), int(told["retransmitted"])
        return FarSent(sent, retransmitted) if 0 <= retransmitted <= sent and sent else None
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None
