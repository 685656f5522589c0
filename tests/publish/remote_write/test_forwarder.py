"""The forwarder against a receiver on loopback that answers as it is told."""

import asyncio
import sqlite3
from pathlib import Path

import pytest
import trustme
from aiohttp import web

from tests.publish.remote_write.decoded import points
from tests.publish.remote_write.hours import MINUTES, OPEN, Answering, an_hour, forwarder, listening
from wanwatch.core.model import NS_PER_S
from wanwatch.core.shown import shown
from wanwatch.publish import retry
from wanwatch.publish.remote_write import Receiver

BEGUN = 29_454_000
DAY_NS = 86_400 * NS_PER_S


async def all_sent(path: Path, receiver: Receiver, told: list[str], kept: list[int]) -> None:
    clock = await an_hour(path, BEGUN * 60 * NS_PER_S)
    sending = forwarder(path, clock, receiver, told, kept)
    while await sending.step():
        pass


async def test_a_request_says_what_it_is(tmp_path: Path) -> None:
    """Remote write 1.0: the headers of a request; RFC 6750 and RFC 7617: who sends it."""
    answering = Answering(204)
    async with listening(answering) as url:
        await all_sent(tmp_path / "a", Receiver(url, DAY_NS, bearer="sesame"), [], [])
        await all_sent(tmp_path / "b", Receiver(url, DAY_NS, user="Aladdin", password="open sesame"), [], [])  # noqa: S106 - RFC 7617 section 2, its example
    headers = [headers for headers, _ in answering.requests]
    assert {one["Authorization"] for one in headers} == {"Bearer sesame", "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="}
    for one in headers:
        assert one["Content-Encoding"] == "snappy"
        assert one["Content-Type"] == "application/x-protobuf"
        assert one["X-Prometheus-Remote-Write-Version"] == "0.1.0"
        assert one["User-Agent"].startswith("wanwatch/")


async def test_what_fails_for_now_is_sent_again_and_nothing_is_skipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """5xx, 429 and a redirection are tried again with the same bytes; trouble and its end are told once."""
    monkeypatch.setattr(retry, "FIRST_S", 0.01)
    told, kept = list[str](), list[int]()
    answering = Answering(503, web.Response(status=429, headers={"Retry-After": "0"}), 302, 204)
    async with listening(answering) as url:
        await all_sent(tmp_path / "record", Receiver(url, DAY_NS), told, kept)
    bodies = [body for _, body in answering.requests]
    assert len(set(bodies[:4])) == 1
    assert len(bodies) == 3 + len(set(bodies))
    assert told == [
        f"remote write to {shown(url)}: 503 Service Unavailable ''; it is tried again, and nothing is left out",
        f"remote write to {shown(url)}: works again",
    ]
    assert kept == sorted(kept)


async def test_what_is_refused_is_left_out_with_a_word(tmp_path: Path) -> None:
    """Remote write 1.0: 4xx other than 429 must not be tried again. The word is told once; all of it is counted."""
    told, kept = list[str](), list[int]()
    clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
    refusals = [web.Response(status=400, text="out of bounds at /api/v1/write?key=sesame") for _ in range(2)]
    answering = Answering(*refusals, 204)
    async with listening(answering) as url:
        sending = forwarder(tmp_path / "record", clock, Receiver(f"{url}?key=sesame", DAY_NS), told, kept)
        while await sending.step():
            pass
    assert sending.refused_s == 1200
    (said,) = told
    assert said == (
        f"remote write to {shown(url)}: it refuses 10 minutes: 400 Bad Request 'out of bounds at …'; they are left "
        "out, unless it had them before, and so is what it refuses likewise; mend what it says, or its settings for "
        "old samples"
    )
    bodies = [body for _, body in answering.requests]
    assert len(bodies) == len(set(bodies))


async def test_after_a_restart_it_goes_on_where_it_stopped(tmp_path: Path) -> None:
    """The position is all that is kept."""
    answering = Answering(204)
    clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
    kept: list[int] = []
    async with listening(answering) as url:
        for _ in range(200):
            if not await forwarder(tmp_path / "record", clock, Receiver(url, DAY_NS), [], kept).step():
                break
    bodies = [body for _, body in answering.requests]
    assert len(bodies) == len(set(bodies))
    assert kept[-1] == BEGUN + MINUTES + 1  # the minute after the hour is over, too; nothing was kept in it


async def test_nothing_older_than_the_back_fill_is_sent(tmp_path: Path) -> None:
    """A receiver would refuse it, or it costs more than it is worth."""
    answering, kept = Answering(204), list[int]()
    async with listening(answering) as url:
        await all_sent(tmp_path / "record", Receiver(url, 1800 * NS_PER_S), [], kept)
    assert kept[0] - 10 == BEGUN + 60 + 3 - 30


