"""The reflector as one process: what it serves, and until when."""

import asyncio
import ssl
import stat
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from wanwatch.core.wire import stamp, stun
from wanwatch.reflector import speed
from wanwatch.reflector._errors import UnreadableFileError
from wanwatch.reflector.echo import EchoServer
from wanwatch.reflector.stamp import StampReflector
from wanwatch.reflector.stun import StunServer
from wanwatch.tls import CertificateError, server_context


@dataclass(frozen=True, slots=True)
class Settings:
    """What a reflector serves.

    Attributes:
        address: IPv4 or IPv6 address to listen on; `::` listens to both families.
        stamp_port: UDP port for STAMP.
        stamp_key: The key shared with senders; with one, only authenticated packets are answered.
        stateful: Number STAMP answers by themselves.
        stun_port: UDP port for STUN.
        stun_unpadded: Also answer STUN requests that are shorter than their answer.
        speed_port: TCP port of the speed far end.
        token: What clients of the speed far end have to show; without one it is not served.
        limits: What they may have.
        tls: For the speed far end over HTTPS.
        echo_port: TCP port of the echo protocol; None: it is not served.
    """

    address: str = "::"
    stamp_port: int = stamp.PORT
    stamp_key: bytes | None = field(default=None, repr=False)
    stateful: bool = True
    stun_port: int = stun.PORT
    stun_unpadded: bool = False
    speed_port: int = speed.PORT
    token: str | None = field(default=None, repr=False)
    limits: speed.Limits = field(default_factory=speed.Limits)
    tls: ssl.SSLContext | None = None
    echo_port: int | None = None


@dataclass(frozen=True, slots=True)
class Serving:
    """What is being served."""

    stamp: StampReflector
    stun: StunServer
    speed: speed.SpeedServer | None
    echo: EchoServer | None = None

    def text(self) -> str:
        """Say it in a line."""
        parts = [f"STAMP on UDP port {self.stamp.port}", f"STUN on UDP port {self.stun.port}"]
        parts.append(f"speed on TCP port {self.speed.port}" if self.speed else "no speed far end (no token)")
        if self.echo:
            parts.append(f"echo on TCP port {self.echo.port}")
        return f"reflector: {', '.join(parts)}"


async def serve(settings: Settings, *, on_ready: Callable[[Serving], None] = lambda _serving: None) -> None:
    """Serve until cancelled.

    Args:
        settings: What to serve.
        on_ready: Called once, when all of it listens.

    Raises:
        ReflectorError: It cannot listen there.
    """
    with ExitStack() as open_ones:
        reflector = StampReflector(
            settings.address, settings.stamp_port, key=settings.stamp_key, stateful=settings.stateful
        )
        open_ones.callback(reflector.close)
        stunning = StunServer(settings.address, settings.stun_port, unpadded=settings.stun_unpadded)
        open_ones.callback(stunning.close)
        speeding = speed.SpeedServer(settings.token, settings.limits) if settings.token else None
        if speeding is not None:
            open_ones.callback(speeding.close)
            await speeding.start(settings.address, settings.speed_port, settings.tls)
        echoing = EchoServer() if settings.echo_port is not None else None
        if echoing is not None and settings.echo_port is not None:
            open_ones.callback(echoing.close)
            await echoing.start(settings.address, settings.echo_port)
        on_ready(Serving(reflector, stunning, speeding, echoing))
        await asyncio.get_running_loop().create_future()


def read_secret(option: str, path: Path) -> str:
    """Return the one line of a secret's file.

    Raises:
        UnreadableFileError: There is no such file, or it does not hold exactly one line of text.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise UnreadableFileError(option, "not a plain file")
        held = path.read_text("utf-8").strip()
    except UnicodeDecodeError:
        raise UnreadableFileError(option, "the file does not hold text") from None
    except (OSError, ValueError):  # ValueError: a zero byte in the path
        raise UnreadableFileError(option, "there is no such file, or it cannot be read") from None
    if not held or "\n" in held:
        raise UnreadableFileError(option, "the file does not hold exactly one line")
    return held


def read_certificate(certificate: Path | None, key: Path | None) -> ssl.SSLContext | None:
    """Return what TLS needs, of a certificate chain and its private key in PEM; None where neither is named.

    Raises:
        UnreadableFileError: One of them cannot be used, or is not named.
    """
    if certificate is None and key is None:
        return None
    if certificate is None or key is None:
        options = "--tls-certificate and --tls-key"
        raise UnreadableFileError(options, "one of them is not named")
    try:
        return server_context(certificate, key)
    except CertificateError as error:
        raise UnreadableFileError("--tls-key" if error.of_key else "--tls-certificate", error.reason) from error
