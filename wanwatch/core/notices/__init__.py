"""Notices: who is to be told of what, when, and what became of it.

In:       what happened at a site, the terms of one address, what it was told before; an instant; a receiver's answer.
Out:      notices to be made now; a letter's standing in the outbox after each try.
Imports:  wanwatch.core. Nothing is sent or kept here, and nothing is worded.
"""

from wanwatch.core.notices.letter import Answer, Attachment, Letter, Sent
from wanwatch.core.notices.notice import Kind, Notice, Terms
from wanwatch.core.notices.post import Post, PostState, answered

__all__ = [
    "Answer",
    "Attachment",
    "Kind",
    "Letter",
    "Notice",
    "Post",
    "PostState",
    "Sent",
    "Terms",
    "answered",
]
