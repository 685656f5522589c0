"""Who is let in to the pages and the API, over real sockets: passwords, sessions, tokens, and forms from elsewhere."""

import asyncio
import logging
import random
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import quote

import aiohttp
import pytest
from aiohttp import web
from yarl import URL

from tests.fakes.clock import FakeClock
from tests.fakes.web import health_of, office
from wanwatch.core.door import ABSOLUTE_NS, IDLE_NS, Cost, Key, Keys, Password, Why, digest, hashed
from wanwatch.core.model import NS_PER_S
from wanwatch.publish import Metrics
from wanwatch.web import near
from wanwatch.web.app import adopt, make_app, serve
from wanwatch.web.ask import ask_health

SAID = "four words of mine"
CHEAP = Cost(4, 1, 1)
KEYS = Keys(hashed(SAID, bytes(16), CHEAP), (digest("sesame"), digest("open")))
BEARER = {"Authorization": "Bearer sesame"}


class Room(NamedTuple):
    """A web room that runs, and its clock."""

    at: str
    app: web.Application
    clock: FakeClock


@asynccontextmanager
async def room(
    keys: Keys = KEYS, folder: Path = Path("/nowhere"), site: str = "harbour-lane", metrics: Metrics | None = None
) -> AsyncIterator[Room]:
    clock, metrics = FakeClock(), metrics or Metrics("s", "1")
    there = replace(office(folder, health_of(site)), clock=clock)
    app = make_app(metrics.registry, there, keys, metrics.tries.refused)
    runner = await serve(app, "127.0.0.1", 0)
    try:
        yield Room(f"http://127.0.0.1:{runner.addresses[0][1]}", app, clock)
    finally:
        await runner.cleanup()


@pytest.fixture
async def http() -> AsyncIterator[aiohttp.ClientSession]:
    """A browser of sorts: it keeps cookies of addresses, and follows nothing by itself."""
    async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as session:
        yield session


def here(at: str) -> dict[str, str]:
    return {"Origin": at}


def refused(metrics: Metrics, key: Key) -> list[float | None]:
    """How often this was tried and refused: as wrong, and because there had been too many."""
    return [
        metrics.registry.get_sample_value("wanwatch_web_refused_tries_total", {"site": "s", "key": key, "why": why})
        for why in Why
    ]


async def sign_in(http: aiohttp.ClientSession, at: str, said: str = SAID, to: str = "/") -> aiohttp.ClientResponse:
    form = {"password": said, "to": to}
    async with http.post(f"{at}/login", data=form, headers=here(at), allow_redirects=False) as answer:
        await answer.read()
        return answer


async def get(http: aiohttp.ClientSession, url: str, **headers: str) -> aiohttp.ClientResponse:
    async with http.get(url, headers=headers, allow_redirects=False) as answer:
        await answer.read()
        return answer


def cookie_of(answer: aiohttp.ClientResponse) -> Any:
    (cookie,) = SimpleCookie(answer.headers["Set-Cookie"]).values()
    return cookie


async def test_who_wants_a_page_is_led_to_sign_in_and_back(http: aiohttp.ClientSession) -> None:
    """The page asked for is remembered by the form, the whole way round without a script."""
    async with room() as (at, _, _):
        led = await get(http, f"{at}/uplink/fibre?x=1&y=a%2Bb")
        assert (led.status, led.headers["Location"]) == (303, "/login?to=%2Fuplink%2Ffibre%3Fx%3D1%26y%3Da%252Bb")
        async with http.get(URL(at + led.headers["Location"], encoded=True)) as answer:
            page = await answer.text()
        assert 'name="to" value="/uplink/fibre?x=1&amp;y=a%2Bb"' in page
        assert 'type="password"' in page
        assert "<script" not in page
        assert (await get(http, f"{at}/status.css")).status == 200
        back = await sign_in(http, at, to="/uplink/fibre?x=1&y=a%2Bb")
        assert (back.status, back.headers["Location"]) == (303, "/uplink/fibre?x=1&y=a%2Bb")
        async with http.get(at + "/uplink/fibre") as answer:
            assert answer.status == 200
            assert 'action="/logout"' in await answer.text()
        again = await get(http, f"{at}/login?to=/reports")
        assert (again.status, again.headers["Location"]) == (303, "/reports")


