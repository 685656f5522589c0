"""The outbox as a table for a terminal, and as JSON."""

from collections.abc import Sequence
from datetime import tzinfo
from typing import Final

from wanwatch.core.account.calendar import local_time
from wanwatch.core.instants import instant_text
from wanwatch.core.model import Json
from wanwatch.core.notices import Post, PostState
from wanwatch.core.shown import shown
from wanwatch.publish.columns import columns

FIELDS: Final = (
    "id",
    "made",
    "to",
    "kind",
    "about",
    "subject",
    "state",
    "tries",
    "next_try",
    "word",
    "settled",
    "uplink",
    "joined",
)
"""The fields of a letter's JSON object: these, in this order, and no other."""
TO_ONLOOKERS: Final = tuple(field for field in FIELDS if field not in {"id", "word", "joined"})
"""What of it somebody may be told who cannot read the record: no words of receivers, and nothing made of an address."""


def posts_text(posts: Sequence[Post], zone: tzinfo) -> str:
    """List letters, a line each, with their instants in the site's zone; says so when there are none."""
    return columns([_row(post, zone) for post in posts]) if posts else "no notices\n"


def post_to_json(post: Post) -> dict[str, Json]:
    """Return what is told of a letter: of a webhook's URL only the host, and nothing of the letter but its subject."""
    notice = post.notice
    waits = post.state is PostState.WAITING and post.next_try_unix_ns
    return {
        "id": notice.id,
        "made": instant_text(notice.made_unix_ns),
        "to": shown(notice.to),
        "kind": notice.kind.value,
        "about": notice.about,
        "subject": post.letter.subject,
        "state": post.state.value,
        "tries": post.tries,
        "next_try": instant_text(post.next_try_unix_ns) if waits else None,
        "word": post.word,
        "settled": None if post.settled_unix_ns is None else instant_text(post.settled_unix_ns),
        "uplink": post.uplink,
        "joined": [part.id for part in notice.parts],
    }


def _row(post: Post, zone: tzinfo) -> tuple[str, ...]:
    made = local_time(post.notice.made_unix_ns, zone).isoformat(sep=" ", timespec="seconds")
    return made, shown(post.notice.to), post.letter.subject, what_became(post)


def what_became(post: Post) -> str:
    """Say what became of a letter."""
    match post.state:
        case PostState.TAKEN:
            return f"taken{f' by {post.uplink}' if post.uplink else ''}: {post.word}"
        case PostState.REFUSED:
            return f"refused: {post.word}"
        case PostState.WAITING:
            return f"waiting after {post.tries} tries: {post.word}" if post.tries else "waiting"
