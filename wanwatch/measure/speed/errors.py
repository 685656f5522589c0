"""Why no speed test was made: we were asked for one that cannot be. Network trouble is an ending, not an error."""

from pathlib import Path

from wanwatch.core.errors import WanwatchError


class SpeedError(WanwatchError):
    """No test was made."""


class NoServerError(SpeedError):
    """The configuration names nobody to test against."""

    def __init__(self) -> None:
        super().__init__("[speed]: it is not there, so nobody is named to test against; write speed.server")


class BusyError(SpeedError):
    """Another test of this site is under way."""

    def __init__(self, pid: int | None) -> None:
        who = f"process {pid} is" if pid else "another process is"
        super().__init__(f"a speed test is under way already: {who} at it; wait until it has ended")
        self.pid = pid


class NoLockError(SpeedError):
    """It cannot be made sure that no other test is under way."""

    def __init__(self, path: Path, error: OSError) -> None:
        super().__init__(
            f"cannot make the lock file {str(path)!r}: {error.strerror}; check that site.data_dir may be written to"
        )
