"""Signs of life, against a real server on loopback."""

import asyncio
import socket
from pathlib import Path

import pytest
import trustme
from aiohttp import web

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.publish.notices.hook_server import Answering, hook_server
from tests.publish.notices.posts import line
from wanwatch.publish.notices import ping
from wanwatch.publish.notices.ping import UNWELL, Pinger
from wanwatch.publish.ways import Line


def pinger(url: str, folder: Path, shown: list[int], *lines: Line, well: bool = True, every_s: float = 300.0) -> Pinger:
    return Pinger(
        url, every_s, str(folder / "ca.pem"), lines=lambda: lines, well=lambda: well, show=shown.append,
        clock=FakeClock(),
    )  # fmt: skip


def deaf(name: str) -> Line:
    def opened(address: object) -> socket.socket:
        del address
        raise OSError(101, "Network is unreachable")

    return line(name, opened)


@pytest.fixture
def authority(tmp_path: Path) -> trustme.CA:
    made = trustme.CA()
    made.cert_pem.write_to_path(tmp_path / "ca.pem")
    return made


async def test_a_sign_is_given_by_the_first_line_on_which_it_is_heard(authority: trustme.CA, tmp_path: Path) -> None:
    """The line that carries may be broken for everything but what is probed."""
    answering, shown = Answering(204), list[int]()
    async with hook_server(answering, authority) as url:
        living = pinger(url, tmp_path, shown, deaf("fibre"), line("copper"))
        assert await living.once() is None
    assert [request.method for request, _, _ in answering.requests] == ["GET"]
    assert shown == [START_UNIX_NS]
    assert living.to_json() == {"heard_unix_s": START_UNIX_NS / 1e9, "trouble": None}


@pytest.mark.parametrize("answer", [404, 500, web.Response(status=302, headers={"Location": "/elsewhere"})])
async def test_what_is_no_success_is_not_heard(
    answer: web.Response | int, authority: trustme.CA, tmp_path: Path
) -> None:
    """RFC 9110 section 15.3: 2xx says that it was received; a portal's redirection is no such thing."""
    answering, shown = Answering(answer), list[int]()
    async with hook_server(answering, authority) as url:
        said = await pinger(url, tmp_path, shown, line("fibre")).once()
    assert said is not None
    assert said.startswith("by fibre: ")
    assert len(answering.requests) == 1
    assert not shown


async def test_who_cannot_keep_what_it_sees_gives_no_sign(authority: trustme.CA, tmp_path: Path) -> None:
    """A daemon that runs and proves nothing had better be missed."""
    answering, shown = Answering(204), list[int]()
    async with hook_server(answering, authority) as url:
        assert await pinger(url, tmp_path, shown, line("fibre"), well=False).once() == UNWELL
    assert not answering.requests


async def test_without_a_line_nothing_is_tried(tmp_path: Path) -> None:
    """Nor over one that is down."""
    assert await pinger("https://watcher.example.net/", tmp_path, []).once() == "no line is up"


async def test_signs_go_on_after_trouble_which_is_told_once(
    authority: trustme.CA, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """What fails is tried again soon, not when the next one is due; the URL, which may be a key, is in no word."""
    monkeypatch.setattr(ping, "RETRY_S", 0.01)
    answering, shown = Answering(500, 500, 500, 204), list[int]()
    async with hook_server(answering, authority) as url:
        task = asyncio.create_task(pinger(url, tmp_path, shown, line("fibre")).run())
        async with asyncio.timeout(20):
            while not caplog.records or "again" not in caplog.records[-1].getMessage():  # noqa: ASYNC110
                await asyncio.sleep(0.01)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
    assert len(answering.requests) == 4
    said = [record.getMessage() for record in caplog.records]
    assert said == ["ping: by fibre: 500 Internal Server Error", "ping: heard again"]