async def test_without_anything_to_show_programs_are_told_so(http: aiohttp.ClientSession) -> None:
    """RFC 6750: 401 with a challenge, in JSON under /api; either token opens everything."""
    async with room() as (at, _, _):
        for way in ("/api/site", "/metrics", "/health", "/api/nothing"):
            refused = await get(http, at + way)
            wanted = 303 if way == "/api/nothing" else 401
            assert (way, refused.status) == (way, 401 if way.startswith("/api/") else wanted)
            assert refused.headers["WWW-Authenticate"] == "Bearer"
        for token in ("sesame", "open"):
            for way in ("/", "/api/site", "/metrics", "/health"):
                assert (await get(http, at + way, Authorization=f"Bearer {token}")).status == 200
        assert (await get(http, f"{at}/health", Authorization="Bearer sesam")).status == 401
        assert (await get(http, f"{at}/", Authorization="Bearer sesam")).status == 401


async def test_a_password_alone_leaves_metrics_open_on_loopback_and_by_address(http: aiohttp.ClientSession) -> None:
    """As without one: a Prometheus on this machine goes on; a stranger's name that leads to loopback gets nothing."""
    async with room(replace(KEYS, tokens=())) as (at, _, _):
        assert (await get(http, f"{at}/metrics")).status == 200
        assert (await get(http, f"{at}/metrics", Host="evil.example.com")).status == 421
        assert (await get(http, f"{at}/api/site")).status == 401
    async with room(replace(KEYS, tokens=(), near=False)) as (at, _, _):
        assert (await get(http, f"{at}/metrics")).status == 401


async def test_the_cookie_is_for_this_site_alone_and_no_script_reads_it(http: aiohttp.ClientSession) -> None:
    """RFC 6265bis: HttpOnly, SameSite=Strict, no Domain; 256 random bits (NIST SP 800-63B asks for 64)."""
    async with room() as (at, _, _):
        cookie = cookie_of(await sign_in(http, at))
        assert (cookie.key, cookie["httponly"], cookie["samesite"], cookie["path"]) == ("wanwatch", True, "Strict", "/")
        assert (cookie["domain"], cookie["secure"], cookie["max-age"], cookie["expires"]) == ("", "", "", "")
        assert len(cookie.value) == 43
        assert cookie_of(await sign_in(http, at)).value != cookie.value


async def test_an_id_that_somebody_brought_along_is_never_a_session(http: aiohttp.ClientSession) -> None:
    """Session fixation: signing in makes a new id, and the one from before opens nothing."""
    async with room() as (at, _, _):
        planted = "A" * 43
        http.cookie_jar.update_cookies({"wanwatch": planted}, URL(at))
        assert cookie_of(await sign_in(http, at)).value != planted
        async with aiohttp.ClientSession() as stranger:
            for value in (planted, "", "x" * 5000):
                assert (await get(stranger, f"{at}/", Cookie=f"wanwatch={value}")).status == 303


async def test_signing_in_again_ends_the_session_before(http: aiohttp.ClientSession) -> None:
    """A browser has one session, and no old one is left lying about."""
    async with room() as (at, _, _):
        first = cookie_of(await sign_in(http, at)).value
        await sign_in(http, at)
        async with aiohttp.ClientSession() as other:
            assert (await get(other, f"{at}/", Cookie=f"wanwatch={first}")).status == 303
        assert (await get(http, f"{at}/")).status == 200


async def test_signing_out_ends_the_session_and_what_looks_on(http: aiohttp.ClientSession) -> None:
    """The id opens nothing afterwards, the cookie is taken away, and an open stream ends."""
    async with room() as (at, _, _):
        value = cookie_of(await sign_in(http, at)).value
        async with http.get(f"{at}/api/stream") as stream:
            assert stream.status == 200
            async with http.post(f"{at}/logout", headers=here(at), allow_redirects=False) as out:
                assert (out.status, out.headers["Location"]) == (303, "/login")
                assert (cookie_of(out)["max-age"], cookie_of(out).value) == ("0", "")
            with pytest.raises(aiohttp.ClientError):
                await asyncio.wait_for(stream.content.read(), 5)
        async with aiohttp.ClientSession() as other:
            assert (await get(other, f"{at}/", Cookie=f"wanwatch={value}")).status == 303


