"""What can keep a dossier from being made."""

from collections.abc import Sequence

from wanwatch.report.errors import ReportError


class EventIdError(ReportError):
    """An id that no outage of the record has.

    Attributes:
        given: What was asked for.
        nearest: The ids that come nearest to it.
    """

    def __init__(self, given: str, reason: str, nearest: Sequence[str]) -> None:
        self.given = given
        self.nearest = tuple(nearest)
        mend = f"nearest: {', '.join(nearest)}" if nearest else "the record holds no outage"
        super().__init__(f"event {given!r}: {reason}; {mend}; all are listed by: wanwatch events --kind outage")
