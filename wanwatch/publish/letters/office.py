"""The office, as letters speak of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo

from wanwatch.config import Config


@dataclass(frozen=True, slots=True)
class Office:
    """What letters say of an office beside what happened there.

    Attributes:
        name: The site's name.
        zone: Its zone.
        providers: By uplink, whom to tell of its trouble, such as `Example Fibre, reference EX-0001`.
    """

    name: str
    zone: tzinfo
    providers: Mapping[str, str] = field(default_factory=dict)


def office_of(config: Config) -> Office:
    """Return the office that a configuration describes; providers are those of the contracts."""
    contracts = {uplink.name: uplink.contract for uplink in config.uplinks}
    providers = {
        name: f"{one.provider}, reference {one.reference}" if one.reference else one.provider
        for name, one in contracts.items()
        if one is not None
    }
    return Office(config.site.name, config.site.zone, providers)
