"""How notices and signs of life leave: what a mail server and a ping must say."""

from collections.abc import Callable
from pathlib import Path

import pytest

from wanwatch.config import Config

SMTP = '\n[smtp]\nhost = "mail.example.net"\nsender = "wan@example.net"\n'
PING = '\n[ping]\nurl = "https://watcher.example.net/office"\n'


def test_a_mail_server_is_encrypted_unless_told_otherwise(read: Callable[[str], Config], right: str) -> None:
    """RFC 6409: submission is port 587; RFC 3207: STARTTLS there."""
    smtp = read(right + SMTP).smtp
    assert smtp is not None
    assert (smtp.port, smtp.security, smtp.user, smtp.ca_file) == (587, "starttls", None, None)


@pytest.mark.parametrize(
    ("table", "line"),
    [
        (
            SMTP.replace("wan@example.net", "wan"),
            "smtp.sender = 'wan': not a mail address; write one such as \"wanwatch@example.net\"",
        ),
        (
            SMTP + 'user = "wan"',
            (
                "smtp.password_file: there is no password to sign in with; write password_file, or set "
                "WANWATCH_SMTP_PASSWORD in the daemon's environment"
            ),
        ),
        (
            SMTP + 'user = "wan"\nsecurity = "none"',
            'smtp.security = \'none\': everybody on the way could read the password; write "starttls" or "tls"',
        ),
        (
            SMTP + '[[notice]]\nto = "mailto:ops@example.net"\nsecret_file = "secret"\n',
            "notice[0].secret_file: a mail is not signed by it; leave it out, or write the URL of a webhook",
        ),
        (PING + 'every = "5s"', "ping.every = '5s': too often for other people's machines; write \"10s\" or longer"),
        (PING.replace("https", "ftp"), None),
    ],
)
def test_what_cannot_be_is_told_with_how_to_mend_it(
    mistakes: Callable[[str], list[str]], tmp_path: Path, right: str, table: str, line: str | None
) -> None:
    """RFC 8314 section 3: passwords are never sent in the clear; RFC 5322 section 3.4: a sender is a mailbox."""
    (tmp_path / "secret").write_text("open sesame")
    told = mistakes(right + table)
    assert told
    if line is not None:
        assert line in told


def test_a_sign_of_life_goes_out_every_five_minutes(read: Callable[[str], Config], right: str) -> None:
    """Common practice, no published source."""
    ping = read(right + PING).ping
    assert ping is not None
    assert ping.every_ns == 300 * 10**9


def test_a_webhook_s_secret_comes_from_its_file_and_is_not_shown(
    read: Callable[[str], Config], right: str, tmp_path: Path
) -> None:
    """Like every other secret."""
    (tmp_path / "secret").write_text("open sesame\n")
    table = '\n[[notice]]\nto = "https://hook.example.net/in"\nsecret_file = "secret"\n'
    config = read(right + table)
    secret = config.notices[0].secret
    assert secret is not None
    assert secret.get_secret_value() == "open sesame"
    assert "sesame" not in repr(config)


def test_a_sender_may_have_a_name(read: Callable[[str], Config], right: str) -> None:
    """RFC 5322 section 3.4: a display name before the address in angle brackets."""
    smtp = read(right + SMTP.replace("wan@example.net", "Harbour Lane <wan@example.net>")).smtp
    assert smtp is not None
    assert smtp.sender == "Harbour Lane <wan@example.net>"
