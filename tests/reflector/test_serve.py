"""The reflector as one process: what it serves, and what it says."""

import asyncio
import os
import signal
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from wanwatch.cli import main
from wanwatch.core.wire import stamp
from wanwatch.reflector import ReflectorError, Serving, Settings, StampReflector, read_certificate, read_secret, serve

SECRET = "correct horse battery"  # noqa: S105 - a test's own


async def test_serving_ends_with_its_task_and_frees_the_ports() -> None:
    """Cancelled is closed."""
    ready: asyncio.Queue[Serving] = asyncio.Queue()
    settings = Settings(address="127.0.0.1", stamp_port=0, stun_port=0, speed_port=0, token=SECRET)
    task = asyncio.create_task(serve(settings, on_ready=ready.put_nowait))
    serving = await asyncio.wait_for(ready.get(), 5)
    assert serving.speed is not None
    ports = serving.stamp.port, serving.stun.port, serving.speed.port
    text = serving.text()
    assert text == f"reflector: STAMP on UDP port {ports[0]}, STUN on UDP port {ports[1]}, speed on TCP port {ports[2]}"
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    StampReflector("127.0.0.1", ports[0]).close()
    with pytest.raises(ConnectionRefusedError):
        await asyncio.open_connection("127.0.0.1", ports[2])


async def test_without_a_token_there_is_no_speed_far_end() -> None:
    """Bytes are for token holders only."""
    ready: asyncio.Queue[Serving] = asyncio.Queue()
    task = asyncio.create_task(
        serve(Settings(address="127.0.0.1", stamp_port=0, stun_port=0), on_ready=ready.put_nowait)
    )
    serving = await asyncio.wait_for(ready.get(), 5)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert serving.speed is None
    assert serving.text().endswith("no speed far end (no token)")


async def test_the_command_serves_with_a_key_and_numbers_by_itself(tmp_path: Path) -> None:
    """The whole process: options, files, a signed answer, and the end by SIGTERM."""
    (tmp_path / "key").write_text(f"{SECRET}\n")
    words = [
        "--address",
        "127.0.0.1",
        "--stamp-port",
        "0",
        "--stun-port",
        "0",
        "--stamp-key-file",
        str(tmp_path / "key"),
    ]
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "wanwatch", "reflector", *words, stderr=asyncio.subprocess.PIPE
    )
    assert process.stderr is not None
    try:
        said = (await asyncio.wait_for(process.stderr.readline(), 20)).decode()
        port = int(said.split("STAMP on UDP port ")[1].split(",")[0])
        loop = asyncio.get_running_loop()
        received: asyncio.Queue[bytes] = asyncio.Queue()

        class Heard(asyncio.DatagramProtocol):
            def datagram_received(self, data: bytes, addr: object) -> None:
                del addr
                received.put_nowait(data)

        transport, _ = await loop.create_datagram_endpoint(Heard, remote_addr=("127.0.0.1", port))
        for sequence in (0, 2):
            transport.sendto(stamp.build_sender(stamp.SenderPacket(sequence, 1 << 63, ssid=9), SECRET.encode()))
        answers = [stamp.parse_reflector(await asyncio.wait_for(received.get(), 5), SECRET.encode()) for _ in range(2)]
        transport.close()
    finally:
        process.send_signal(signal.SIGTERM)
        await asyncio.wait_for(process.wait(), 5)
    numbers = [(seen.sender_sequence, seen.sequence) for seen in answers if isinstance(seen, stamp.ReflectorPacket)]
    assert numbers == [(0, 0), (2, 1)]


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (None, "there is no such file, or it cannot be read"),
        (b"", "the file does not hold exactly one line"),
        (b"one\ntwo\n", "the file does not hold exactly one line"),
        (b"\xff\xfe", "the file does not hold text"),
    ],
)
def test_a_secret_that_cannot_be_read_is_told_without_its_path(
    tmp_path: Path, content: bytes | None, reason: str
) -> None:
    """People paste the secret itself where its file belongs."""
    if content is not None:
        (tmp_path / SECRET).write_bytes(content)
    result = CliRunner().invoke(main, ["reflector", "--token-file", str(tmp_path / SECRET)])
    assert result.exit_code == 2
    assert result.output == (
        f"wanwatch: reflector: --token-file: {reason}; name another file, which the reflector's user can read\n"
    )


def test_a_folder_is_no_secret(tmp_path: Path) -> None:
    """Nor is a pipe, which would be waited for."""
    os.mkfifo(tmp_path / "pipe")
    for place in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(ReflectorError, match="--token-file: not a plain file"):
            read_secret("--token-file", place)


def test_a_certificate_needs_its_key(tmp_path: Path) -> None:
    """Both or neither, and both in PEM."""
    (tmp_path / "no.pem").write_text("no")
    assert read_certificate(None, None) is None
    with pytest.raises(ReflectorError, match="one of them is not named"):
        read_certificate(tmp_path / "no.pem", None)
    with pytest.raises(ReflectorError, match="--tls-certificate: there is no certificate in it"):
        read_certificate(tmp_path / "no.pem", tmp_path / "no.pem")
    with pytest.raises(ReflectorError, match="--tls-certificate: there is no such file"):
        read_certificate(tmp_path / "none", tmp_path / "none")


def test_a_settings_text_shows_no_secret() -> None:
    """Neither key nor token gets into a log."""
    assert SECRET not in repr(Settings(token=SECRET, stamp_key=SECRET.encode()))
