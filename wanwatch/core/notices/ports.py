"""The outbox in the record, as its writer and its readers see it."""

from typing import Protocol

from wanwatch.core.model import Span
from wanwatch.core.notices.notice import Notice
from wanwatch.core.notices.post import Post, PostState


class Outbox(Protocol):
    """The daemon's side."""

    async def post(self, post: Post) -> bool:
        """Commit a letter, new or with more known of it. Returns once it is on disk: True; False if it has to wait.

        What was settled stays settled: a letter that was taken or refused is never made to wait again.
        """


class PostRecord(Protocol):
    """The readers' side."""

    def posts(
        self, site: str, span: Span | None = None, to: str | None = None, state: PostState | None = None
    ) -> list[Post]:
        """Letters that were made within *span*, for this address, in this state (all if None), in order of making."""

    def notices(self, site: str, to: str | None = None) -> list[Notice]:
        """All notices that were made for this address (for all if None), in the order in which they were put there."""
