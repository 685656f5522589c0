"""Webhook: a letter's facts as JSON, posted to an https URL and signed.

Sources:     RFC 9110 section 9.3.3 (POST), RFC 9421 (the signature) and RFC 9530 (the digest that it covers); RFC 8259
             (JSON); the IETF's draft of the Idempotency-Key header field: one key a letter, so that a receiver can tell
             what it had before; RFC 9110 section 15.5.9 and RFC 8470 section 5.2 (408 and 425 ask for another try).
Departures:  redirections are not followed: facts go where the configuration says, and nowhere else.
"""

import json
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Final

import aiohttp
from yarl import URL

from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices import Answer, Letter, Post, Sent
from wanwatch.core.ports import Clock
from wanwatch.core.wire.signature import content_digest, quoted, signed
from wanwatch.publish.retry import Said, asked_s, meaning
from wanwatch.publish.ways import Line, http_session, trouble, without_key

LIMIT_S: Final = 30.0
LABEL: Final = "wanwatch"
_WORDS_BYTES: Final = 200
_ANOTHER_TRY: Final = {408: Answer.AGAIN, 425: Answer.AGAIN}
"""Not every sender may take these for that: who writes remotely, for one, must not."""
_ANSWERS: Final = {Said.DONE: Answer.TAKEN, Said.AGAIN: Answer.AGAIN, Said.NEVER: Answer.REFUSED}


@dataclass(frozen=True, slots=True)
class Hook:
    """What the receiver at one URL has agreed with us.

    Attributes:
        secret: What messages are signed with; None: they are not. Never shown.
        ca_file: Certificate authorities (PEM) that are trusted beside the system's own.
    """

    secret: str | None = field(default=None, repr=False)
    ca_file: str | Path | None = None


async def post_facts(hook: Hook, post: Post, line: Line, clock: Clock) -> Sent:
    """Post a letter's facts by *line*, and return what the receiver said.

    Raises:
        OSError: It said nothing: no connection, none that can be trusted, or one that broke (TimeoutError included).
    """
    letter, now_unix_s = post.letter, clock.now_unix_ns() // NS_PER_S
    try:
        body = json.dumps(dict(letter.facts), allow_nan=False).encode()
    except ValueError as error:  # it would keep all that come after it
        return Sent(Answer.REFUSED, f"it cannot be written as JSON: {error}")
    headers = _headers(letter, body) | _proof(hook, letter, body, now_unix_s)
    try:
        async with (
            http_session(line, hook.ca_file, LIMIT_S) as session,
            session.post(URL(letter.to), data=body, headers=headers, allow_redirects=False) as answer,
        ):
            heard = without_key((await answer.content.read(_WORDS_BYTES)).decode("utf-8", "replace"), letter.to)
            asked = answer.headers.get("Retry-After")
            return Sent(
                _ANOTHER_TRY.get(answer.status) or _ANSWERS[meaning(answer.status)],
                f"{answer.status} {answer.reason or ''} {heard!r}",
                None if asked is None else asked_s(asked.strip(), now_unix_s),
            )
    except (aiohttp.ClientError, OSError) as error:
        raise ConnectionError(trouble(error)) from error


def _headers(letter: Letter, body: bytes) -> dict[str, str]:
    return {
        "Content-Type": "application/json",
        "Content-Digest": content_digest(body),
        "Idempotency-Key": quoted(sha256(letter.id.encode()).hexdigest()[:32]),
        "Accept-Encoding": "identity",
    }


def _proof(hook: Hook, letter: Letter, body: bytes, now_unix_s: int) -> dict[str, str]:
    if hook.secret is None:
        return {}
    told = _headers(letter, body)
    components = {
        "@method": "POST",
        "@target-uri": str(URL(letter.to).with_fragment(None)),
        **{name.lower(): told[name] for name in ("Content-Type", "Content-Digest", "Idempotency-Key")},
    }
    parameters: dict[str, int | str] = {"created": now_unix_s, "alg": "hmac-sha256"}
    return signed(components, parameters, key=hook.secret.encode(), label=LABEL)
