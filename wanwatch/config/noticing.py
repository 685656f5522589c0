"""Whom to tell of what, as the file describes it."""

from datetime import tzinfo
from typing import Annotated, Literal

from pydantic import Field

from wanwatch.config.fields import DayHours, Duration, NoticeTo, SecretFile, Table, Whole, Yes, usually
from wanwatch.core.model import EventKind
from wanwatch.core.notices import Terms


class Notice(Table):
    """Whom to tell of what."""

    to: NoticeTo
    """A mail address as `mailto:ops@example.net`, or the https URL of a webhook."""
    on: tuple[Literal[tuple(kind.value for kind in EventKind)], ...] = (  # type: ignore[valid-type]  # the enum's words
        "outage",
        "stuck-failover",
        "failover",
        "failback",
    )
    """Kinds of events to tell of, once when an incident that holds one begins and once when it is over."""
    begin_after_ns: Duration = usually("30s", alias="begin_after")
    """Trouble is told once it has lasted so long; what is over by then is told in one notice."""
    end_after_ns: Duration = usually("2m", alias="end_after")
    """The end is told after so long without trouble, twice as long each time that it comes again; at most an hour."""
    remind_every_ns: Duration | None = Field(default=None, alias="remind_every")
    """How often trouble that goes on is told again; never if left out."""
    quiet: DayHours | None = None
    """Hours of the site's day in which nothing is told, such as `22:00-07:00`; what is over by then, in one notice."""
    through_quiet: tuple[Literal[tuple(kind.value for kind in EventKind)], ...] = ()  # type: ignore[valid-type]  # likewise
    """Kinds that are told in quiet hours all the same, to the end of their incident."""
    most_an_hour: Annotated[Whole, Field(ge=1, le=1000)] = 10
    """More notices than that within an hour are joined into one."""
    planned: Yes = False
    """Whether what happens in planned work is told, marked as such; if not, only what outlasts it is."""
    drills: Yes = False
    """Whether what happens in drills is told, likewise."""
    report: Yes = False
    """Whether the month's report is sent when it is written: with a mail as PDF if there is one, else as HTML."""

    secret: SecretFile = Field(default=None, alias="secret_file")
    """With a webhook: file that holds the secret by which what is posted is signed (RFC 9421, hmac-sha256)."""

    def terms(self, site: str, zone: tzinfo, since_unix_ns: int) -> Terms:
        """Return what this address asks for, of a site and in its zone; it has been known since then."""
        return Terms(
            site=site,
            to=self.to,
            on=frozenset(map(EventKind, self.on)),
            zone=zone,
            begin_after_ns=self.begin_after_ns,
            end_after_ns=self.end_after_ns,
            remind_every_ns=self.remind_every_ns,
            quiet=None if self.quiet is None else (self.quiet.start_min, self.quiet.end_min),
            through=frozenset(map(EventKind, self.through_quiet)),
            most_an_hour=self.most_an_hour,
            planned=self.planned,
            drills=self.drills,
            reports=self.report,
            since_unix_ns=since_unix_ns,
        )
