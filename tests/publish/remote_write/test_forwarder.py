"""The forwarder against a receiver on loopback that answers as it is told."""

from pathlib import Path

import pytest
import trustme
from aiohttp import web

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
    """5xx and 429 are tried again with the same bytes; trouble and its end are told once."""
    monkeypatch.setattr(retry, "FIRST_S", 0.01)
    told, kept = list[str](), list[int]()
    answering = Answering(503, web.Response(status=429, headers={"Retry-After": "0"}), 500, 204)
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
    """Remote write 1.0: 4xx other than 429 must not be tried again; a redirect is not followed."""
    told, kept = list[str](), list[int]()
    answering = Answering(web.Response(status=400, text="out of bounds"), 302, 204)
    async with listening(answering) as url:
        await all_sent(tmp_path / "record", Receiver(url, DAY_NS), told, kept)
    assert told == [
        f"remote write to {shown(url)}: it refuses 10 minutes: {words}; they are left out, unless it had them before; "
        "mend what it says, or its settings for old samples"
        for words in ("400 Bad Request 'out of bounds'", "302 Found ''")
    ]
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
