"""A notice: that somebody is told something; and the terms on which they asked for it."""

import json
from dataclasses import dataclass
from datetime import UTC, tzinfo
from enum import StrEnum
from hashlib import sha256

from wanwatch.core.incident import Sign
from wanwatch.core.model import NS_PER_S, EventKind


class Kind(StrEnum):
    """Why somebody is told."""

    BEGAN = "began"
    WORSE = "worse"
    """It goes on, and another line or a graver sign has joined."""
    BETTER = "better"
    """It goes on, but not on all the lines that were told of."""
    REMINDER = "reminder"
    ENDED = "ended"
    AGAIN = "again"
    """It was told as ended, and goes on all the same."""
    PASSED = "passed"
    """It began and ended before anybody was told: one notice tells both."""
    SEVERAL = "several"
    """Notices that would have been too many, in one."""
    REPORT = "report"
    TEST = "test"


@dataclass(frozen=True, slots=True)
class Notice:
    """That one address is told one thing.

    Attributes:
        site: The site's name.
        to: The address: `mailto:` or an https URL. It may hold a secret, and is not for showing.
        kind: Why.
        about: What it is about: the id of an incident, of an event that belongs to none, or of a report; what is
            told later of an incident bears the id that it was first told by, though its own may have changed.
        count: The how manieth of its kind about it, from 1.
        made_unix_ns: When it was made.
        lines: The uplinks that were in trouble then.
        signs: What the incident showed by then.
        also: Other ids that it was told by, where what was told apart has turned out to be one.
        parts: The notices that one of kind `several` stands for.
    """

    site: str
    to: str
    kind: Kind
    about: str
    count: int = 1
    made_unix_ns: int = 0
    lines: tuple[str, ...] = ()
    signs: tuple[Sign, ...] = ()
    also: tuple[str, ...] = ()
    parts: tuple["Notice", ...] = ()

    @property
    def id(self) -> str:
        """Its name, the same whenever and however often it is made; no two notices of a record share one."""
        whom = sha256(json.dumps([self.site, self.to]).encode()).hexdigest()[:16]
        return f"{self.about}/{self.kind}-{self.count}/{whom}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What one address asked for.

    Attributes:
        site: The site's name.
        to: The address.
        on: The kinds of events that are told.
        zone: The site's zone.
        begin_after_ns: Trouble is told once it has lasted so long; what was over by then is told in one notice.
        end_after_ns: The end is told after so long without trouble; twice as long each time trouble came again.
        remind_every_ns: How often trouble that goes on is told again; None: never.
        quiet: Hours in which nothing is told, in minutes from midnight; where the end is less, past midnight.
        through: The kinds that are told in quiet hours all the same.
        most_an_hour: More notices than that within an hour are joined into one.
        planned: Whether what happens in planned work is told (and marked as such); if not, what outlasts it is.
        drills: Likewise of drills.
        reports: Whether the month's report is sent when it is written.
        since_unix_ns: Since when the address has been known; what was over before then is not told.
    """

    site: str
    to: str
    on: frozenset[EventKind]
    zone: tzinfo = UTC
    begin_after_ns: int = 30 * NS_PER_S
    end_after_ns: int = 120 * NS_PER_S
    remind_every_ns: int | None = None
    quiet: tuple[int, int] | None = None
    through: frozenset[EventKind] = frozenset()
    most_an_hour: int = 10
    planned: bool = False
    drills: bool = False
    reports: bool = False
    since_unix_ns: int = 0
