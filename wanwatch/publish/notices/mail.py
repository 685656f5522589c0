"""Mail: a letter as a message of internet mail, handed to the office's mail server.

Sources:     RFC 5322 sections 3.6.1 and 3.6.4 (Date is when the letter was made, though it may leave much later; the
             Message-ID of a letter that is sent twice is one); RFC 2047 (a subject that is not ASCII); RFC 3834 section
             5 (Auto-Submitted); RFC 6068 (mailto); RFC 3490 section 4.1 (a domain that is not ASCII); RFC 5321 sections
             4.1.3 (address literals) and 4.2.1 (what 4xx and 5xx mean); RFC 3207 (STARTTLS); RFC 8314 section 3.3
             (implicit TLS).
Departures:  RFC 5321 section 4.5.3.2 has a client wait for ten minutes where we wait for one: people have to be told
             by another line, and a letter that comes twice can be known by its Message-ID. The answer to QUIT is not
             awaited (section 4.1.1.10): who is stopped meanwhile would forget that the letter was taken. 5xx before the
             receiver is named is a matter of settings and not of the letter, unless it is too big: tried again.
"""

import asyncio
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.header import Header
from email.message import EmailMessage
from email.policy import SMTP as SMTP_POLICY
from email.utils import format_datetime, parseaddr
from hashlib import sha256
from ipaddress import ip_address
from pathlib import Path
from socket import socket
from typing import Final, Literal, TypeAlias
from urllib.parse import unquote

import aiosmtplib

from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices import Answer, Letter, Post, Sent
from wanwatch.publish.ways import Line, connect, trouble
from wanwatch.trust import tls_context

Security: TypeAlias = Literal["starttls", "tls", "none"]

CONNECT_S: Final = 10.0
LIMIT_S: Final = 60.0
"""For one letter by one line, whatever happens, and as long again as its bytes take at the slowest."""
SLOWEST_BYTES_PER_S: Final = 8_000
"""A line that brings a report's page no faster would never bring it, and would carry most of it again at each try."""
SETTINGS_S: Final = 3600.0
"""Nobody mends settings within seconds, and servers lock out who keeps showing a wrong password."""
_FOR_GOOD: Final = 500
_TOO_BIG: Final = 552
_OF_THE_LETTER: Final = (aiosmtplib.SMTPRecipientRefused, aiosmtplib.SMTPDataError)
_PLAIN_POLICY: Final = SMTP_POLICY.clone(cte_type="7bit")


@dataclass(frozen=True, slots=True, kw_only=True)
class MailServer:
    """The mail server that letters leave by.

    Attributes:
        host: Its name or address.
        port: Its port.
        security: How the connection is protected; what is asked for and not offered ends the try.
        sender: Mail address that letters come from.
        user: Name to sign in with; None: nobody signs in.
        password: Its password; never shown.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
    """

    host: str
    port: int
    security: Security
    sender: str
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None


async def send_mail(server: MailServer, post: Post, line: Line) -> Sent:
    """Hand a letter to *server* by *line*, and return what it said.

    Raises:
        OSError: It said nothing: no connection, none that can be trusted, or one that broke (TimeoutError included).
    """
    try:
        message, size = await asyncio.to_thread(_weighed, server, post)
    except ValueError as error:  # it would keep all that come after it
        return Sent(Answer.REFUSED, f"it cannot be written as a mail: {error}")
    limit_s = LIMIT_S + size / SLOWEST_BYTES_PER_S
    async with asyncio.timeout(limit_s):
        context = None if server.security == "none" else await tls_context(server.ca_file)
        async with asyncio.timeout(CONNECT_S):
            connected = await connect(line, server.host, server.port)
        with connected as sock:
            client = aiosmtplib.SMTP(
                hostname=server.host,
                sock=sock.dup(),  # the transport's own, to be closed once all is written
                username=server.user,
                password=server.password,
                local_hostname=_literal(sock),
                use_tls=server.security == "tls",
                start_tls=server.security == "starttls",
                tls_context=context,
                timeout=limit_s,
            )
        try:
            return await _handed(client, message, server.sender)
        finally:
            client.close()


