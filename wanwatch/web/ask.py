"""Asks the daemon on this machine how things stand."""

import http.client
import json
from typing import Final

from wanwatch.core.model import Json

TIMEOUT_S: Final = 3.0


def ask_health(host: str, port: int, token: str | None) -> dict[str, Json] | None:
    """Return what /health says; None where nobody answers there, or not in our words."""
    connection = http.client.HTTPConnection(host, port, timeout=TIMEOUT_S)
    try:
        connection.request("GET", "/health", headers={"Authorization": f"Bearer {token}"} if token else {})
        said = json.loads(connection.getresponse().read())
    except (OSError, http.client.HTTPException, ValueError):
        return None
    finally:
        connection.close()
    return said if isinstance(said, dict) and "uplinks" in said else None
