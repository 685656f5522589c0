"""A receiver of remote write on the lab's internet: notes who sends what, and takes two requests, then none until told.

Usage: python receiver.py ADDRESS PORT FOLDER. In FOLDER it writes `received.jsonl`; it takes everything once there is a
file `ready`.
"""

import base64
import json
import sys
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Final

AT_FIRST: Final = 2
AGAIN_AFTER_S: Final = 10
"""Longer than a daemon takes to see that a line is down."""


def handler(folder: Path) -> type[BaseHTTPRequestHandler]:
    """What answers requests."""
    taken = 0

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            """Note a request, and take or refuse it."""
            nonlocal taken
            body = self.rfile.read(int(self.headers["Content-Length"]))
            takes = taken < AT_FIRST or (folder / "ready").exists()
            taken += takes
            note = {"from": self.client_address[0], "taken": takes, "body": base64.b64encode(body).decode()}
            with (folder / "received.jsonl").open("a") as file:
                file.write(json.dumps(note) + "\n")
            self.send_response(204 if takes else 503)
            if not takes:
                self.send_header("Retry-After", str(AGAIN_AFTER_S))
            self.end_headers()

    return Handler


if __name__ == "__main__":
    HTTPServer((sys.argv[1], int(sys.argv[2])), handler(Path(sys.argv[3]))).serve_forever()
