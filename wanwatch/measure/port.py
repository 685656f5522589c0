"""A port of this machine, as the kernel shows it.

Source: Linux Documentation/ABI/testing/sysfs-class-net (speed in Mbit/s, -1 where unknown; duplex), which is what
ethtool reads, too.
"""

from pathlib import Path
from typing import Final, NamedTuple

_NET: Final = Path("/sys/class/net")
_MBPS: Final = 1_000_000
_UNKNOWN: Final = 0xFFFF_FFFF
"""-1 without its sign."""
_DUPLEXES: Final = frozenset({"full", "half"})


class Port(NamedTuple):
    """A port's rate in bits a second and its duplex (`full` or `half`); None for what the kernel does not know."""

    bps: int | None
    duplex: str | None


def read_port(interface: str, net: Path = _NET) -> Port:
    """Return what the kernel knows of *interface*; nothing of one that is not there, or that has no carrier."""
    rate, duplex = (_word(net / interface / name) for name in ("speed", "duplex"))
    known = rate.isdigit() and 0 < int(rate) < _UNKNOWN
    return Port(int(rate) * _MBPS if known else None, duplex if duplex in _DUPLEXES else None)


def _word(file: Path) -> str:
    try:
        return file.read_text("ascii").strip()
    except (OSError, ValueError):  # EINVAL: there is no carrier
        return ""
