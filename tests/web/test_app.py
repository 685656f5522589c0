"""The daemon's HTTP side over real loopback sockets."""

import gzip
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

import aiohttp
import pytest
from aiohttp import web
from prometheus_client import generate_latest

from tests.fakes.web import office
from wanwatch.core.door import Keys, digest
from wanwatch.publish import Metrics
from wanwatch.web.app import ListenError, make_app, serve

OFFICE = office(Path("/nowhere"))
HEALTH = OFFICE.health()


def address(runner: web.AppRunner) -> str:
    host, port = runner.addresses[0][:2]
    return f"http://{host}:{port}"


@pytest.fixture
async def http() -> AsyncIterator[aiohttp.ClientSession]:
    async with aiohttp.ClientSession() as session:
        yield session


async def test_metrics_speak_the_format_that_is_asked_for(http: aiohttp.ClientSession) -> None:
    """Text 0.0.4 by default and for what nobody knows, OpenMetrics when accepted."""
    runner = await serve(make_app(Metrics("s", "1").registry, OFFICE), "127.0.0.1", 0)
    try:
        for accepted in ("*/*", "text/plain", "application/openmetrics-text; version=1.0.0-rc", "text/plain;version=x"):
            async with http.get(address(runner) + "/metrics", headers={"Accept": accepted}) as answer:
                assert answer.headers["Content-Type"].startswith("text/plain; version=0.0.4")
                assert (await answer.text()).endswith("\n")
        accept = {"Accept": "application/openmetrics-text; version=1.0.0"}
        async with http.get(address(runner) + "/metrics", headers=accept) as answer:
            assert answer.headers["Content-Type"].startswith("application/openmetrics-text; version=1.0.0")
            assert (await answer.text()).endswith("# EOF\n")
    finally:
        await runner.cleanup()


@pytest.mark.parametrize(
    ("accept", "zipped"), [("gzip", True), ("br, gzip;q=0.5", True), ("gzip;q=0", False), ("identity", False)]
)
async def test_metrics_are_compressed_for_whoever_takes_it(accept: str, *, zipped: bool) -> None:
    """RFC 9110 section 12.5.3: a weight of 0 means not acceptable; compressed, it is the library's own text, too."""
    metrics = Metrics("s", "1")
    metrics.follow(("fibre", "copper"))
    runner = await serve(make_app(metrics.registry, OFFICE), "127.0.0.1", 0)
    try:
        async with (
            aiohttp.ClientSession(auto_decompress=False) as http,
            http.get(address(runner) + "/metrics", headers={"Accept-Encoding": accept}) as answer,
        ):
            assert (answer.headers.get("Content-Encoding") == "gzip") is zipped
            body = await answer.read()
            assert (gzip.decompress(body) if zipped else body) == generate_latest(metrics.registry)
    finally:
        await runner.cleanup()


async def test_health_is_an_error_when_something_is_wrong(http: aiohttp.ClientSession) -> None:
    """A plain HTTP check can tell by the status alone."""
    said = dict(HEALTH)
    runner = await serve(make_app(Metrics("s", "1").registry, replace(OFFICE, health=lambda: said)), "127.0.0.1", 0)
    try:
        async with http.get(address(runner) + "/health") as answer:
            assert (answer.status, await answer.json()) == (200, HEALTH)
        said["status"] = "the store cannot be written"
        async with http.get(address(runner) + "/health") as answer:
            assert answer.status == 503
    finally:
        await runner.cleanup()


async def test_a_token_is_demanded_where_one_is_set(http: aiohttp.ClientSession) -> None:
    """RFC 6750: no token or a wrong one gets 401 with a challenge."""
    keys = Keys(tokens=(digest("sesame"),))
    runner = await serve(make_app(Metrics("s", "1").registry, OFFICE, keys), "127.0.0.1", 0)
    try:
        for headers in ({}, {"Authorization": "Bearer wrong"}):
            async with http.get(address(runner) + "/health", headers=headers) as answer:
                assert (answer.status, answer.headers["WWW-Authenticate"]) == (401, "Bearer")
        async with http.get(address(runner) + "/health", headers={"Authorization": "Bearer sesame"}) as answer:
            assert answer.status == 200
    finally:
        await runner.cleanup()


async def test_a_taken_port_is_told_in_words() -> None:
    """The address, the reason and the mend."""
    runner = await serve(make_app(Metrics("s", "1").registry, OFFICE), "127.0.0.1", 0)
    port = runner.addresses[0][1]
    try:
        with pytest.raises(ListenError) as raised:
            await serve(make_app(Metrics("s", "1").registry, OFFICE), "127.0.0.1", port)
    finally:
        await runner.cleanup()
    assert str(raised.value) == (
        f"cannot listen on 127.0.0.1:{port}: Address already in use; "
        "choose another listen.address, or stop what holds it"
    )
