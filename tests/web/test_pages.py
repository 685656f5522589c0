"""The pages and the API over real loopback sockets, from an office without a daemon."""

import asyncio
import contextlib
import json
import mimetypes
import threading
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

import aiohttp
import pytest
from aiohttp import web
from prometheus_client.parser import text_string_to_metric_families
from yarl import URL

from tests.fakes.clock import START_UNIX_NS
from tests.fakes.web import ODD, office, troubled_office
from wanwatch.core.event_json import FIELDS
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, State, StateChanged
from wanwatch.publish import Metrics
from wanwatch.web.app import happened, make_app, serve
from wanwatch.web.office import Reader

BEGAN = START_UNIX_NS - 600 * NS_PER_S
CUT = Event("outage-fibre-1", "harbour-lane", EventKind.OUTAGE, "fibre", Bounds(BEGAN, BEGAN, BEGAN))


@pytest.fixture
async def http() -> AsyncIterator[aiohttp.ClientSession]:
    async with aiohttp.ClientSession() as session:
        yield session


async def opened(app: web.Application) -> tuple[web.AppRunner, str]:
    runner = await serve(app, "127.0.0.1", 0)
    return runner, f"http://127.0.0.1:{runner.addresses[0][1]}"


async def test_the_status_page_says_who_carries_and_what_goes_on(http: aiohttp.ClientSession, tmp_path: Path) -> None:
    """Headline, state, delay and loss, the open incident; small, and nothing is asked of any other host."""
    runner, at = await opened(make_app(Metrics("s", "1").registry, office(tmp_path, events=(CUT,))))
    try:
        async with http.get(at) as answer:
            page, headers = await answer.text(), answer.headers
    finally:
        await runner.cleanup()
    assert answer.status == 200
    assert "<h1>fibre carries the traffic</h1>" in page
    assert "12.3 ms" in page
    assert "5.0 %" in page
    assert "Going on" in page
    assert "/incident/incident-outage-fibre-1" in page
    assert "down 10 min 00 s" in page
    assert "default-src 'none'; script-src 'self'" in headers["Content-Security-Policy"]
    assert "http" not in page.replace("http-equiv", "")
    assert len(page.encode()) < 150_000


@pytest.mark.parametrize("name", ODD.values(), ids=ODD)
async def test_any_name_is_harmless(http: aiohttp.ClientSession, tmp_path: Path, name: str) -> None:
    """Names of site and lines are text wherever they stand, lead to their own pages, and are labels as they are."""
    metrics, first, second = Metrics(name, "1"), name, f"{name} 2"
    metrics.follow((first, second))
    for line, state in ((first, State.DOWN), (second, State.UP)):
        metrics.state(StateChanged(line, state, 0))
    runner, at = await opened(make_app(metrics.registry, troubled_office(tmp_path, name, first, second)))
    try:
        for way in ("/", f"/uplink/{quote(first, safe='')}", f"/incident/{quote(f'incident-outage-{first}', safe='')}"):
            async with http.get(URL(at + way, encoded=True)) as answer:
                assert (way, answer.status) == (way, 200)
                assert "<script>alert" not in await answer.text()
        async with http.get(f"{at}/api/uplinks") as answer:
            assert [row["name"] for row in await answer.json()] == [first, second]
        async with http.get(f"{at}/api/incidents") as answer:
            assert {uplink for one in await answer.json() for uplink in one["uplinks"]} == {first, second}
        async with http.get(f"{at}/metrics") as answer:
            families = list(text_string_to_metric_families(await answer.text()))
    finally:
        await runner.cleanup()
    states = next(family for family in families if family.name == "wanwatch_uplink_state").samples
    told = {(one.labels["site"], one.labels["uplink"], one.labels["state"]) for one in states if one.value}
    assert told == {(name, first, "down"), (name, second, "up")}


async def test_every_page_is_there_and_what_is_not_is_said(http: aiohttp.ClientSession, tmp_path: Path) -> None:
    """Pages of a line, of an incident and of reports; a file beside the reports is not handed out."""
    (tmp_path / "reports").mkdir()
    (tmp_path / "reports" / "2026-10.html").write_text("<p>October")
    (tmp_path / "secret.html").write_text("secret")
    (tmp_path / "reports" / "link.html").symlink_to(tmp_path / "secret.html")
    runner, at = await opened(make_app(Metrics("s", "1").registry, office(tmp_path, events=(CUT,))))
    try:
        for way, status in {
            "/uplink/fibre": 200, "/uplink/none": 404, "/incident/incident-outage-fibre-1": 200, "/incident/x": 404,
            "/reports": 200, "/reports/2026-10.html": 200, "/reports/link.html": 404, "/reports/..%2fsecret.html": 404,
            "/status.css": 200, "/status.js": 200,
        }.items():  # fmt: skip
            async with http.get(at + way) as answer:
                assert (way, answer.status) == (way, status)
                assert "X-Frame-Options" in answer.headers
    finally:
        await runner.cleanup()


async def test_a_page_that_leaves_something_out_says_so(http: aiohttp.ClientSession, tmp_path: Path) -> None:
    """A line that flaps makes hundreds of entries; who reads the first of them must know that these are not all."""

    def at(ago_s: int) -> Bounds:
        return Bounds(*[START_UNIX_NS - ago_s * NS_PER_S] * 3)

    flapping = tuple(
        replace(CUT, id=f"{number}", start=at(number * 60), end=at(number * 60 - 30)) for number in range(1, 102)
    )
    runner, place = await opened(make_app(Metrics("s", "1").registry, office(tmp_path, events=flapping)))
    try:
        async with http.get(f"{place}/incident/incident-101") as answer:
            assert "first 200 of 202 entries" in await answer.text()
        async with http.get(f"{place}/uplink/fibre") as answer:
            assert "the latest 100;" in await answer.text()
    finally:
        await runner.cleanup()


