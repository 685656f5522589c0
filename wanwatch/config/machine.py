"""What this machine knows of itself that a first configuration can start from. Reads files; asks nobody.

Sources: proc(5) for /proc/net/route and /proc/net/ipv6_route; resolv.conf(5); localtime(5).
"""

import os
import socket
import struct
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from wanwatch.config.fields import nearest_there, writable

_ROUTES: Final = Path("/proc/net/route")
_ROUTES6: Final = Path("/proc/net/ipv6_route")
# systemd's resolver puts a loopback address into the usual file and keeps the real ones in the other.
_RESOLVERS: Final = (Path("/etc/resolv.conf"), Path("/run/systemd/resolve/resolv.conf"))
_UP_AND_GATEWAY: Final = 0x1 | 0x2
_REJECT: Final = 0x200
_ROUTE_FIELDS: Final = 8
_ROUTE6_FIELDS: Final = 10


@dataclass(frozen=True, slots=True)
class Way:
    """A default route: the interface it leaves by, its gateway (None on a point-to-point link), its metric."""

    interface: str
    gateway: str | None
    metric: int


@dataclass(frozen=True, slots=True)
class MachineFacts:
    """What a proposal is made from.

    Attributes:
        name: The machine's name, without its domain.
        timezone: Its time zone in the IANA database.
        data_dir: A folder that this user can make.
        ways: Its default routes, the preferred one first.
        resolvers: The resolvers it uses, loopback ones left out.
    """

    name: str
    timezone: str
    data_dir: Path
    ways: tuple[Way, ...]
    resolvers: tuple[str, ...]


def machine_facts() -> MachineFacts:
    """Read the facts of this machine; what cannot be read is left empty."""
    ways = [*default_routes(_text(_ROUTES)), *default_routes6(_text(_ROUTES6))]
    resolvers = [server for file in _RESOLVERS for server in nameservers(_text(file))]
    return MachineFacts(
        name=os.uname().nodename.partition(".")[0] or "site",
        timezone=_timezone(),
        data_dir=_data_dir(),
        ways=tuple(sorted(ways, key=lambda way: way.metric)),
        resolvers=tuple(dict.fromkeys(resolvers)),
    )


def default_routes(table: str) -> list[Way]:
    """Return the default routes of /proc/net/route's *table*; its addresses are words in the host's byte order."""
    ways = []
    for line in table.splitlines()[1:]:
        fields = line.split()
        if len(fields) < _ROUTE_FIELDS or fields[1] != "00000000" or fields[7] != "00000000":
            continue
        flags = int(fields[3], 16)
        if flags & 1 and not flags & _REJECT:
            gateway = socket.inet_ntoa(struct.pack("=I", int(fields[2], 16)))
            ways.append(Way(fields[0], gateway if flags & _UP_AND_GATEWAY == _UP_AND_GATEWAY else None, int(fields[6])))
    return ways


def default_routes6(table: str) -> list[Way]:
    """Return the default routes of /proc/net/ipv6_route's *table*."""
    ways = []
    for line in table.splitlines():
        fields = line.split()
        if len(fields) < _ROUTE6_FIELDS or fields[0] != "0" * 32 or fields[1] != "00":
            continue
        flags = int(fields[8], 16)
        if flags & 1 and not flags & _REJECT and fields[9] != "lo":
            gateway = IPv6Address(int(fields[4], 16))
            # A link-local gateway means nothing without its interface (RFC 4007 section 11).
            text = f"{gateway}%{fields[9]}" if gateway.is_link_local else str(gateway)
            ways.append(
                Way(fields[9], text if flags & _UP_AND_GATEWAY == _UP_AND_GATEWAY else None, int(fields[5], 16))
            )
    return ways


def nameservers(text: str) -> list[str]:
    """Return the resolvers of a resolv.conf; loopback ones are this machine's own and say nothing of a line."""
    servers = []
    for line in text.splitlines():
        words = line.split()
        if len(words) > 1 and words[0] == "nameserver":
            try:
                found = ip_address(words[1])
            except ValueError:
                continue
            if not (found.is_loopback or found.is_unspecified or found.is_multicast):
                servers.append(str(found))
    return servers


def _text(file: Path) -> str:
    try:
        return file.read_text("utf-8", "replace")
    except OSError:
        return ""


def _data_dir() -> Path:
    """Return the usual place of this user's records, or one beside the file for a user who has no home to write in."""
    usual = Path("/var/lib/wanwatch") if os.geteuid() == 0 else Path.home() / ".local/state/wanwatch"
    return usual if writable(nearest_there(usual)) else Path("wanwatch-data")


def _timezone() -> str:
    named = (os.environ.get("TZ", "").lstrip(":"), _text(Path("/etc/timezone")).strip(), _linked_zone())
    for name in named:
        try:
            ZoneInfo(name)
        except (KeyError, ValueError, OSError):  # an empty name ends here too
            continue
        return name
    return "UTC"


def _linked_zone() -> str:
    return str(Path("/etc/localtime").resolve()).rpartition("/zoneinfo/")[2]
