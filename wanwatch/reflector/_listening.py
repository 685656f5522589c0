"""Listening: on one address, or on both families at once."""

import asyncio
import ssl
from collections.abc import Callable

from wanwatch.reflector._errors import CannotListenError


async def listen(
    make: Callable[[], asyncio.BaseProtocol], address: str, port: int, tls: ssl.SSLContext | None = None
) -> tuple[list[asyncio.Server], int]:
    """Listen at *address* (`::` for both families) and *port* (0 for any), with TLS where a context is given.

    Returns:
        The servers, one for each family, and the port that all of them listen on.

    Raises:
        CannotListenError: It cannot listen there; then nothing listens.
    """
    loop = asyncio.get_running_loop()
    servers: list[asyncio.Server] = []
    found = port
    try:
        # asyncio lets a socket of IPv6 take nothing of IPv4.
        for host in ("::", "0.0.0.0") if address == "::" else (address,):
            made = await loop.create_server(make, host, found, ssl=tls)
            servers.append(made)
            found = made.sockets[0].getsockname()[1]
    except (OSError, ValueError) as error:
        for server in servers:
            server.close()
        raise CannotListenError(address, port, error) from error
    return servers, found
