"""Trust: whose certificates a TLS connection of ours believes."""

import asyncio
import ssl
from functools import lru_cache
from pathlib import Path


async def tls_context(ca_file: str | Path | None = None, protocols: tuple[str, ...] = ()) -> ssl.SSLContext:
    """Return a client's context, kept from one use to the next.

    Args:
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
        protocols: What may be spoken within (RFC 7301); empty: nothing is said of it.

    Raises:
        OSError: The file of authorities cannot be read, or there is no certificate in it.
    """
    # Reading all authorities of the system takes tens of milliseconds, once.
    return await asyncio.to_thread(_made, ca_file, protocols)


def _made(ca_file: str | Path | None, protocols: tuple[str, ...]) -> ssl.SSLContext:
    changed_ns = Path(ca_file).stat().st_mtime_ns if ca_file else 0
    return _kept(ca_file, changed_ns, protocols)


@lru_cache(maxsize=16)
def _kept(ca_file: str | Path | None, changed_ns: int, protocols: tuple[str, ...]) -> ssl.SSLContext:
    del changed_ns  # a file that has changed is read again
    context = ssl.create_default_context()
    if ca_file is not None:
        context.load_verify_locations(ca_file)
    if protocols:
        context.set_alpn_protocols(list(protocols))
    return context
