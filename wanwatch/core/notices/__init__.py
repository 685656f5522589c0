"""Notices: who is to be told of what, when, and what became of it.

In:       what happened at a site, the terms of one address, what it was told before; an instant; a receiver's answer.
Out:      notices to be made now; a letter's standing in the outbox after each try.
Imports:  wanwatch.core. Nothing is sent or kept here, and nothing is worded.
"""

from wanwatch.core.notices.case import Case, cases, cases_in
from wanwatch.core.notices.known import known_since
from wanwatch.core.notices.letter import Answer, Attachment, Letter, Sent
from wanwatch.core.notices.notice import Kind, Notice, Terms
from wanwatch.core.notices.ports import Outbox, PostRecord
from wanwatch.core.notices.post import Post, PostState, answered
from wanwatch.core.notices.wanted import trial, wanted

__all__ = [
    "Answer",
    "Attachment",
    "Case",
    "Kind",
    "Letter",
    "Notice",
    "Outbox",
    "Post",
    "PostRecord",
    "PostState",
    "Sent",
    "Terms",
    "answered",
    "cases",
    "cases_in",
    "known_since",
    "trial",
    "wanted",
]