async def test_the_latest_minute_is_sent_however_short_the_back_fill_is(tmp_path: Path) -> None:
    """A minute is final two minutes after its end: a back fill of one would leave nothing to send, ever."""
    answering, kept = Answering(204), list[int]()
    async with listening(answering) as url:
        clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
        clock.advance(-60)
        assert await forwarder(tmp_path / "record", clock, Receiver(url, NS_PER_S), [], kept).step()
    assert len(answering.requests) == 1


async def test_a_clock_that_was_wrong_by_years_holds_nothing_up(tmp_path: Path) -> None:
    """A machine may start with any date: what it has sent by then must not count as sent for the years between."""
    answering = Answering(204)
    async with listening(answering) as url:
        clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
        clock.step(-1800)
        sending = forwarder(tmp_path / "record", clock, Receiver(url, DAY_NS), [], [BEGUN + 5_000_000])
        assert not await sending.step()
        clock.advance(120)
        assert await sending.step()
    (request,) = answering.requests
    assert {end_ms for of in points(request[1]).values() for end_ms, _ in of} == {
        (BEGUN + minute) * 60_000 for minute in (32, 33)
    }


async def test_a_record_that_cannot_be_read_for_now_is_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program may hold its lock, or be bringing its schema up to date."""
    monkeypatch.setattr("wanwatch.publish.remote_write.forwarder.LOOK_EVERY_S", 0.01)
    answering, told, kept = Answering(204), list[str](), list[int]()
    async with listening(answering) as url:
        clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
        sending = forwarder(tmp_path / "record", clock, Receiver(url, DAY_NS), told, kept)
        step, faults = sending.step, iter([sqlite3.OperationalError("database is locked")] * 2)

        async def at_times() -> bool:
            for fault in faults:
                raise fault
            if not (sent := await step()):
                running.cancel()
            return sent

        monkeypatch.setattr(sending, "step", at_times)
        running = asyncio.create_task(sending.run())
        await asyncio.wait({running}, timeout=20)
        assert running.cancelled()
    assert told == [
        f"remote write to {shown(url)}: {said}"
        for said in (
            "the record cannot be read: database is locked; it is tried again, and nothing is left out", "works again",
        )
    ]  # fmt: skip


async def test_what_is_no_receiver_at_all_is_tried_again_and_no_key_is_told(tmp_path: Path) -> None:
    """The path or query of a URL may be somebody's key: what an answer that is no HTTP comes to does not show it."""

    async def babble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(100)
        writer.write(b"what do you want?\r\n\r\n")
        writer.close()

    async with await asyncio.start_server(babble, "127.0.0.1", 0) as server:
        url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/write?key=sesame"
        clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
        said, words, _ = await forwarder(tmp_path / "record", clock, Receiver(url, DAY_NS), [], [])._post(b"\x00")
    assert said is retry.Said.AGAIN
    assert "sesame" not in words
    assert words.isprintable()


async def test_without_a_line_nothing_is_tried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And once there is one, the same request is sent."""
    monkeypatch.setattr(retry, "FIRST_S", 0.01)
    lines = iter([None, None])
    told, kept = list[str](), list[int]()
    answering = Answering(204)
    clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
    async with listening(answering) as url:
        sending = forwarder(tmp_path / "record", clock, Receiver(url, DAY_NS), told, kept, lambda: next(lines, OPEN))
        while await sending.step():
            pass
    assert told[0] == f"remote write to {shown(url)}: no line is up; it is tried again, and nothing is left out"
    assert len({body for _, body in answering.requests}) == len(answering.requests)


async def test_a_receiver_is_trusted_by_its_own_authority_only(tmp_path: Path) -> None:
    """RFC 9110 section 4.3.4: an https origin proves itself; without its authority nothing is sent."""
    authority = trustme.CA()
    ca_file = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(ca_file)
    answering, told = Answering(204), list[str]()
    async with listening(answering, authority) as url:
        clock = await an_hour(tmp_path / "record", BEGUN * 60 * NS_PER_S)
        sending = forwarder(tmp_path / "record", clock, Receiver(url, DAY_NS), told, [])
        said, words, _ = await sending._post(b"\x00")
        assert said is retry.Said.AGAIN
        assert "certificate" in words.lower()
        assert not answering.requests
        await all_sent(tmp_path / "other", Receiver(url, DAY_NS, ca_file=ca_file), told, [])
    assert answering.requests
    assert not told
