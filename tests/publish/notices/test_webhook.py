"""Facts by webhook, against a real server on loopback."""

import hmac
import json
import math
from base64 import b64decode
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest
import trustme
from aiohttp import web

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.publish.notices.hook_server import Answering, hook_server
from tests.publish.notices.posts import line, post_to
from wanwatch.core.notices import Answer, Sent
from wanwatch.publish.notices.webhook import Hook, post_facts

SECRET = "open sesame"  # noqa: S105 - no secret


async def posted(answering: Answering, folder: Path, *, secret: str | None = SECRET, times: int = 1) -> list[Sent]:
    authority = trustme.CA()
    authority.cert_pem.write_to_path(folder / "ca.pem")
    async with hook_server(answering, authority) as url:
        hook = Hook(secret, folder / "ca.pem")
        return [await post_facts(hook, post_to(url), line(), FakeClock()) for _ in range(times)]


async def test_the_facts_are_posted_as_json(tmp_path: Path) -> None:
    """RFC 8259; RFC 9110: a POST to the very URL of the configuration."""
    answering = Answering(204)
    assert await posted(answering, tmp_path) == [Sent(Answer.TAKEN, "204 No Content ''")]
    ((request, headers, body),) = answering.requests
    assert (request.method, request.path_qs) == ("POST", "/in?key=a%20b")
    assert headers["Content-Type"] == "application/json"
    assert json.loads(body) == {"site": "harbour-lane", "number": 1}
    assert headers["User-Agent"].startswith("wanwatch/")


async def test_a_receiver_can_check_who_sent_it_and_that_nothing_was_changed(tmp_path: Path) -> None:
    """RFC 9421 section 3.2, as a receiver verifies, and RFC 9530: with nothing but what came and the key."""
    answering = Answering(204)
    await posted(answering, tmp_path)
    ((request, headers, body),) = answering.requests
    digest = headers["Content-Digest"].removeprefix("sha-256=:").removesuffix(":")
    assert b64decode(digest) == sha256(body).digest()
    covered = headers["Signature-Input"].removeprefix("wanwatch=")
    names = '("@method" "@target-uri" "content-type" "content-digest" "idempotency-key")'
    assert covered == f'{names};created={START_UNIX_NS // 10**9};alg="hmac-sha256"'
    base = "\n".join(
        [
            '"@method": POST',
            f'"@target-uri": https://{headers["Host"]}{request.path_qs}',
            f'"content-type": {headers["Content-Type"]}',
            f'"content-digest": {headers["Content-Digest"]}',
            f'"idempotency-key": {headers["Idempotency-Key"]}',
            f'"@signature-params": {covered}',
        ]
    )
    signature = headers["Signature"].removeprefix("wanwatch=:").removesuffix(":")
    assert b64decode(signature) == hmac.digest(SECRET.encode(), base.encode(), "sha256")


async def test_without_a_secret_nothing_is_signed_and_the_digest_stays(tmp_path: Path) -> None:
    """A signature without a secret would prove nothing."""
    answering = Answering(204)
    await posted(answering, tmp_path, secret=None)
    ((_, headers, _),) = answering.requests
    assert "Content-Digest" in headers
    assert "Signature" not in headers
    assert "Signature-Input" not in headers


async def test_a_letter_that_is_posted_twice_has_one_key(tmp_path: Path) -> None:
    """The draft of Idempotency-Key: a structured field's string, the same for the same request."""
    answering = Answering(500, 204)
    first, again = await posted(answering, tmp_path, times=2)
    assert (first.answer, again.answer) == (Answer.AGAIN, Answer.TAKEN)
    keys = {headers["Idempotency-Key"] for _, headers, _ in answering.requests}
    assert len(keys) == 1
    assert (
        keys.pop().strip('"') == sha256(post_to(str(answering.requests[0][0].url)).letter.id.encode()).hexdigest()[:32]
    )
    assert len(set(answering.bodies)) == 1