async def test_a_report_that_is_no_page_is_handed_over_as_a_file(
    http: aiohttp.ClientSession, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """RFC 6266: reports run in a sandbox (CSP level 3, section 6.3.4), and browsers show no PDF in one.

    Whoever reads one leaves nothing in the log.
    """
    (tmp_path / "reports").mkdir()
    for name in ("2026-10.html", "2026-10.pdf", "2026-10.csv.zip"):
        (tmp_path / "reports" / name).write_text("October")
    runner, at = await opened(make_app(Metrics("s", "1").registry, office(tmp_path)))
    try:
        for name, how in {"2026-10.html": None, "2026-10.pdf": "attachment", "2026-10.csv.zip": "attachment"}.items():
            async with http.get(f"{at}/reports/{name}") as answer:
                assert (name, answer.status, answer.headers.get("Content-Disposition")) == (name, 200, how)
                assert (answer.content_type, await answer.text()) == (mimetypes.guess_type(name)[0], "October")
                assert "sandbox" in answer.headers["Content-Security-Policy"]
    finally:
        await runner.cleanup()
    assert not caplog.records


async def test_the_description_names_every_route_and_each_answers(http: aiohttp.ClientSession, tmp_path: Path) -> None:
    """OpenAPI 3.1: what is described is there; events have exactly their fields; a wrong instant is told in JSON."""
    runner, at = await opened(make_app(Metrics("s", "1").registry, office(tmp_path, events=(CUT,))))
    try:
        async with http.get(f"{at}/api/openapi.json") as answer:
            described = await answer.json()
        routed = {r.resource.canonical for r in runner.app.router.routes() if r.resource is not None}
        assert {way for way in routed if way.startswith("/api/")} == set(described["paths"])
        for way in set(described["paths"]) - {"/api/stream"}:
            async with http.get(at + way) as answer:
                assert (way, answer.status) == (way, 200)
        async with http.get(f"{at}/api/events") as answer:
            assert [tuple(event) for event in await answer.json()] == [FIELDS]
        async with http.get(f"{at}/api/events?since=yesterday") as answer:
            assert answer.status == 400
            assert "RFC 3339" in (await answer.json())["error"]
        async with http.post(f"{at}/api/events") as answer:
            assert answer.status == 405
    finally:
        await runner.cleanup()


async def test_a_change_is_told_at_once_and_who_does_not_read_is_dropped(
    http: aiohttp.ClientSession, tmp_path: Path
) -> None:
    """Server-sent events as HTML says; nothing waits for an onlooker."""
    app = make_app(Metrics("s", "1").registry, office(tmp_path))
    runner, at = await opened(app)
    try:
        async with http.get(f"{at}/api/stream") as answer:
            assert await answer.content.readuntil(b"\n\n") == b"retry: 2000\n\n"
            happened(app, "state", "fibre")
            said = await asyncio.wait_for(answer.content.readuntil(b"\n\n"), 2)
            assert said == b"event: state\ndata: " + json.dumps({"uplink": "fibre"}).encode() + b"\n\n"
            for _ in range(40):  # more than may wait, before the stream gets its turn
                happened(app, "state", "fibre")
            with pytest.raises(aiohttp.ClientError):
                await asyncio.wait_for(answer.content.read(), 5)
    finally:
        await runner.cleanup()


async def test_a_page_that_was_being_made_when_something_happened_is_made_anew(tmp_path: Path) -> None:
    """What is read of the record takes a while; who asks after an event is told of it, whoever asked before."""
    kept, going, may_end = office(tmp_path), threading.Event(), threading.Event()

    @contextlib.contextmanager
    def slow() -> Iterator[Any]:
        going.set()
        with kept.record() as record:
            may_end.wait(5)
            yield record

    reader = Reader(replace(kept, record=slow))
    before = asyncio.create_task(reader.read())
    await asyncio.to_thread(going.wait, 5)
    reader.forget()
    may_end.set()
    stale = await before
    assert await reader.read() is not stale
    assert await reader.read() is await reader.read()


async def test_who_asks_for_the_head_of_the_stream_is_answered(http: aiohttp.ClientSession, tmp_path: Path) -> None:
    """RFC 9110 section 9.3.2: the fields of GET, no content, and so no end to wait for."""
    runner, at = await opened(make_app(Metrics("s", "1").registry, office(tmp_path)))
    try:
        async with asyncio.timeout(5), http.head(f"{at}/api/stream") as answer:
            assert (answer.status, answer.content_type, await answer.read()) == (200, "text/event-stream", b"")
    finally:
        await runner.cleanup()


async def test_strangers_names_and_large_bodies_are_refused(http: aiohttp.ClientSession, tmp_path: Path) -> None:
    """A name that leads to loopback is a stranger's page's trick; nobody has to send us megabytes."""
    runner, at = await opened(make_app(Metrics("s", "1").registry, office(tmp_path)))
    try:
        async with http.get(at, headers={"Host": "evil.example.com"}) as answer:
            assert answer.status == 421
        async with http.post(at, headers={"Content-Length": "100000000"}, data=b"") as answer:
            assert answer.status == 413
    except aiohttp.ClientError:
        pytest.fail("the refusal was not told")
    finally:
        await runner.cleanup()
