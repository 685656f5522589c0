"""Addresses, endpoints, interface names and URLs as they are written in the file.

An address must be an IP literal wherever a measurement is pointed at it: a name would test the resolver as well, and
could point elsewhere tomorrow.
"""

import re
from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import Final, NamedTuple
from urllib.parse import urlsplit

from wanwatch.config.units import Unfit
from wanwatch.core.resolver import Resolver, Transport

DNS_PORT: Final = 53
"""RFC 1035 section 4.2."""

INTERFACE_BYTES: Final = 15
"""Linux: IFNAMSIZ is 16 with the closing zero (linux/if.h)."""

_USUAL_PORTS: Final = {Transport.UDP: DNS_PORT, Transport.TCP: DNS_PORT, Transport.TLS: 853, Transport.HTTPS: 443}
"""RFC 1035 section 4.2, RFC 7858 section 3.1, RFC 9110 section 4.2.2."""

_BRACKETED: Final = re.compile(r"\[([^\[\]]+)\](?::([0-9]{1,5}))?")
_V4: Final = re.compile(r"([^:\[\]]+)(?::([0-9]{1,5}))?")
_BROADCAST: Final = IPv4Address("255.255.255.255")


class Endpoint(NamedTuple):
    """An IP address and a UDP or TCP port."""

    address: str
    port: int

    def __str__(self) -> str:
        """As it is written in the file."""
        host = f"[{self.address}]" if ":" in self.address else self.address
        return f"{host}:{self.port}"


def address(value: object) -> str:
    """Return an IP address in its canonical writing.

    Raises:
        Unfit: It is a name, or no address, or one that no single machine has.
    """
    return str(_parsed(value))


def _parsed(value: object, *, any_of_ours: bool = False) -> IPv4Address | IPv6Address:
    if not isinstance(value, str):
        raise Unfit(reason="not an IP address", mend='write it as text, such as "192.0.2.1"')
    try:
        found = ip_address(value)
    except ValueError:
        raise _no_address(value) from None
    if (found.is_unspecified and not any_of_ours) or found.is_multicast or found == _BROADCAST:
        raise Unfit(
            reason="not the address of one machine", mend='write the address of the machine meant, such as "192.0.2.1"'
        )
    return found


def _no_address(value: str) -> Unfit:
    if re.search(r"[g-zG-Z]", value) and not re.search(r"[\s/]", value):
        return Unfit(
            reason="a name, not an address",
            mend="write the IP address it stands for: a name would test the resolver as well",
        )
    return Unfit(reason="not an IP address", mend='write one such as "192.0.2.1" or "2001:db8::1"')


def endpoint(value: object, default_port: int | None, *, any_of_ours: bool = False) -> Endpoint:
    """Return an endpoint such as `192.0.2.1:862` or `[2001:db8::1]:862`; with a default port it may be left out.

    Args:
        value: What was written.
        default_port: The port where none is written.
        any_of_ours: Whether the wildcards 0.0.0.0 and :: will do, as they do to listen on.

    Raises:
        Unfit: The address is none, or the port is missing or out of range.
    """
    if not isinstance(value, str):
        raise Unfit(
            reason="not an address with a port", mend=f'write it as text, such as "192.0.2.1:{default_port or 443}"'
        )
    match = _BRACKETED.fullmatch(value) or _V4.fullmatch(value)
    # An IPv6 address without brackets has no port: where its colons end and a port's begins, nobody could tell.
    host, port_text = (match[1], match[2]) if match else (value, None)
    found = _parsed(host, any_of_ours=any_of_ours)
    if port_text is None and default_port is None:
        shown = f"[{found}]" if found.version == 6 else str(found)  # noqa: PLR2004 - IP version 6
        raise Unfit(reason="the port is missing", mend=f'write it with its port, such as "{shown}:443"')
    port = int(port_text) if port_text is not None else default_port or 0
    if not 0 < port < 1 << 16:
        raise Unfit(reason="no such port", mend="write a port from 1 to 65535")
    return Endpoint(str(found), port)


def is_mailbox(written: str) -> bool:
    """Whether it is a plain mail address, without a name or anything else around it."""
    local, _, domain = written.partition("@")
    return bool(local and domain) and written.isprintable() and not set(" ,;?&<>") & set(written) and "@" not in domain


