"""Words: what a report says of places and signs. Figures and instants are written by `Pen`."""

from collections.abc import Mapping
from typing import Final

from wanwatch.core.model import Domain
from wanwatch.core.resolving import Sign

NOTHING: Final = "—"

WHERE: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "our own side",
    Domain.GATEWAY: "the gateway",
    Domain.ACCESS_LINE: "the access line",
    Domain.PROVIDER: "the provider's network",
    Domain.FAR_END: "the far end",
    Domain.NAMES: "names",
}
"""Where it broke, as a table names it."""

PLACE: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "on your own side",
    Domain.GATEWAY: "at the gateway",
    Domain.ACCESS_LINE: "on the access line",
    Domain.PROVIDER: "in the provider's network",
    Domain.FAR_END: "at the far end",
    Domain.NAMES: "with names",
}
"""Where it broke, as a sentence says it."""


def sign(found: Sign | None) -> str:
    """Say whether something is so: `yes`, `no`, `no verdict`, or that it was not asked."""
    return "not asked" if found is None else "no verdict" if found is Sign.UNDECIDED else found.value
