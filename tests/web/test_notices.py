"""What the API tells of the outbox, and what it keeps to itself."""

import contextlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import aiohttp

from tests.fakes.clock import START_UNIX_NS
from tests.fakes.record import FakeRecord
from tests.fakes.web import office
from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices import Kind, Letter, Notice, Post, PostState
from wanwatch.publish import Metrics
from wanwatch.web.app import make_app, serve

MAIL, HOOK = "mailto:ops@example.net", "https://hook.example.net/in?key=sesame"
HOUR_NS = 3600 * NS_PER_S


def letter(to: str, hours_ago: int, state: PostState, **became: Any) -> Post:
    made_unix_ns = START_UNIX_NS - hours_ago * HOUR_NS
    notice = Notice("harbour-lane", to, Kind.BEGAN, f"incident-{hours_ago}", made_unix_ns=made_unix_ns)
    written = Letter(notice.id, to, subject="harbour-lane: fibre is down", text="the letter itself")
    return replace(Post(notice=notice, letter=written, state=state), **became)


OUTBOX = [
    letter(MAIL, 3, PostState.TAKEN, tries=1, word="250 OK", settled_unix_ns=START_UNIX_NS, uplink="copper"),
    letter(
        HOOK, 2, PostState.WAITING, tries=4, word="sesame, said the server", next_try_unix_ns=START_UNIX_NS + NS_PER_S
    ),
]


async def asked(folder: Path, *paths: str) -> list[tuple[int, str]]:
    """The answers to each."""
    record = FakeRecord("harbour-lane", (), [], [])
    record.outbox = OUTBOX
    kept = replace(office(folder), record=lambda: contextlib.nullcontext(record))
    runner = await serve(make_app(Metrics("s", "1").registry, kept), "127.0.0.1", 0)
    at = f"http://127.0.0.1:{runner.addresses[0][1]}"
    try:
        async with aiohttp.ClientSession() as http:
            answers = []
            for path in paths:
                async with http.get(at + path) as answer:
                    answers.append((answer.status, await answer.text()))
            return answers
    finally:
        await runner.cleanup()


async def test_the_api_says_of_each_letter_what_became_of_it_and_tells_no_key(tmp_path: Path) -> None:
    """What, when, to whom, and whether it has arrived; no key of an address, no word of a receiver, not the letter."""
    ((status, text),) = await asked(tmp_path, "/api/notices")
    assert status == 200
    assert not [secret for secret in ("sesame", "key=", "250 OK", "the letter itself") if secret in text]
    mail, hook = json.loads(text)
    assert mail == {
        "made": "2026-11-03T07:00:00.000000Z", "to": MAIL, "kind": "began", "about": "incident-3",
        "subject": "harbour-lane: fibre is down", "state": "taken", "tries": 1, "next_try": None,
        "settled": "2026-11-03T10:00:00.000000Z", "uplink": "copper",
    }  # fmt: skip
    assert (hook["to"], hook["state"], hook["tries"], hook["settled"]) == (
        "https://hook.example.net",
        "waiting",
        4,
        None,
    )


async def test_letters_can_be_asked_for_by_state_and_time(tmp_path: Path) -> None:
    """What waits is what somebody wants to know; a state that does not exist is no empty list."""
    since = "/api/notices?since=2026-11-03T07:30:00Z"
    (_, waiting), (_, refused), (_, late), (status, _) = await asked(
        tmp_path, "/api/notices?state=waiting", "/api/notices?state=refused", since, "/api/notices?state=lost"
    )
    assert [[one["about"] for one in json.loads(text)] for text in (waiting, refused, late)] == [
        ["incident-2"], [], ["incident-2"],
    ]  # fmt: skip
    assert status == 400


async def test_no_page_and_nothing_else_tells_of_letters(tmp_path: Path) -> None:
    """Addresses are for whoever asks for them."""
    for status, text in await asked(tmp_path, "/", "/uplink/fibre", "/api/site", "/api/uplinks", "/health"):
        assert status == 200
        assert not [told for told in ("ops@", "hook.example", "sesame") if told in text]
