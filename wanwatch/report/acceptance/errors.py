"""What can keep a certificate from being made."""

from wanwatch.report.errors import ReportError


class NoTestError(ReportError):
    """No acceptance test of this uplink is kept.

    Attributes:
        uplink: Which.
    """

    def __init__(self, uplink: str) -> None:
        self.uplink = uplink
        super().__init__(f"uplink {uplink!r}: no acceptance test of it is kept; make one with: wanwatch accept UPLINK")
