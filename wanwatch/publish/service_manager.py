"""Tells the service manager that the daemon is ready, alive or stopping.

Sources:  sd_notify(3) and systemd.service(5): one datagram of KEY=VALUE lines to the socket in $NOTIFY_SOCKET.
"""

import socket
from collections.abc import Mapping
from typing import Final

US_PER_S: Final = 1_000_000


class ServiceManager:
    """The service manager that started this process, if one did; otherwise every call does nothing.

    Args:
        environ: The process environment.
    """

    def __init__(self, environ: Mapping[str, str]) -> None:
        self._address = environ.get("NOTIFY_SOCKET", "")
        self._watchdog_us = environ.get("WATCHDOG_USEC", "")

    @property
    def watchdog_s(self) -> float | None:
        """How often to say that we are alive, in seconds: half of what was asked; None if nobody asked."""
        return int(self._watchdog_us) / US_PER_S / 2 if self._watchdog_us.isdigit() else None

    def tell(self, *lines: str) -> None:
        """Send state lines such as `READY=1`. A service manager that does not listen is no reason to stop."""
        if not self._address:
            return
        # A leading @ stands for the zero byte of an abstract socket (sd_notify(3)).
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as sock:
            try:
                sock.sendto("\n".join(lines).encode(), address)
            except OSError:
                return
