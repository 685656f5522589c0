"""A mail server on the lab's internet (aiosmtpd): takes everything, and notes who brought what, and when.

Usage: python mailbox.py ADDRESS FOLDER. In FOLDER it writes `mail.jsonl`, a line a message.
"""

import asyncio
import json
import sys
import time
from email import message_from_bytes, policy
from functools import partial
from pathlib import Path

from aiosmtpd.smtp import SMTP, Envelope, Session


class Box:
    """Takes messages.

    Args:
        path: Where they are noted.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802 - its name
        """Note a message."""
        del server
        content = envelope.content
        assert isinstance(content, bytes)
        assert session.peer is not None
        message = message_from_bytes(content, policy=policy.default)
        note = {"at": time.time(), "from": session.peer[0], "to": envelope.rcpt_tos}
        note |= {name: str(message[name]) for name in ("Message-ID", "Date", "Subject")}
        with self._path.open("a") as notes:
            notes.write(json.dumps(note) + "\n")
        return "250 OK"


async def main(address: str, folder: Path) -> None:
    """Serve until it is killed."""
    loop = asyncio.get_running_loop()
    made = partial(SMTP, Box(folder / "mail.jsonl"), hostname="mail.example.net")
    await loop.create_server(made, address, 25)
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], Path(sys.argv[2])))