async def test_a_session_that_is_over_leads_to_sign_in_again(http: aiohttp.ClientSession) -> None:
    """Half a day without a look, or a week in all."""
    async with room() as (at, _, clock):
        await sign_in(http, at)
        statuses = []
        for _ in range(ABSOLUTE_NS // IDLE_NS + 1):
            clock.advance(IDLE_NS / NS_PER_S - 1)
            statuses.append((await get(http, f"{at}/")).status)
        assert statuses == [200] * 14 + [303]
        await sign_in(http, at)
        clock.advance(IDLE_NS / NS_PER_S)
        assert (await get(http, f"{at}/")).status == 303


async def test_another_password_ends_all_sessions_and_other_tokens_do_not(http: aiohttp.ClientSession) -> None:
    """What is taken up at a reload."""
    async with room() as (at, app, _):
        await sign_in(http, at)
        adopt(app, replace(KEYS, tokens=(digest("third"),)))
        assert (await get(http, f"{at}/")).status == 200
        assert (await get(http, f"{at}/health", **BEARER)).status == 401
        assert (await get(http, f"{at}/health", Authorization="Bearer third")).status == 200
        adopt(app, Keys(hashed("five words of hers", bytes(16), CHEAP)))
        assert (await get(http, f"{at}/")).status == 303
        assert (await sign_in(http, at)).status == 403
        assert (await sign_in(http, at, "five words of hers")).status == 303
        adopt(app, Keys())
        assert (await get(http, f"{at}/login")).headers["Location"] == "/"
        async with http.get(at) as answer:
            assert "/logout" not in await answer.text()


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://other.example"}, {"Origin": "null"}, {}, {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"}, {"Origin": "https://other.example", "Host": "wan.example.net"},
    ],
)  # fmt: skip
async def test_a_form_from_elsewhere_is_refused(http: aiohttp.ClientSession, headers: dict[str, str]) -> None:
    """Neither signs in nor out; W3C Fetch Metadata, RFC 6454."""
    async with room() as (at, _, _):
        await sign_in(http, at)
        for way in ("/login", "/logout"):
            async with http.post(at + way, data={"password": SAID}, headers=headers, allow_redirects=False) as answer:
                assert (answer.status, "Set-Cookie" in answer.headers) == (403, False)
        assert (await get(http, f"{at}/")).status == 200


async def test_nobody_looks_on_for_ever(http: aiohttp.ClientSession, monkeypatch: pytest.MonkeyPatch) -> None:
    """A stream that a session opened does not outlive it by more than an hour; here by less."""
    monkeypatch.setattr("wanwatch.web.stream.LONGEST_S", 0.2)
    async with room() as (at, _, _):
        await sign_in(http, at)
        async with http.get(f"{at}/api/stream") as stream:
            with pytest.raises(aiohttp.ClientError):
                await asyncio.wait_for(stream.content.read(), 5)


async def test_who_follows_a_link_from_elsewhere_is_asked_again_from_here(http: aiohttp.ClientSession) -> None:
    """A browser shows no cookie of SameSite=Strict on a link from elsewhere; by a refresh of our own page it does."""
    async with room() as (at, _, _):
        for site, refreshed in {"cross-site": True, "same-origin": False}.items():
            async with http.get(f"{at}/login?to=/reports", headers={"Sec-Fetch-Site": site}) as answer:
                assert ('http-equiv="refresh"' in await answer.text()) is refreshed


async def test_after_signing_in_nobody_is_led_elsewhere(http: aiohttp.ClientSession) -> None:
    """No open redirect, wherever the wish comes from; what is written back is text."""
    async with room() as (at, _, _):
        for to in ("//evil.example/", "https://evil.example/", "/\\evil.example", "/x\r\nSet-Cookie: a=b"):
            assert (await sign_in(http, at, to=to)).headers["Location"] == "/"
            assert (await get(http, f"{at}/login?to={quote(to, safe='')}")).headers["Location"] == "/"
        async with (
            aiohttp.ClientSession() as stranger,
            stranger.get(f"{at}/login", params={"to": '/"><script>alert(1)</script>'}) as answer,
        ):
            assert "<script>" not in await answer.text()


