"""The uplink that a person names."""

from collections.abc import Sequence

from wanwatch.config.schema import Config
from wanwatch.config.uplink import Uplink
from wanwatch.core.errors import WanwatchError


class NoUplinkError(WanwatchError):
    """There is no uplink of that name.

    Attributes:
        name: What was asked for.
    """

    def __init__(self, name: str, known: Sequence[str]) -> None:
        self.name = name
        super().__init__(f"uplink {name!r}: there is no such uplink; write one of {', '.join(known)}")


def uplink_of(config: Config, name: str) -> Uplink:
    """Return the uplink of that *name*.

    Raises:
        NoUplinkError: There is none.
    """
    for uplink in config.uplinks:
        if uplink.name == name:
            return uplink
    raise NoUplinkError(name, [uplink.name for uplink in config.uplinks])
