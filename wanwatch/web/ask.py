"""Asks the daemon on this machine how things stand."""

import http.client
import json
from pathlib import Path
from typing import Final

from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import Json
from wanwatch.web import near

TIMEOUT_S: Final = 3.0


class NoDaemonError(WanwatchError):
    """No daemon of this site answers, and something was asked that only one does.

    Attributes:
        place: Where it was asked.
    """

    def __init__(self, place: str) -> None:
        self.place = place
        super().__init__(f"no daemon answers on {place}; start it with: wanwatch run")


class _Near(http.client.HTTPConnection):
    def __init__(self, folder: Path) -> None:
        super().__init__("localhost", timeout=TIMEOUT_S)
        self._folder = folder

    def connect(self) -> None:
        self.sock = near.connect(self._folder, TIMEOUT_S)


def ask_health(host: str, port: int, folder: Path) -> dict[str, Json] | None:
    """Return what /health says; None where nobody answers, or not whoever asks, or not in our words.

    Args:
        host: Where the daemon listens.
        port: On which port.
        folder: Its record's folder, by whose socket it answers its own user and group whatever it asks of others.
    """
    said = _ask(_Near(folder))
    return said if said is not None else _ask(http.client.HTTPConnection(host, port, timeout=TIMEOUT_S))


def _ask(connection: http.client.HTTPConnection) -> dict[str, Json] | None:
    try:
        connection.request("GET", "/health")
        said = json.loads(connection.getresponse().read())
    except (OSError, http.client.HTTPException, ValueError):
        return None
    finally:
        connection.close()
    return said if isinstance(said, dict) and "uplinks" in said else None