async def test_an_offices_name_is_not_told_before_signing_in(http: aiohttp.ClientSession) -> None:
    """Strangers learn neither whose page it is nor which version runs."""
    async with room(site="<b>harbour-lane</b>") as (at, _, _), http.get(f"{at}/login") as answer:
        page = await answer.text()
    assert "harbour-lane" not in page
    assert "Times are those of the site" not in page
    assert "no-store" in answer.headers["Cache-Control"]
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]


async def test_wrong_passwords_are_slowed_and_told_with_the_address(
    http: aiohttp.ClientSession, caplog: pytest.LogCaptureFixture
) -> None:
    """RFC 6585 section 4: 429 with Retry-After, even for the right one; then it is looked at again. No log holds it."""
    metrics = Metrics("s", "1")
    assert refused(metrics, Key.PASSWORD) == [0, 0]
    async with room(metrics=metrics) as (at, _, clock):
        with caplog.at_level(logging.WARNING, "wanwatch"):
            answers = [await sign_in(http, at, f"wrong-guess-{n}") for n in range(5)]
            slowed = await sign_in(http, at)
        assert [answer.status for answer in answers] == [403] * 5
        assert (slowed.status, slowed.headers["Retry-After"]) == (429, "1")
        clock.advance(1)
        assert (await sign_in(http, at, "wrong-guess-5")).status == 403
        assert (await sign_in(http, at)).headers["Retry-After"] == "2"
        clock.advance(2)
        assert (await sign_in(http, at)).status == 303
        assert (await sign_in(http, at, "wrong-guess-6")).status == 403
    assert caplog.messages.count("a wrong password from 127.0.0.1") == 7
    assert (refused(metrics, Key.PASSWORD), refused(metrics, Key.TOKEN)) == ([7, 2], [0, 0])
    assert "wrong-guess" not in caplog.text


async def test_a_stranger_who_guesses_locks_out_nobody_else() -> None:
    """From another address the right password is let in at once."""
    async with room() as (at, _, _):
        theirs, mine = (
            aiohttp.ClientSession(connector=aiohttp.TCPConnector(local_addr=(address, 0)))
            for address in ("127.0.0.66", "127.0.0.7")
        )
        async with theirs, mine:
            statuses = [(await sign_in(theirs, at, "wrong guess")).status for _ in range(20)]
            assert statuses == [403] * 5 + [429] * 15
            assert (await sign_in(mine, at)).status == 303


async def test_wrong_tokens_are_slowed_but_an_old_one_is_not_a_guess(
    http: aiohttp.ClientSession, caplog: pytest.LogCaptureFixture
) -> None:
    """A program that was not told of the new token asks on and on; who tries one after the other has to wait."""
    metrics = Metrics("s", "1")
    async with room(metrics=metrics) as (at, _, _):
        with caplog.at_level(logging.WARNING, "wanwatch"):
            for _ in range(30):
                assert (await get(http, f"{at}/health", Authorization="Bearer of-old")).status == 401
            guessed = [await get(http, f"{at}/api/site", Authorization=f"Bearer guess-{n}") for n in range(12)]
        assert [answer.status for answer in guessed] == [401] * 9 + [429] * 3
        assert guessed[-1].headers["Retry-After"] == "1"
        assert "too many wrong tries" in (await guessed[-1].json())["error"]
    assert caplog.messages == ["a wrong token from 127.0.0.1"] * 10
    assert refused(metrics, Key.TOKEN) == [30 + 9, 3]
    assert "guess-" not in caplog.text


