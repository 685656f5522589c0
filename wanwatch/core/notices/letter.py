"""A letter: a notice in words, ready for a sender; and what a receiver made of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from wanwatch.core.model import Json


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that goes with a letter, read when it is sent.

    Attributes:
        path: Where it lies; if it is gone by then, the letter goes without it.
        name: What the receiver sees it called.
        media_type: What it holds, such as `text/html`.
    """

    path: str
    name: str
    media_type: str


@dataclass(frozen=True, slots=True)
class Letter:
    """What a sender is given.

    Attributes:
        id: The notice's id: a receiver that was told it before has this letter already.
        to: The address: `mailto:` or an https URL.
        subject: One printable line of moderate length.
        text: Plain text with lines ended by one newline each.
        facts: The same for machines, JSON values only: what a webhook is given.
        attachment: A file that goes with a mail; a webhook is told of it in `facts` only.
    """

    id: str
    to: str
    subject: str = field(kw_only=True)
    text: str = field(kw_only=True)
    facts: Mapping[str, Json] = field(default_factory=dict, kw_only=True)
    attachment: Attachment | None = field(default=None, kw_only=True)


class Answer(StrEnum):
    """What became of one try to send."""

    TAKEN = "taken"
    """The receiver has said that it has it."""
    AGAIN = "again"
    """Not this time: another try may go well."""
    REFUSED = "refused"
    """The receiver will never take it."""


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of one try to send, as a sender tells it.

    Attributes:
        answer: Whether it is done, to be tried again, or hopeless.
        why: What the receiver said, or what was in the way; free of secrets.
        retry_after_s: With `again`: how long the receiver asked us to wait, in seconds.
    """

    answer: Answer
    why: str
    retry_after_s: float | None = None
