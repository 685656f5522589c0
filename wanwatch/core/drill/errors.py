"""Why a drill cannot begin."""

from wanwatch.core.errors import WanwatchError


class DrillError(WanwatchError):
    """A drill that cannot begin as things stand; nothing was announced and no line was touched.

    Attributes:
        uplink: Whose failover was to be rehearsed.
        reason: Why it cannot be.
        misused: Whether the command was given wrongly; else it is the lines that are not as they should be.
    """

    def __init__(self, uplink: str, reason: str, mend: str, *, misused: bool = False) -> None:
        self.uplink, self.reason, self.misused = uplink, reason, misused
        super().__init__(f"drill of uplink {uplink!r}: {reason}; {mend}")
