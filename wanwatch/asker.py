"""Who asks: whose share of anything limited an address has."""

import socket
from typing import Final

_MAPPED: Final = bytes(10) + b"\xff\xff"
_IPV6_NETWORK_BYTES: Final = 8


def account(address: str) -> bytes:
    """Return whose share an *address* has: its own in IPv4, that of its /64 in IPv6.

    A host has a whole /64 to choose addresses from (RFC 4291 section 2.5.4), so a limit by address would be none.
    """
    if ":" not in address:
        return socket.inet_aton(address)
    packed = socket.inet_pton(socket.AF_INET6, address.partition("%")[0])
    return packed[12:] if packed.startswith(_MAPPED) else packed[:_IPV6_NETWORK_BYTES]
