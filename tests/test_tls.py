"""Certificates for what we serve: what is wrong with one is told before anybody comes, and a new one is taken up."""

import os
import re
import shlex
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    load_pem_private_key,
)

from wanwatch.tls import Certificate, CertificateError, doubt, server_context

HOST = "127.0.0.1"
AUTHORITY = trustme.CA()


def written(folder: Path, name: str) -> tuple[Path, Path]:
    """Write a certificate for *name* and its key."""
    made = AUTHORITY.issue_cert(name)
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    certificate.write_bytes(b"".join(blob.bytes() for blob in made.cert_chain_pems))
    key.write_bytes(made.private_key_pem.bytes())
    return certificate, key


@contextmanager
def listening(context: ssl.SSLContext) -> Iterator[int]:
    """Shake hands with whoever comes, until the end."""

    def greet() -> None:
        while True:
            try:
                accepted, _ = held.accept()
            except OSError:
                return
            try:
                with context.wrap_socket(accepted, server_side=True) as greeted:
                    greeted.sendall(b"hello")
            except OSError:
                accepted.close()

    with socket.create_server((HOST, 0)) as held:
        thread = threading.Thread(target=greet)
        thread.start()
        yield held.getsockname()[1]
        held.shutdown(socket.SHUT_RDWR)
        thread.join(5)


def met(port: int, name: str | None, *, newest: ssl.TLSVersion = ssl.TLSVersion.TLSv1_3) -> tuple[str | None, str]:
    """Come, and return the version of TLS and whom the certificate names."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.minimum_version, context.maximum_version = ssl.TLSVersion.MINIMUM_SUPPORTED, newest
    AUTHORITY.configure_trust(context)
    with socket.create_connection((HOST, port), 5) as sock, context.wrap_socket(sock, server_hostname=name) as greeted:
        shown = greeted.getpeercert()
        assert greeted.recv(5) == b"hello"
        assert shown is not None
        names = dict(shown["subjectAltName"])  # type: ignore[arg-type]  # pairs of a kind and a name
        return greeted.version(), str(names["DNS"])


@pytest.mark.parametrize("name", ["first.example", None])
def test_a_renewed_certificate_is_shown_to_whoever_comes_next(tmp_path: Path, name: str | None) -> None:
    """The listener stays; a client that names nobody (RFC 6066 section 3) sees the new one as well."""
    held = Certificate(server_context(*written(tmp_path, "first.example")))
    with listening(held.listening) as port:
        assert met(port, name) == ("TLSv1.3", "first.example")
        held.now = server_context(*written(tmp_path, "second.example"))
        assert met(port, name) == ("TLSv1.3", "second.example")


def test_nothing_older_than_tls_1_2_is_spoken(tmp_path: Path) -> None:
    """RFC 8996: TLS 1.0 and 1.1 must not be used; RFC 9325: 1.2 may."""
    held = Certificate(server_context(*written(tmp_path, "first.example")))
    with listening(held.listening) as port:
        assert met(port, None, newest=ssl.TLSVersion.TLSv1_2)[0] == "TLSv1.2"
        with pytest.warns(DeprecationWarning, match="TLSv1_1"), pytest.raises(ssl.SSLError):
            met(port, None, newest=ssl.TLSVersion.TLSv1_1)


def test_one_file_may_hold_both(tmp_path: Path) -> None:
    """A certificate's file that holds its key needs no other."""
    both = tmp_path / "both.pem"
    AUTHORITY.issue_cert("first.example").private_key_and_cert_chain_pem.write_to_path(str(both))
    server_context(both, None)


def test_a_certificate_that_is_over_or_soon_will_be_is_doubted(tmp_path: Path) -> None:
    """OpenSSL's own verdict, and the days that are left; so is one that README.md's own command makes."""
    now = datetime.now(UTC)  # noqa: TID251 - a test's own clock, which OpenSSL looks at as well
    told = {}
    for day in (-1, 5, 100):
        made = AUTHORITY.issue_cert(
            "first.example", not_before=now - timedelta(days=9), not_after=now + timedelta(days=day, hours=1)
        )
        path = tmp_path / f"{day}.pem"
        made.private_key_and_cert_chain_pem.write_to_path(str(path))
        told[day] = doubt(server_context(path, None), path, now.timestamp())
    assert told == {-1: "browsers refuse it: certificate has expired", 5: "it ends in 5 days", 100: None}
    key, page = tmp_path / "page.key", tmp_path / "page.pem"
    readme = (Path(__file__).parents[1] / "README.md").read_text("utf-8")
    (command,) = re.findall(r"`(openssl req [^`]+)`", readme)
    subprocess.run(shlex.split(command), cwd=tmp_path, check=True, capture_output=True)
    assert doubt(server_context(page, key), page, now.timestamp()) is None


def test_what_is_wrong_with_a_certificate_is_told(tmp_path: Path) -> None:
    """Each fault by its own words; nobody is asked for a passphrase, no pipe is waited for, no path is shown."""
    certificate, key = written(tmp_path, "first.example")
    _, other = written(tmp_path, "second.example")
    locked, text, pipe = (tmp_path / name for name in ("locked.key", "text.pem", "pipe"))
    private = load_pem_private_key(key.read_bytes(), None)
    how = BestAvailableEncryption(b"a passphrase")
    locked.write_bytes(private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, how))
    text.write_text("no certificate")
    os.mkfifo(pipe)
    none = tmp_path / "none.pem"
    told = []
    for pair in (
        (none, key), (certificate, none), (pipe, key), (text, key), (certificate, text), (certificate, None),
        (certificate, other), (certificate, locked), (Path("a\0b"), key),
    ):  # fmt: skip
        with pytest.raises(CertificateError) as raised:
            server_context(*pair)
        told.append(str(raised.value))
    assert told == [
        "certificate: there is no such file, or it cannot be read",
        "key: there is no such file, or it cannot be read",
        "certificate: not a plain file",
        "certificate: there is no certificate in it",
        "key: there is no private key in it",
        "key: there is no private key in it",
        "key: it is another certificate's",
        "key: it is locked by a passphrase",
        "certificate: there is no such file, or it cannot be read",
    ]
