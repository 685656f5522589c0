"""A real mail server on loopback (aiosmtpd), which answers as it is told and keeps what it took."""

# ruff: noqa: N802  # the handlers' names are aiosmtpd's

import asyncio
import ssl
from asyncio import AbstractServer
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from functools import partial
from typing import Any

import trustme
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session


@dataclass
class Handler:
    """What the server answers.

    Attributes:
        to_data: Its answers to the end of DATA, in order, the last one for good.
        to_rcpt: Likewise to RCPT.
        to_mail: Likewise to MAIL.
        users: Who may sign in, with which password.
        taken: The messages that it took.
        signed_in: As whom each session signed in.
        greeted_by: Who each session said it was.
        seen_from: The address that each session came from.
    """

    to_data: list[str] = field(default_factory=lambda: ["250 OK, I have it"])
    to_rcpt: list[str] = field(default_factory=lambda: ["250 OK"])
    to_mail: list[str] = field(default_factory=lambda: ["250 OK"])
    users: Mapping[str, str] = field(default_factory=dict)
    taken: list[EmailMessage] = field(default_factory=list)
    signed_in: list[str] = field(default_factory=list)
    greeted_by: list[str] = field(default_factory=list)
    seen_from: list[str] = field(default_factory=list)

    async def handle_EHLO(
        self, server: SMTP, session: Session, envelope: Envelope, hostname: str, responses: list[str]
    ) -> list[str]:
        """Say hello."""
        del server, envelope
        session.host_name = hostname
        self.greeted_by.append(hostname)
        assert session.peer is not None
        self.seen_from.append(session.peer[0])
        return responses

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """Take a sender."""
        del server, session, options
        said = _next(self.to_mail)
        if said.startswith("2"):
            envelope.mail_from = address
        return said

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """Take a receiver."""
        del server, session, options
        said = _next(self.to_rcpt)
        if said.startswith("2"):
            envelope.rcpt_tos.append(address)
        return said

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """Take a message."""
        del server, session
        said = _next(self.to_data)
        if said.startswith("2"):
            content = envelope.content
            assert isinstance(content, bytes)
            message = message_from_bytes(content.replace(b"\r\n", b"\n"), policy=policy.default)
            assert isinstance(message, EmailMessage)
            self.taken.append(message)
        return said

    def sign_in(self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: object) -> AuthResult:
        """Let those in who are known."""
        del server, session, envelope, mechanism
        assert isinstance(data, LoginPassword)
        user, password = data.login.decode(), data.password.decode()
        if self.users.get(user) != password:
            return AuthResult(success=False, handled=False)
        self.signed_in.append(user)
        return AuthResult(success=True)


def _next(answers: list[str]) -> str:
    return answers.pop(0) if len(answers) > 1 else answers[0]


@asynccontextmanager
async def mail_server(
    handler: Handler, *, starttls: trustme.CA | None = None, tls: trustme.CA | None = None, port: int = 0
) -> AsyncIterator[tuple[int, AbstractServer]]:
    """Run it; its port. With an authority, it has a certificate for mail.example.net."""
    authenticating: dict[str, Any] = {"authenticator": handler.sign_in, "auth_required": True} if handler.users else {}
    made = partial(
        SMTP, handler, hostname="mail.example.net", enable_SMTPUTF8=True, tls_context=_context(starttls),
        require_starttls=starttls is not None, auth_require_tls=starttls is not None, **authenticating,
    )  # fmt: skip
    loop = asyncio.get_running_loop()
    server = await loop.create_server(made, "127.0.0.1", port, ssl=_context(tls))
    try:
        yield server.sockets[0].getsockname()[1], server
    finally:
        server.close()
        await server.wait_closed()


def _context(authority: trustme.CA | None) -> ssl.SSLContext | None:
    if authority is None:
        return None
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("mail.example.net").configure_cert(context)
    return context