async def _handed(client: aiosmtplib.SMTP, message: EmailMessage, sender: str) -> Sent:
    try:
        await client.connect()
        _, said = await client.send_message(message, sender=parseaddr(sender)[1], recipients=[message["To"]])
    except aiosmtplib.SMTPRecipientsRefused as refused:
        return _said(refused.recipients[0])
    except aiosmtplib.SMTPResponseException as refused:
        return _said(refused)
    except aiosmtplib.SMTPConnectError as error:  # its own words name a port that it was not told
        raise ConnectionError(trouble(error.__cause__ or error)) from error.__cause__
    except OSError:  # what else aiosmtplib raises of connections is one
        raise
    except aiosmtplib.SMTPException as lacking:
        return Sent(Answer.AGAIN, f"{lacking.message.rstrip('.')}: mend [smtp], or the server", SETTINGS_S)
    with suppress(aiosmtplib.SMTPException):
        assert client.protocol is not None  # noqa: S101  # it has just answered
        client.protocol.write(b"QUIT\r\n")
    return Sent(Answer.TAKEN, said)


def _said(refused: aiosmtplib.SMTPResponseException) -> Sent:
    words, for_good = f"{refused.code} {refused.message}", refused.code >= _FOR_GOOD
    if isinstance(refused, _OF_THE_LETTER) or refused.code == _TOO_BIG:
        return Sent(Answer.REFUSED if for_good else Answer.AGAIN, words)
    return Sent(Answer.AGAIN, words, SETTINGS_S if for_good else None)


def _weighed(server: MailServer, post: Post) -> tuple[EmailMessage, int]:
    message = message_of(server, post)
    return message, len(message.as_bytes())


def message_of(server: MailServer, post: Post) -> EmailMessage:
    """Return a letter as it goes to *server*; reads its attachment."""
    letter = post.letter
    message = EmailMessage(policy=_PLAIN_POLICY)
    message["From"] = server.sender
    message["To"] = _spelt(unquote(letter.to.removeprefix("mailto:")))
    # As it folds long words that are not ASCII by itself, email doubles a space at the seam.
    message.set_raw("Subject", Header(letter.subject, _charset(letter.subject), header_name="Subject").encode())
    message["Date"] = format_datetime(datetime.fromtimestamp(post.notice.made_unix_ns / NS_PER_S, UTC))
    message["Message-ID"] = message_id(letter, server.sender)
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(letter.text)
    if letter.attachment is not None:
        with suppress(OSError):
            main, _, sub = letter.attachment.media_type.partition("/")
            content = Path(letter.attachment.path).read_bytes()
            message.add_attachment(content, maintype=main, subtype=sub, filename=letter.attachment.name)
    return message


def _spelt(mailbox: str) -> str:
    """Write its domain in letters that every server takes; what cannot be written so is for servers of RFC 6531."""
    local, at, domain = mailbox.rpartition("@")
    with suppress(UnicodeError):
        domain = domain.encode("idna").decode("ascii")
    return local + at + domain


def _charset(text: str) -> str:
    return "us-ascii" if text.isascii() else "utf-8"


def message_id(letter: Letter, sender: str) -> str:
    """Return the Message-ID of a letter, the same whenever it is sent."""
    domain = parseaddr(sender)[1].rpartition("@")[2]
    return f"<{sha256(letter.id.encode()).hexdigest()[:32]}@{domain}>"


def _literal(sock: socket) -> str:
    """Whom we say we are: most machines of an office have no name that is known outside."""
    own = ip_address(sock.getsockname()[0].partition("%")[0])
    return f"[{own}]" if own.version == 4 else f"[IPv6:{own}]"  # noqa: PLR2004 - the version of IP