async def test_a_password_is_looked_at_beside_the_loop_and_only_so_many_wait(
    http: aiohttp.ClientSession, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one is looked at pages are answered; of a crowd at once, most are told to come again."""
    go, threads = threading.Event(), set()

    def slow(_self: Password, _said: str) -> bool:
        threads.add(threading.get_ident())
        return go.wait(20)

    monkeypatch.setattr(Password, "is_it", slow)
    async with room() as (at, _, _):
        sessions = [
            aiohttp.ClientSession(connector=aiohttp.TCPConnector(local_addr=(f"127.0.1.{n}", 0))) for n in range(1, 13)
        ]
        try:
            trying = [asyncio.create_task(sign_in(one, at)) for one in sessions]
            while sum(task.done() for task in trying) < 4:
                assert (await asyncio.wait_for(get(http, f"{at}/health", **BEARER), 5)).status == 200
            go.set()
            statuses = sorted([(await task).status for task in trying])
        finally:
            go.set()
            for one in sessions:
                await one.close()
    assert statuses == [303] * 8 + [429] * 4
    assert len(threads - {threading.get_ident()}) == 1


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"password=" + b"x" * 20_000, "application/x-www-form-urlencoded", 413),
        (b"password=%ff%fe", "application/x-www-form-urlencoded", 403),
        (b"\xff\xfe", "application/x-www-form-urlencoded", 400),
        (b"&".join(b"a=b" for _ in range(100)), "application/x-www-form-urlencoded", 400),
        (b"", "application/x-www-form-urlencoded", 403),
        (b"{}", "application/json", 415),
        (b"password=x", "multipart/form-data; boundary=x", 415),
    ],
)
async def test_odd_forms_are_refused(http: aiohttp.ClientSession, body: bytes, kind: str, status: int) -> None:
    """Whatever is sent, the answer is a plain refusal."""
    async with room() as (at, _, _):
        headers = here(at) | {"Content-Type": kind}
        async with http.post(f"{at}/login", data=body, headers=headers, allow_redirects=False) as answer:
            assert answer.status == status
            assert "Set-Cookie" not in answer.headers


@pytest.mark.parametrize(
    "said", ["", "' OR 1=1 --", "\x00" * 9, "\N{SATELLITE ANTENNA}" * 300, SAID + " ", SAID.upper()]
)
async def test_whatever_is_said_only_the_password_is_it(http: aiohttp.ClientSession, said: str) -> None:
    """Neither empty, nor nearly, nor endless."""
    async with room() as (at, _, _):
        answer = await sign_in(http, at, said)
        assert (answer.status, "Set-Cookie" in answer.headers) == (403, False)


async def test_whatever_headers_are_sent_nobody_gets_in_and_nothing_breaks() -> None:
    """Bytes of any kind where a cookie, a token or an origin belongs: a refusal in plain words, no fault of ours."""
    chance = random.Random(7)  # noqa: S311 - the same bytes each time
    async with room() as (at, _, clock):
        for _ in range(200):
            clock.advance(300)  # the longest wait
            names = chance.sample(["Cookie", "Authorization", "Origin", "Sec-Fetch-Site", "Host", "Forwarded"], 2)
            junk = bytes(chance.choice(b'\t !"%;=:/\\@[]{}aA0\x80\xc3\xff') for _ in range(chance.randrange(40)))
            begin = chance.choice(["", "Bearer ", "wanwatch=", "__Host-wanwatch=", "http://"])
            method, way = chance.choice([("GET", "/"), ("GET", "/api/site"), ("POST", "/login"), ("POST", "/logout")])
            lines = [f"{method} {way} HTTP/1.1", *(f"{name}: {begin}" for name in names)]
            request = b"".join(line.encode() + junk * bool(number) + b"\r\n" for number, line in enumerate(lines))
            reader, writer = await asyncio.open_connection("127.0.0.1", URL(at).port)
            writer.write(request + b"Connection: close\r\n\r\n")
            answer = await asyncio.wait_for(reader.read(), 5)
            writer.close()
            assert int(answer.split()[1]) in {303, 400, 401, 403, 415}, (request, answer)
            assert (b"\nLocation: /login" in answer) is (answer.split()[1] == b"303")


async def test_paths_that_look_like_others_open_nothing(http: aiohttp.ClientSession) -> None:
    """Who is let in follows from the route that answers, not from how a path is written."""
    async with room() as (at, _, _):
        for way in ("/%61pi/site", "/login/../", "//login", "/status.css/../api/site", "/status.css%2f..%2f", "/Login"):
            async with http.get(URL(at + way, encoded=True), allow_redirects=False) as answer:
                assert (way, answer.status) in {(way, 303), (way, 401)}


async def test_the_description_names_what_opens_the_door(http: aiohttp.ClientSession) -> None:
    """OpenAPI 3.1: securitySchemes are what is asked for now, and no other."""
    names = {}
    for keys in (Keys(), replace(KEYS, tokens=()), replace(KEYS, password=None), KEYS):
        async with room(keys) as (at, _, _):
            await sign_in(http, at)
            async with http.get(f"{at}/api/openapi.json", headers=BEARER if keys.tokens else {}) as answer:
                said = await answer.json()
            schemes = said["components"]["securitySchemes"]
            names[keys.password is not None, bool(keys.tokens)] = (set(schemes), [*map(set, said["security"])])
            assert schemes.get("session", {}).get("name", "wanwatch") == "wanwatch"
            assert ("401" in said["paths"]["/api/site"]["get"]["responses"]) is keys.any
    assert names == {
        (False, False): (set(), []),
        (True, False): ({"session"}, [{"session"}]),
        (False, True): ({"token"}, [{"token"}]),
        (True, True): ({"token", "session"}, [{"token"}, {"session"}]),
    }


async def test_commands_on_this_machine_ask_by_the_records_folder(tmp_path: Path) -> None:
    """unix(7): who may open the socket needs no token; it stands in however long a path, and replaces one left over."""
    folder = tmp_path / ("long" * 40)
    folder.mkdir()
    short = tmp_path / "short"
    short.symlink_to(folder)
    near.bind(folder).close()  # a daemon that was killed
    app = make_app(Metrics("s", "1").registry, office(folder), KEYS)
    runner = await serve(app, "127.0.0.1", 0, near=near.bind(folder))
    port = runner.addresses[0][1]
    try:
        said = await asyncio.to_thread(ask_health, "127.0.0.1", port, folder)
        by_network = await asyncio.to_thread(ask_health, "127.0.0.1", port, tmp_path)
        async with aiohttp.ClientSession(connector=aiohttp.UnixConnector(str(short / "wanwatch.sock"))) as http:
            by_socket = (await sign_in(http, "http://localhost")).status
    finally:
        await runner.cleanup()
    assert said is not None
    assert said["site"] == "harbour-lane"
    assert by_socket == 303
    assert by_network is None
    assert (folder / "wanwatch.sock").stat().st_mode & 0o777 == 0o660
    near.release(folder)
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    ("host", "status"),
    [
        (None, 200), ("127.0.0.1", 200), ("[::1]:9470", 200), ("localhost:9470", 200), ("LOCALHOST", 200),
        ("evil.example.com", 421), ("127.0.0.1.evil.example.com", 421), ("[", 421), ("", 421), ("127.0.0.1@evil", 421),
    ],
)  # fmt: skip
async def test_no_name_of_ours_is_looked_up_for_a_request(
    monkeypatch: pytest.MonkeyPatch, host: str | None, status: int
) -> None:
    """RFC 9112 section 3.2: HTTP/1.0 may leave Host out; some aiohttp then asks a resolver, and the loop waits."""
    monkeypatch.setattr(web.BaseRequest, "host", property(lambda _: pytest.fail("aiohttp's own way was used")))
    async with room(Keys()) as (at, _, _):
        reader, writer = await asyncio.open_connection("127.0.0.1", URL(at).port)
        named = "" if host is None else f"Host: {host}\r\n"
        for method, wanted in (("GET /health", status), ("POST /login", 403 if status == 200 else status)):
            writer.write(f"{method} HTTP/1.0\r\n{named}Connection: keep-alive\r\nContent-Length: 0\r\n\r\n".encode())
            head = await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), 5)
            assert int(head.split()[1]) == wanted
            length = next(line for line in head.decode().splitlines() if line.startswith("Content-Length"))
            await reader.readexactly(int(length.partition(":")[2]))
        writer.close()


async def test_a_socket_of_the_network_is_never_taken_for_that_of_the_folder(http: aiohttp.ClientSession) -> None:
    """However the request calls itself."""
    async with room() as (at, _, _):
        for headers in ({"Host": "localhost"}, {"X-Forwarded-For": "127.0.0.1"}, {"Forwarded": "for=unix:"}):
            assert (await get(http, f"{at}/health", **headers)).status == 401
