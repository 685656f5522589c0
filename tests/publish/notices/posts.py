"""Letters, lines and an outbox, for those who send."""

import asyncio
import socket
from collections.abc import Callable, Sequence
from typing import Any

from tests.fakes.clock import START_UNIX_NS
from wanwatch.core.model import Json
from wanwatch.core.notices import Attachment, Kind, Letter, Notice, Post, PostState
from wanwatch.publish.ways import Line

MAIL = "mailto:ops@example.net"


def post_to(
    to: str = MAIL, *, number: int = 1, text: str = "The fibre line is down.\n", attachment: Attachment | None = None
) -> Post:
    """A letter that waits; a later one has a greater number, which its subject shows."""
    notice = Notice("harbour-lane", to, Kind.BEGAN, f"event-{number}", made_unix_ns=START_UNIX_NS + number)
    facts: dict[str, Json] = {"site": "harbour-lane", "number": number}
    letter = Letter(notice.id, to, subject=f"letter {number}", text=text, facts=facts, attachment=attachment)
    return Post(notice=notice, letter=letter)


def line(name: str = "fibre", opened: Callable[[Any], socket.socket] | None = None) -> Line:
    """A line on which every name is this machine's."""

    async def look_up(host: str) -> tuple[str, ...]:
        del host
        return ("127.0.0.1",)

    def way(address: Any) -> socket.socket:
        family, kind, protocol, *_ = address
        return socket.socket(family, kind | socket.SOCK_NONBLOCK, protocol)

    return Line(name, opened or way, look_up)


class Box:
    """An outbox in memory.

    Attributes:
        posts: What is in it.
        slow_s: How long it takes to keep something.
    """

    def __init__(self, *posts: Post) -> None:
        self.posts = {post.letter.id: post for post in posts}
        self.slow_s = 0.0

    async def waiting(self) -> Sequence[Post]:
        """What waits."""
        return [post for post in self.posts.values() if post.state is PostState.WAITING]

    async def post(self, post: Post) -> bool:
        """Keep what became of a letter."""
        await asyncio.sleep(self.slow_s)
        self.posts[post.letter.id] = post
        return True

    def states(self) -> list[PostState]:
        """What became of each."""
        return [post.state for post in self.posts.values()]