@pytest.mark.parametrize(
    ("answer", "sent"),
    [
        (200, Sent(Answer.TAKEN, "200 OK ''")),
        (web.Response(status=400, text="no such hook"), Sent(Answer.REFUSED, "400 Bad Request 'no such hook'")),
        (410, Sent(Answer.REFUSED, "410 Gone ''")),
        (302, Sent(Answer.AGAIN, "302 Found ''")),
        (503, Sent(Answer.AGAIN, "503 Service Unavailable ''")),
        (
            web.Response(status=429, headers={"Retry-After": "7"}),
            Sent(Answer.AGAIN, "429 Too Many Requests ''", 7.0),
        ),
        (408, Sent(Answer.AGAIN, "408 Request Timeout ''")),
        (web.Response(status=425, reason="Too Early"), Sent(Answer.AGAIN, "425 Too Early ''")),
    ],
)
async def test_what_the_receiver_says_decides(answer: web.Response | int, sent: Sent, tmp_path: Path) -> None:
    """RFC 9110 section 15: 2xx is done, 4xx is for good, 3xx is not followed; 5xx and some 4xx may go well later.

    These are 408 (section 15.5.9), 425 (RFC 8470 section 5.2) and 429 (RFC 6585 section 4).
    """
    assert await posted(Answering(answer), tmp_path) == [sent]


@pytest.mark.parametrize(
    ("said", "word"),
    [
        ("Cannot POST /in", "Cannot POST …"),
        ("Cannot POST /in?key=a%20b", "Cannot POST …"),
        ("no hook for /in?key=a b", "no hook for …"),
        ("what is key=a%20b?", "what is …?"),
    ],
)
async def test_what_stands_behind_the_host_is_in_no_word_of_the_receiver(said: str, word: str, tmp_path: Path) -> None:
    """Common practice, no published source: servers name the path that they do not know; ours may be a key."""
    (sent,) = await posted(Answering(web.Response(status=404, text=said)), tmp_path)
    assert sent.why == f"404 Not Found '{word}'"


async def test_facts_that_are_no_json_are_refused_and_keep_no_other_letter() -> None:
    """RFC 8259 section 6 has no infinity; tried again and again it would hold up all that come after it."""
    post = post_to("https://hook.example.net/in")
    endless = replace(post, letter=replace(post.letter, facts={"late_s": math.inf}))
    assert (await post_facts(Hook(), endless, line(), FakeClock())).answer is Answer.REFUSED


async def test_of_a_long_answer_only_the_first_words_are_read(tmp_path: Path) -> None:
    """A stranger must not fill our memory or our log."""
    (sent,) = await posted(Answering(web.Response(status=500, text="x" * 10_000_000)), tmp_path)
    assert sent.why == f"500 Internal Server Error '{'x' * 200}'"


async def test_whom_nobody_can_trust_gets_nothing(tmp_path: Path) -> None:
    """RFC 9110 section 4.3.4: an https origin proves itself; and the path, which may be a key, stands in no word."""
    authority, answering = trustme.CA(), Answering(204)
    async with hook_server(answering, authority) as url:
        with pytest.raises(ConnectionError) as raised:
            await post_facts(Hook(SECRET), post_to(url), line(), FakeClock())
        authority.cert_pem.write_to_path(tmp_path / "ca.pem")
        elsewhere = url.replace("hook.example.net", "other.example.net")
        with pytest.raises(ConnectionError, match="not valid for 'other"):
            await post_facts(Hook(SECRET, tmp_path / "ca.pem"), post_to(elsewhere), line(), FakeClock())
    assert str(raised.value).startswith("its certificate is not trusted: ")
    assert "key=" not in str(raised.value)
    assert not answering.requests


def test_no_secret_is_ever_shown() -> None:
    """Not in a log line, not in a traceback."""
    assert "sesame" not in repr(Hook(SECRET))