def resolver(value: object) -> Resolver:
    """Return a resolver: `192.0.2.53`, `tcp://192.0.2.53`, `tls://192.0.2.53#NAME`, `https://192.0.2.53/PATH#NAME`.

    Raises:
        Unfit: It has no address or a bad port, another scheme, or parts that its transport has no use for.
    """
    if not isinstance(value, str) or "://" not in value:
        return Resolver(*endpoint(value, DNS_PORT))
    if not value.isascii() or not value.isprintable() or " " in value:
        raise Unfit(reason="not a resolver", mend=_RESOLVER_MEND)
    try:
        parts = urlsplit(value)
    except ValueError:
        raise Unfit(reason="not a resolver", mend=_RESOLVER_MEND) from None
    if parts.scheme not in {"tcp", "tls", "https"}:
        raise Unfit(reason="no way to ask a resolver", mend=_RESOLVER_MEND)
    transport = Transport(parts.scheme)
    place = endpoint(parts.netloc, _USUAL_PORTS[transport])
    if transport is Transport.HTTPS and not parts.path.strip("/"):
        raise Unfit(reason="the path is missing", mend='write it as well, such as "https://192.0.2.53/dns-query"')
    if (
        parts.query
        or (parts.path and transport is not Transport.HTTPS)
        or (parts.fragment and transport is Transport.TCP)
    ):
        raise Unfit(reason="more stands in it than its transport has use for", mend=_RESOLVER_MEND)
    return Resolver(*place, transport, parts.fragment or None, parts.path)


def show_resolver(found: Resolver) -> str:
    """Return a resolver as the file writes it; the usual port is not kept, so that one resolver has one name."""
    host = f"[{found.address}]" if ":" in found.address and found.transport is not Transport.UDP else found.address
    if found.port != _USUAL_PORTS[found.transport]:
        host = str(Endpoint(found.address, found.port))
    scheme = "" if found.transport is Transport.UDP else f"{found.transport}://"
    return f"{scheme}{host}{found.path}{f'#{found.name}' if found.name else ''}"


_RESOLVER_MEND: Final = (
    'write an address such as "192.0.2.53", or "tls://192.0.2.53#dns.example.net", '
    '"https://192.0.2.53/dns-query#dns.example.net" or "tcp://192.0.2.53"'
)


def version(place: str) -> int | None:
    """Return 4 or 6 for an IP address or a URL whose host is one, None for a URL with a host name."""
    host = urlsplit(place).hostname or "" if "://" in place else place
    try:
        return ip_address(host).version
    except ValueError:
        return None


def interface(value: object) -> str:
    """Return a network interface's name, by the kernel's own rule for names.

    Source: Linux, dev_valid_name() in net/core/dev.c (from memory).
    """
    mend = "write the name as 'ip link' shows it"
    if not isinstance(value, str):
        raise Unfit(reason="not an interface name", mend=mend)
    if re.search(r"[\s/:\x00-\x1f\x7f]", value):
        raise Unfit(reason="not an interface name (a space, '/' or ':' cannot be in one)", mend=mend)
    if not 0 < len(value.encode()) <= INTERFACE_BYTES or value in {".", ".."}:
        raise Unfit(reason=f"not an interface name (1 to {INTERFACE_BYTES} characters)", mend=mend)
    return value


def url(value: object, *schemes: str) -> str:
    """Return a URL with one of *schemes*, unchanged.

    Raises:
        Unfit: Another scheme, no host, a bad port, or a user and password in it: those are secrets.
    """
    mend = f'write one such as "{schemes[0]}://www.example.com/"'
    if not isinstance(value, str) or not value.isascii() or not value.isprintable() or " " in value:
        raise Unfit(reason="not a URL", mend=mend)
    try:
        parts = urlsplit(value)
        port = parts.port
    except ValueError:
        raise Unfit(reason="not a URL", mend=mend) from None
    if parts.scheme not in schemes or not parts.hostname or port == 0:
        raise Unfit(reason=f"not a URL with {' or '.join(schemes)}", mend=mend)
    if "@" in parts.netloc:
        raise Unfit(reason="a user or a password stands in it", mend="write it without; secrets come from files")
    return value
