"""What keeps a reflector from starting."""

import os

from wanwatch.core.errors import WanwatchError


class ReflectorError(WanwatchError):
    """The reflector could not start as it was told to."""


class CannotListenError(ReflectorError):
    """It could not listen where it was told to.

    Attributes:
        address: The address as given.
        port: The port as given.
        reason: What the system said.
    """

    def __init__(self, address: str, port: int, error: OSError | ValueError) -> None:
        errno = error.errno if isinstance(error, OSError) else None
        self.address, self.port, self.reason = address, port, os.strerror(errno) if errno else str(error)
        super().__init__(
            f"reflector: cannot listen on {address} port {port}: {self.reason}; "
            "give an address of this machine and a free port (below 1024 only as root)"
        )


class UnreadableFileError(ReflectorError):
    """A file with a secret or a certificate could not be used. Its path is not shown: people paste secrets there.

    Attributes:
        option: The option that named it.
        reason: What is wrong.
    """

    def __init__(self, option: str, reason: str) -> None:
        self.option, self.reason = option, reason
        super().__init__(f"reflector: {option}: {reason}; name another file, which the reflector's user can read")
