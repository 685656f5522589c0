"""Letters by mail, against a real server on loopback."""

import asyncio
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.publish.notices.mail_server import Handler, mail_server
from tests.publish.notices.posts import Box, line, post_to
from wanwatch.core.notices import Answer, Attachment, PostState, Sent
from wanwatch.publish.notices.courier import Courier
from wanwatch.publish.notices.mail import MailServer, message_id, message_of, send_mail
from wanwatch.publish.ways import trouble

NAME = "mail.example.net"


@asynccontextmanager
async def dying_server(heard: bytearray) -> AsyncIterator[int]:
    """One that dies in the middle of each letter; its port, and what it has *heard* by then."""

    async def dies(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 mail.example.net\r\n")
        for answer in (b"250 mail.example.net\r\n", b"250 OK\r\n", b"250 OK\r\n", b"354 go on\r\n"):
            await reader.readline()
            writer.write(answer)
        heard.extend(await reader.readuntil(b"Subject"))
        writer.transport.abort()

    server = await asyncio.start_server(dies, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1]


async def until(true: Callable[[], bool]) -> None:
    while not true():  # noqa: ASYNC110 - what is awaited is no event of ours
        await asyncio.sleep(0.01)


def by(port: int, **more: Any) -> MailServer:
    return MailServer(**{"host": NAME, "port": port, "security": "none", "sender": "wan@example.net", **more})


async def test_what_is_sent_is_a_message_of_internet_mail() -> None:
    """RFC 5322 section 3.6: From, Date, To, Subject; Date is when the letter was made (3.6.1), not when it left.

    RFC 3834 section 5: Auto-Submitted keeps vacation messages from answering. RFC 5321 section 4.1.3: without a name
    that is known outside, a client says its address.
    """
    handler, post = Handler(), post_to(text="The fibre line is down.\nSince 10:00.\n")
    async with mail_server(handler) as (port, _):
        assert await send_mail(by(port), post, line()) == Sent(Answer.TAKEN, "OK, I have it")
    (message,) = handler.taken
    assert message["From"] == "wan@example.net"
    assert message["To"] == "ops@example.net"
    assert message["Subject"] == "letter 1"
    assert parsedate_to_datetime(message["Date"]) == datetime.fromtimestamp(START_UNIX_NS // 10**9, UTC)
    assert message["Auto-Submitted"] == "auto-generated"
    assert message.get_content_type() == "text/plain"
    assert message.get_content() == post.letter.text
    assert handler.greeted_by == ["[127.0.0.1]"]


async def test_a_letter_that_is_sent_twice_has_one_message_id() -> None:
    """RFC 5322 section 3.6.4: a Message-ID belongs to one version of one message; another letter has another."""
    handler = Handler()
    async with mail_server(handler) as (port, _):
        for number in (1, 1, 2):
            await send_mail(by(port), post_to(number=number), line())
    first, again, other = (message["Message-ID"] for message in handler.taken)
    assert first == again != other
    assert first == message_id(post_to().letter, "wan@example.net")
    assert first.endswith("@example.net>")


async def test_letters_in_any_language_and_with_an_attachment_arrive_whole(tmp_path: Path) -> None:
    """RFC 2045 and RFC 2047: what is not ASCII is encoded, for servers without 8BITMIME too."""
    report = tmp_path / "report.html"
    report.write_bytes(b"<p>\xc3\xbc</p>" * 2000)
    text = "Die Glasfaserleitung f\u00e4llt aus.\n.\nEine Zeile mit einem Punkt.\n" + "x" * 1500 + "\n"
    post = post_to(text=text, attachment=Attachment(str(report), "2026-10.html", "text/html"))
    handler = Handler()
    async with mail_server(handler) as (port, _):
        assert (await send_mail(by(port, sender="W\u00e4chter <wan@example.net>"), post, line())).answer is Answer.TAKEN
    (message,) = handler.taken
    assert message["From"].addresses[0].display_name == "W\u00e4chter"
    body = message.get_body()
    assert body is not None
    assert body.get_content() == text
    (attached,) = message.iter_attachments()
    assert attached.get_filename() == "2026-10.html"
    assert attached.get_payload(decode=True) == report.read_bytes()


@pytest.mark.parametrize(
    "subject",
    [
        "short",
        "harbour-lane: over: fibre and copper were down at the same time: fibre was down 2 times for 9.5\u2026",
        "\u2068Hafenstra\u00dfe\u2069: \u2068Glasfaser\u2069 ist ausgefallen und " + "w\u00e4hrend" * 12,
        "a word " * 19,
        "\u6e2f\u53e3" * 60,
    ],
)
async def test_a_subject_arrives_letter_by_letter(subject: str) -> None:
    """RFC 2047 section 6.2: what is between two encoded words is not shown; RFC 5322 section 2.1.1: lines of 78."""
    handler, post = Handler(), post_to()
    post = replace(post, letter=replace(post.letter, subject=subject.strip()))
    async with mail_server(handler) as (port, _):
        assert (await send_mail(by(port), post, line())).answer is Answer.TAKEN
    assert handler.taken[0]["Subject"] == subject.strip()
    written = message_of(by(25), post).as_bytes().partition(b"\r\n\r\n")[0]
    assert max(map(len, written.split(b"\r\n"))) <= 78


async def test_a_large_letter_has_as_long_as_a_slow_line_takes(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """RFC 5321 section 4.5.3.2.6: ten minutes for what follows DATA; given up sooner it would be sent anew for days."""

    class Slow(Handler):
        async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802 - its name
            await asyncio.sleep(1)
            return await super().handle_DATA(server, session, envelope)

    monkeypatch.setattr("wanwatch.publish.notices.mail.LIMIT_S", 0.5)
    report = tmp_path / "2026-10.html"
    report.write_bytes(bytes(100_000))
    async with mail_server(Slow()) as (port, _):
        with pytest.raises(TimeoutError):
            await send_mail(by(port), post_to(), line())
        with_report = post_to(attachment=Attachment(str(report), report.name, "text/html"))
        assert (await send_mail(by(port), with_report, line())).answer is Answer.TAKEN


@pytest.mark.parametrize("to", ["mailto:ops@bücher.example", "mailto:ops@b%C3%BCcher.example"])
async def test_a_domain_in_any_letters_is_written_as_every_server_takes_it(to: str) -> None:
    """RFC 3490 section 4.1 (ToASCII), the A-label from memory; RFC 6068 section 2 (percent-encoded in a mailto)."""
    message = await asyncio.to_thread(message_of, by(25), post_to(to))
    assert message["To"] == "ops@xn--bcher-kva.example"


async def test_a_letter_that_cannot_be_written_is_refused_and_keeps_no_other() -> None:
    """A header of more than one line is none (RFC 5322 section 2.2); tried again and again it would hold up all."""
    sent = await send_mail(by(25), post_to("mailto:ops%0D%0ABcc:all@example.net"), line())
    assert sent.answer is Answer.REFUSED


async def test_a_letter_whose_attachment_has_gone_goes_without_it() -> None:
    """That somebody tidied up must not keep a notice."""
    handler, post = Handler(), post_to(attachment=Attachment("/nowhere/2026-10.html", "2026-10.html", "text/html"))
    async with mail_server(handler) as (port, _):
        assert (await send_mail(by(port), post, line())).answer is Answer.TAKEN
    assert not list(handler.taken[0].iter_attachments())


@pytest.mark.parametrize(
    ("answers", "sent"),
    [
        ({"to_data": ["451 4.3.0 later"]}, Sent(Answer.AGAIN, "451 4.3.0 later")),
        ({"to_data": ["554 5.6.0 no"]}, Sent(Answer.REFUSED, "554 5.6.0 no")),
        ({"to_rcpt": ["450 4.2.0 busy"]}, Sent(Answer.AGAIN, "450 4.2.0 busy")),
        ({"to_rcpt": ["550 5.1.1 nobody"]}, Sent(Answer.REFUSED, "550 5.1.1 nobody")),
        ({"to_mail": ["451 4.3.2 later"]}, Sent(Answer.AGAIN, "451 4.3.2 later")),
        ({"to_mail": ["550 5.7.1 not you"]}, Sent(Answer.AGAIN, "550 5.7.1 not you", 3600.0)),
        ({"to_mail": ["552 5.3.4 too big"]}, Sent(Answer.REFUSED, "552 5.3.4 too big")),
    ],
)  # fmt: skip
async def test_what_the_server_says_decides(answers: dict[str, list[str]], sent: Sent) -> None:
    """RFC 5321 section 4.2.1: 4xx may go well later, 5xx will not; 5xx before the receiver is named is of settings."""
    handler = Handler(**answers)  # type: ignore[arg-type]  # the fields that are lists
    async with mail_server(handler) as (port, _):
        assert await send_mail(by(port), post_to(), line()) == sent
    assert not handler.taken


async def test_a_letter_is_encrypted_and_signed_in_as_the_settings_say(tmp_path: Path) -> None:
    """RFC 3207 and RFC 4954; RFC 8314 section 3.3 for TLS from the first byte."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    signed = {"user": "wan", "password": "open sesame", "ca_file": tmp_path / "ca.pem"}
    handler = Handler(users={"wan": "open sesame"})
    async with mail_server(handler, starttls=authority) as (port, _):
        sent = await send_mail(by(port, security="starttls", **signed), post_to(), line())
        assert sent.answer is Answer.TAKEN
        wrong = await send_mail(by(port, security="starttls", **signed | {"password": "wrong"}), post_to(), line())
    assert wrong == Sent(Answer.AGAIN, "535 5.7.8 Authentication credentials invalid", 3600.0)
    assert handler.signed_in == ["wan"]
    handler = Handler()
    async with mail_server(handler, tls=authority) as (port, _):
        sent = await send_mail(by(port, security="tls", ca_file=tmp_path / "ca.pem"), post_to(), line())
    assert sent.answer is Answer.TAKEN
    assert len(handler.taken) == 1


async def test_nothing_is_sent_to_a_server_that_offers_no_starttls() -> None:
    """RFC 3207 section 6: who takes the offer out must not get the letter, or the password, in the clear."""
    handler = Handler()
    async with mail_server(handler) as (port, _):
        sent = await send_mail(by(port, security="starttls", user="wan", password="open sesame"), post_to(), line())  # noqa: S106 - no secret
    assert sent.answer is Answer.AGAIN
    assert sent.why == "SMTP STARTTLS extension not supported by server: mend [smtp], or the server"
    assert not handler.taken


@pytest.mark.parametrize("security", ["starttls", "tls"])
async def test_nothing_is_sent_to_a_server_that_cannot_prove_its_name(security: str) -> None:
    """RFC 8314 section 3: certificates are checked. Without its authority nobody knows whose it is."""
    handler, authority = Handler(), trustme.CA()
    starttls, tls = (authority if offered == security else None for offered in ("starttls", "tls"))
    async with mail_server(handler, starttls=starttls, tls=tls) as (port, _):
        with pytest.raises(OSError, match="certificate") as raised:
            await send_mail(by(port, security=security), post_to(), line())
    assert trouble(raised.value).startswith("its certificate is not trusted: ")
    assert not handler.taken


async def test_a_server_that_dies_in_the_middle_of_a_letter_has_not_taken_it() -> None:
    """RFC 5321 section 4.2.5: only the answer to the end of DATA hands the letter over."""
    heard = bytearray()
    async with dying_server(heard) as port:
        with pytest.raises(OSError, match=r"lost|closed|EOF"):
            await send_mail(by(port), post_to(text="x\n" * 200_000), line())
    assert heard.endswith(b"Subject")


async def test_what_a_dying_server_did_not_take_arrives_once_when_it_is_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """The courier with a real server: killed in the middle of DATA, then busy (4xx), then well; and the next letter."""
    monkeypatch.setattr("wanwatch.core.notices.post.FIRST_PAUSE_NS", 50_000_000)
    box, handler, heard = (
        Box(post_to(number=1), post_to(number=2)),
        Handler(to_data=["451 later", "250 OK"]),
        bytearray(),
    )
    async with dying_server(heard) as port:
        send = partial(send_mail, by(port))
        courier = Courier(box, box.waiting, send, lines=lambda: [line()], show=lambda *_: None, clock=FakeClock())
        task = asyncio.create_task(courier.run())
        await asyncio.wait_for(until(lambda: bool(heard)), 5)
    async with mail_server(handler, port=port):
        await asyncio.wait_for(until(lambda: len(handler.taken) == 2), 10)
        await asyncio.wait_for(until(lambda: set(box.states()) == {PostState.TAKEN}), 5)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
    assert [message["Subject"] for message in handler.taken] == ["letter 1", "letter 2"]
    assert [post.tries for post in box.posts.values()][1] == 1
    assert next(iter(box.posts.values())).tries >= 3


async def test_whom_nobody_hears_is_an_error_of_the_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port without a server, and a server without a word: within a time limit, and by another line perhaps not."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        with pytest.raises(ConnectionRefusedError):
            await send_mail(by(held.getsockname()[1]), post_to(), line())
        held.listen()
        monkeypatch.setattr("wanwatch.publish.notices.mail.LIMIT_S", 0.1)
        with pytest.raises(TimeoutError):
            await send_mail(by(held.getsockname()[1]), post_to(), line())


async def test_being_stopped_leaves_nothing_behind() -> None:
    """Cancellation passes through, and the connection is closed: a warning would be an error here."""
    asked, gone = asyncio.Event(), asyncio.Event()

    async def waits(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 mail.example.net\r\n")
        while await reader.readline():
            asked.set()
        writer.close()
        gone.set()

    server = await asyncio.start_server(waits, "127.0.0.1", 0)
    async with server:
        task = asyncio.create_task(send_mail(by(server.sockets[0].getsockname()[1]), post_to(), line()))
        await asked.wait()
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        await asyncio.wait_for(gone.wait(), 60)


def test_no_secret_is_ever_shown() -> None:
    """Not in a log line, not in a traceback."""
    assert "sesame" not in repr(by(25, user="wan", password="open sesame"))  # noqa: S106 - no secret
