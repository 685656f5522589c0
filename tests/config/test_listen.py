"""[listen]: what opens the page, and the certificate it is served by."""

from collections.abc import Callable
from pathlib import Path

import pytest
import trustme

from wanwatch.config import Config, commands, load, remarks
from wanwatch.core.door import Cost, Password, digest, hashed, token_line

SAID = "four words of mine"
KEPT = hashed(SAID, bytes(16), Cost(4, 1, 1))
BEYOND = '\n[listen]\naddress = "192.0.2.200:9470"\n'
CERTIFICATE = 'certificate_file = "first.pem"\nkey_file = "first.key"\n'
FILES = f'password_file = "password"\ntoken_file = "tokens"\n{CERTIFICATE}'
NO_TLS = (
    "[listen]: others reach it by plain HTTP, so that whoever is on the way can read passwords and tokens; write "
    "certificate_file and key_file, or listen on loopback behind a proxy that speaks TLS."
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a password's line, tokens, a certificate and its key, and another key."""
    (tmp_path / "password").write_text(f"{KEPT.line()}\n")
    (tmp_path / "tokens").write_text(f"# prometheus\n{token_line('one')}\n{token_line('two')}\n")
    authority = trustme.CA()
    for name in ("first", "second"):
        made = authority.issue_cert(f"{name}.example")
        (tmp_path / f"{name}.pem").write_bytes(made.cert_chain_pems[0].bytes())
        (tmp_path / f"{name}.key").write_bytes(made.private_key_pem.bytes())
        (tmp_path / f"{name}.key").chmod(0o640)
    return tmp_path


def test_hashes_and_certificates_come_from_files_beside_the_configuration(
    folder: Path, read: Callable[[str], Config], right: str
) -> None:
    """The configuration holds what can be compared with, and shows none of it."""
    listen = read(right + BEYOND + FILES).listen
    assert (listen.password, listen.tokens) == (KEPT, (digest("one"), digest("two")))
    assert (listen.certificate, listen.key) == (folder / "first.pem", folder / "first.key")
    assert isinstance(listen.password, Password)
    assert listen.password.is_it(SAID)
    shown = repr(listen) + str(listen)
    assert KEPT.line().rpartition("$")[2] not in shown
    assert repr(digest("one")) not in shown


NO_FILE = "there is no such file, or it cannot be read"
READABLE = "write the path of a file that the daemon's user can read"
PAIR = "write the paths of a certificate and its key, in PEM, that the daemon's user can read"
NO_LINE = "the file does not hold the line that 'wanwatch password' makes; make its line with: wanwatch password"
NO_LINES = (
    "the file holds neither one plain token nor lines that 'wanwatch password --token' makes; make a token with: "
    "wanwatch password --token"
)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ('password_file = "none"', f"password_file: {NO_FILE}; {READABLE}"),
        ('password_file = "plain"', f"password_file: {NO_LINE}"),
        (f'password = "{SAID}"', "password: there is no such key; did you mean 'password_file'?"),
        ('token_file = "two-plain"', f"token_file: {NO_LINES}"),
        ('key_file = "first.key"', "certificate_file: this key is missing; write it beside key_file"),
        ('certificate_file = "first.pem"', f"key_file: there is no private key in it; {PAIR}"),
        ('certificate_file = "none.pem"\nkey_file = "first.key"', f"certificate_file: {NO_FILE}; {PAIR}"),
        (
            'certificate_file = "first.pem"\nkey_file = "second.key"',
            f"key_file: it is another certificate's; {PAIR}",
        ),
        ("certificate_file = 7", f"certificate_file: not a path; {READABLE}"),
    ],
)
def test_what_is_wrong_is_told_with_its_mend(
    folder: Path, mistakes: Callable[[str], list[str]], right: str, more: str, told: str
) -> None:
    """Missing, unreadable, not what it should be, not belonging together; a password in plain is never shown."""
    (folder / "plain").write_text(SAID)
    (folder / "two-plain").write_text("sesame\nopen\n")
    lines = mistakes(f"{right}\n[listen]\n{more}\n")
    assert lines == [f"listen.{told}"]
    assert SAID not in "\n".join(lines)


@pytest.mark.parametrize("secret", ["password", "token"])
def test_beyond_loopback_a_password_or_a_token_will_do(
    folder: Path, mistakes: Callable[[str], list[str]], right: str, secret: str
) -> None:
    """And neither will not."""
    name = {"password": "password", "token": "tokens"}[secret]
    assert (folder / name).is_file()
    assert mistakes(f'{right}{BEYOND}{secret}_file = "{name}"\n') == []
    (line,) = mistakes(right + BEYOND)
    assert line.startswith(
        "listen.address = '192.0.2.200:9470': others can reach it there, and nothing is asked of them"
    )


def test_plain_http_beyond_loopback_is_remarked_on(folder: Path, read: Callable[[str], Config], right: str) -> None:
    """It is allowed, as a tunnel may carry it; nobody should do it unawares. So is a key that all users can read."""
    keyed = right + BEYOND + 'password_file = "password"\n'
    assert remarks(read(keyed)) == [NO_TLS]
    assert remarks(read(keyed + CERTIFICATE)) == []
    (folder / "first.key").chmod(0o644)
    (remark,) = remarks(read(keyed + CERTIFICATE))
    assert "every user of this machine can read the key of its certificate" in remark
    assert remarks(read(f'{right}\n[listen]\npassword_file = "password"\n')) == []
    assert (folder / "password").is_file()


def test_check_says_to_whom_the_page_is_served(folder: Path, right: str) -> None:
    """And how."""
    file = folder / "wanwatch.toml"
    file.write_text(right + BEYOND + FILES)
    text = commands.summary(load(file, {}))
    wanted = "Status page and metrics on 192.0.2.200:9470, by TLS, for holders of the password or a token\n"
    assert wanted in text
