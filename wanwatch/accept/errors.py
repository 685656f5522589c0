"""Why no acceptance test was made, or not to its end."""

from wanwatch.core.acceptance import Item
from wanwatch.core.errors import WanwatchError


class AcceptError(WanwatchError):
    """There is no test to be had."""


class UnderWayError(AcceptError):
    """Another acceptance test is under way."""

    def __init__(self, pid: int | None) -> None:
        who = f"process {pid} is" if pid else "another process is"
        super().__init__(f"an acceptance test is under way already: {who} at it; wait until it has ended")


class PinError(AcceptError):
    """What would be measured is another line, so nothing is."""

    def __init__(self, uplink: str, item: Item) -> None:
        super().__init__(
            f"uplink {uplink!r}: {item.reason} Nothing would be measured of this line, so nothing is; mend the rule by "
            "which its probes are routed, see: wanwatch check --live"
        )
