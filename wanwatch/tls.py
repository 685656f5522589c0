"""TLS for what we serve: a certificate and its key from files, read again without letting go of the listener.

Sources:  RFC 8446, RFC 5246 (TLS 1.3 and 1.2; RFC 8996 forbids what is older); RFC 7468 (PEM).
"""

import contextlib
import ssl
import stat
from pathlib import Path
from typing import Final

from wanwatch.core.errors import WanwatchError

_MISMATCH: Final = "KEY_VALUES_MISMATCH"
_DAY_S: Final = 86_400
_SOON_S: Final = 14 * _DAY_S
"""Time enough to find out why nobody renewed it."""
_NO_FILE: Final = "there is no such file, or it cannot be read"


class CertificateError(WanwatchError):
    """A certificate and its key cannot be used. No path is shown: people paste secrets there.

    Attributes:
        of_key: Whether it is the key's file, and not the certificate's.
        reason: What is wrong.
    """

    def __init__(self, *, of_key: bool, reason: str) -> None:
        self.of_key, self.reason = of_key, reason
        super().__init__(f"{'key' if of_key else 'certificate'}: {reason}")


class _LockedError(Exception):
    """The key asks for a passphrase."""


def server_context(certificate: Path, key: Path | None) -> ssl.SSLContext:
    """Return what a server needs.

    Args:
        certificate: The certificate and what signed it, in PEM.
        key: Its private key in PEM, without a passphrase; None where it stands in the same file.

    Raises:
        CertificateError: One of them cannot be used, or they do not belong together.
    """
    _look_at(certificate, of_key=False)
    if key is not None:
        _look_at(key, of_key=True)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    _hold_certificates(certificate)
    try:
        context.load_cert_chain(certificate, key, _locked)
    except _LockedError:
        raise CertificateError(of_key=True, reason="it is locked by a passphrase") from None
    except ssl.SSLError as error:
        reason = "it is another certificate's" if error.reason == _MISMATCH else "there is no private key in it"
        raise CertificateError(of_key=True, reason=reason) from None
    except OSError:  # it has gone since
        raise CertificateError(of_key=key is not None, reason=_NO_FILE) from None
    return context


class Certificate:
    """What a listener shows, exchanged at any time: connections that begin afterwards see the new one.

    Args:
        first: Made by `server_context`.
    """

    def __init__(self, first: ssl.SSLContext) -> None:
        self.now = first
        self.listening: Final = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.listening.minimum_version = ssl.TLSVersion.TLSv1_2
        # Loading into a context that is in use would leave it without a key if the second file turned out to be wrong.
        self.listening.sni_callback = self._choose

    def _choose(self, connection: ssl.SSLObject, _name: str | None, _listening: ssl.SSLContext) -> None:
        connection.context = self.now


def doubt(context: ssl.SSLContext, certificate: Path, now_unix_s: float) -> str | None:
    """Say why a browser refuses what we show, or will soon; None if there is no reason.

    Args:
        context: Made by `server_context`.
        certificate: The file that it was made of.
        now_unix_s: The wall clock.
    """
    trusting = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    trusting.check_hostname = False  # which names people use is not known here
    trusting.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN  # nor whom their browsers believe
    trusting.load_verify_locations(certificate)
    try:
        shown = _met(context, trusting)
    except ssl.SSLCertVerificationError as error:
        return f"browsers refuse it: {error.verify_message}"
    left_s = ssl.cert_time_to_seconds(str(shown["notAfter"])) - now_unix_s
    return f"it ends in {int(left_s // _DAY_S)} days" if left_s < _SOON_S else None


def _met(context: ssl.SSLContext, trusting: ssl.SSLContext) -> dict[str, object]:
    """Let a client of ours meet the server within this process, and return what it was shown."""
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = trusting.wrap_bio(to_client, to_server)
    server = context.wrap_bio(to_server, to_client, server_side=True)
    for side in (client, server, client):
        with contextlib.suppress(ssl.SSLWantReadError):
            side.do_handshake()
    return dict(client.getpeercert() or {})


def _look_at(path: Path, *, of_key: bool) -> None:
    try:
        plain = stat.S_ISREG(path.stat().st_mode)  # a pipe would be waited for
        if plain:
            path.open("rb").close()
    except (OSError, ValueError):  # ValueError: a zero byte in the path
        raise CertificateError(of_key=of_key, reason=_NO_FILE) from None
    if not plain:
        raise CertificateError(of_key=of_key, reason="not a plain file")


def _hold_certificates(path: Path) -> None:
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT).load_verify_locations(path)
    except ssl.SSLError:
        raise CertificateError(of_key=False, reason="there is no certificate in it") from None


def _locked() -> str:
    """Without this, OpenSSL would ask whoever sits at the terminal."""
    raise _LockedError
