"""Ways: the line by which a connection of our own leaves, and connections that leave by it.

Names are asked for by the same line: the machine's own resolver may be one that only a broken line reaches.

Source:  RFC 8305 (both families of a name are tried, the second a moment later).
"""

import errno
import socket
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from typing import Any, Final, TypeAlias

import aiohappyeyeballs
import aiohttp
from aiohttp.abc import AbstractResolver, ResolveResult
from yarl import URL

from wanwatch import __version__
from wanwatch.trust import tls_context

Way: TypeAlias = Callable[[Any], socket.socket]
"""Makes the socket of one connection from what getaddrinfo told (AddrInfoType); OSError where it cannot."""
LookUp: TypeAlias = Callable[[str], Awaitable[Sequence[str]]]
"""Returns the addresses of a host name in the order in which to try them; none if it is not known. Never raises."""

_FAMILIES: Final = {4: socket.AF_INET, 6: socket.AF_INET6}
_HEAD_START_S: Final = 0.25
"""RFC 8305 section 5: the Connection Attempt Delay."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line, for those who send.

    Attributes:
        name: The uplink's name, for the log.
        opened: Makes sockets that leave by it.
        look_up: Asks for names by it.
    """

    name: str
    opened: Way
    look_up: LookUp


async def connect(line: Line, host: str, port: int) -> socket.socket:
    """Return a socket that is connected by *line*, the caller's to close. Cancel to bound.

    Raises:
        OSError: The name does not resolve, or nobody answers.
    """
    found = [
        (_FAMILIES[ip_address(address).version], socket.SOCK_STREAM, socket.IPPROTO_TCP, "", (address, port))
        for address in await _addresses(line, host)
    ]
    return await aiohappyeyeballs.start_connection(
        found, happy_eyeballs_delay=_HEAD_START_S, socket_factory=line.opened
    )


@asynccontextmanager
async def http_session(line: Line, ca_file: str | Path | None, limit_s: float) -> AsyncIterator[aiohttp.ClientSession]:
    """Give a session whose connections leave by *line*, are used once, and end after *limit_s* seconds.

    Args:
        line: The line.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
        limit_s: How long one request may take, its answer included.

    Raises:
        OSError: The file of authorities cannot be read.
    """
    connector = aiohttp.TCPConnector(
        socket_factory=line.opened, resolver=_ByLine(line), ssl=await tls_context(ca_file), force_close=True
    )
    async with aiohttp.ClientSession(
        connector=connector,
        timeout=aiohttp.ClientTimeout(total=limit_s),
        headers={"User-Agent": f"wanwatch/{__version__}"},
    ) as session:
        yield session


class _ByLine(AbstractResolver):
    def __init__(self, line: Line) -> None:
        self._line = line

    async def resolve(
        self, host: str, port: int = 0, family: socket.AddressFamily = socket.AF_INET
    ) -> list[ResolveResult]:
        del family  # the line knows which ones it has
        return [
            ResolveResult(
                hostname=host,
                host=address,
                port=port,
                family=_FAMILIES[ip_address(address).version],
                proto=socket.IPPROTO_TCP,
                flags=socket.AI_NUMERICHOST,
            )
            for address in await _addresses(self._line, host)
        ]

    async def close(self) -> None:
        """Nothing is kept."""


async def _addresses(line: Line, host: str) -> Sequence[str]:
    try:
        return [str(ip_address(host))]
    except ValueError:
        found = await line.look_up(host)
    if not found:
        raise OSError(errno.EHOSTUNREACH, f"the name {host} does not resolve")
    return found


def without_key(heard: str, url: str) -> str:
    """Return a receiver's words without what stands behind the host of *url*, which may be somebody's key.

    Many servers say it again where they know nothing of it.
    """
    to = URL(url)
    keys = {to.raw_path_qs, to.path_qs, to.raw_path, to.path, to.raw_query_string, to.query_string} - {"", "/"}
    for key in sorted(keys, key=len, reverse=True):
        heard = heard.replace(key, "…")
    return heard.strip()


def trouble(error: BaseException) -> str:
    """Return what went wrong in a few words, without the path of a URL: it may be somebody's key."""
    deeper = error.__cause__ if isinstance(error.__cause__, ssl.SSLError) else error
    if isinstance(deeper, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted: {deeper.verify_message}"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    if isinstance(error, aiohttp.ClientResponseError):
        return " ".join(error.message.split()) or type(error).__name__  # of what is no HTTP it shows lines
    if isinstance(error, OSError) and not isinstance(error, aiohttp.ClientError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__
