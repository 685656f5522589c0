"""The outbox, one letter at a time: what stands of it in the record, and what an answer does to that.

Sources: RFC 5321 section 4.5.4.1 (a sender gives up after four to five days at the earliest). The first pauses are
         ours: a line that has just come back should not wait half an hour for its letters.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from wanwatch.core.apart import one_line
from wanwatch.core.doubling import doubling
from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices.letter import Answer, Letter, Sent
from wanwatch.core.notices.notice import Notice

FIRST_PAUSE_NS: Final = 15 * NS_PER_S
LONGEST_PAUSE_NS: Final = 1800 * NS_PER_S
GIVE_UP_NS: Final = 5 * 86_400 * NS_PER_S
FEWEST_TRIES: Final = 20
"""Before a letter is given up, however old it is: after a week without a line one busy server is no reason to."""
MOST_LETTERS: Final = 300


class PostState(StrEnum):
    """What became of a letter."""

    WAITING = "waiting"
    TAKEN = "taken"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class Post:
    """A letter in the outbox, with the notice that it puts in words. It is kept before it is sent.

    Attributes:
        notice: What it tells.
        letter: In which words.
        state: What became of it.
        tries: How often it was sent.
        next_try_unix_ns: Not to be sent before then; 0: at once.
        word: What the receiver said last, or what was in the way.
        settled_unix_ns: When it was taken or refused, None while it waits.
        uplink: By which uplink it was taken, None where that is not known.
    """

    notice: Notice
    letter: Letter
    state: PostState = PostState.WAITING
    tries: int = 0
    next_try_unix_ns: int = 0
    word: str = ""
    settled_unix_ns: int | None = None
    uplink: str | None = None


def answered(post: Post, sent: Sent, now_unix_ns: int, uplink: str | None = None) -> Post:
    """Return *post* after a try that was answered by *sent*, at *now_unix_ns*, by *uplink*."""
    word = one_line(sent.why)[:MOST_LETTERS]
    tried = replace(post, tries=post.tries + 1, word=word)
    match sent.answer:
        case Answer.TAKEN:
            return replace(tried, state=PostState.TAKEN, settled_unix_ns=now_unix_ns, uplink=uplink)
        case Answer.REFUSED:
            return replace(tried, state=PostState.REFUSED, settled_unix_ns=now_unix_ns)
        case Answer.AGAIN:
            next_ns = now_unix_ns + _pause_ns(tried.tries, sent.retry_after_s)
    if now_unix_ns - post.notice.made_unix_ns >= GIVE_UP_NS and tried.tries >= FEWEST_TRIES:
        given_up = f"given up after {tried.tries} tries: {word}"[:MOST_LETTERS]
        return replace(tried, state=PostState.REFUSED, settled_unix_ns=now_unix_ns, word=given_up)
    return replace(tried, next_try_unix_ns=next_ns)


def _pause_ns(tries: int, asked_s: float | None) -> int:
    """What the receiver asked for, within reason, or twice as long each time."""
    if asked_s is not None:
        return min(max(NS_PER_S, round(asked_s * NS_PER_S)), LONGEST_PAUSE_NS)
    return round(doubling(tries, FIRST_PAUSE_NS, LONGEST_PAUSE_NS))
