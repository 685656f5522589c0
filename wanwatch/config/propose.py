"""A first configuration, made from what a machine knows of itself."""

import json
from collections.abc import Iterator
from typing import Final

from wanwatch.config.machine import MachineFacts, Way

PLACEHOLDER: Final = "192.0.2.1"
"""RFC 5737 section 3: an address that nobody has."""


def propose(facts: MachineFacts) -> str:
    """Return a commented file that `load` accepts as it is.

    One uplink for each interface that has a default route. Far targets are the machine's resolvers, as long as they
    are not the gateway itself; without any, an address that nobody has, for a person to replace.
    """
    return "\n".join([*_site(facts), *_uplinks(facts), *_targets(facts), *_rest()]) + "\n"


def _quoted(text: str) -> str:
    """Write a TOML string; what cannot be printed is left out."""
    return json.dumps("".join(letter for letter in text if letter.isprintable()), ensure_ascii=False)


def _site(facts: MachineFacts) -> Iterator[str]:
    yield "# A proposal from this machine's own routes. Read it through, then: wanwatch check THIS-FILE"
    yield "# 'wanwatch schema' tells every key."
    yield ""
    yield "[site]"
    yield f"name = {_quoted(facts.name)}"
    yield f"timezone = {_quoted(facts.timezone)}"
    yield f"data_dir = {_quoted(str(facts.data_dir))}"
    yield ""


def _uplinks(facts: MachineFacts) -> Iterator[str]:
    first: dict[str, list[Way]] = {}
    for way in facts.ways:
        first.setdefault(way.interface, []).append(way)
    if not first:
        yield "# No default route was found. Write the interface of the line here."
        yield from _uplink("line-1", Way("eth0", None, 0), facts)
    for number, ways in enumerate(first.values(), start=1):
        told = next((way for way in ways if way.gateway), ways[0])
        yield from _uplink(f"line-{number}", told, facts)
        yield from _other_gateways(told, ways)


def _other_gateways(told: Way, ways: list[Way]) -> Iterator[str]:
    """Two gateways of one family behind one interface may well be two lines, which an interface cannot tell apart."""
    others = [way.gateway for way in ways if way.gateway not in {None, told.gateway} and _alike(way, told)]
    if others:
        yield f"# {told.interface} has other gateways too: {', '.join(map(str, others))}"
        yield "# Where they lead to other lines, make an uplink of each, and pin each by a source address of its own:"
        yield '# pin = { source = "..." }'
        yield ""


def _alike(way: Way, other: Way) -> bool:
    return (":" in (way.gateway or "")) == (":" in (other.gateway or ""))


def _uplink(name: str, way: Way, facts: MachineFacts) -> Iterator[str]:
    yield "[[uplink]]                # the order of uplinks is the order of preference"
    yield f"name = {_quoted(name)}           # call it as people at the site do"
    yield f"pin = {{ interface = {_quoted(way.interface)} }}"
    if way.gateway:
        yield f"gateway = {_quoted(way.gateway)}"
    yield '# first_hop = "..."       # the provider\'s first router; it tells a fault of the line from one beyond it'
    if facts.resolvers:
        yield f"resolvers = [{', '.join(map(_quoted, facts.resolvers))}]   # better: the provider's own"
    yield ""


def _targets(facts: MachineFacts) -> Iterator[str]:
    gateways = {way.gateway for way in facts.ways}
    far = [server for server in facts.resolvers if server not in gateways]
    if not far:
        yield f"# Nobody answers at {PLACEHOLDER}: write an address here that you may ask, far beyond the line."
        far = [PLACEHOLDER]
    else:
        yield "# Found as this machine's resolvers. Better: two or three far addresses in different networks."
    for number, address in enumerate(far, start=1):
        yield "[[target]]"
        yield f'name = "far-{number}"'
        yield f"echo = {_quoted(address)}"
        yield 'every = "1s"'
        yield ""


def _rest() -> Iterator[str]:
    yield "# [names]                 # whether names resolve, asked of each uplink's resolvers"
    yield '# ask = ["www.example.com"]'
    yield ""
    yield "# [carrying]              # which uplink ordinary traffic takes: STUN servers that you may ask"
    yield '# stun = ["192.0.2.78:3478", "192.0.2.79:3478"]'
    yield ""
    yield "[listen]                  # status page and metrics"
    yield 'address = "127.0.0.1:9470"'
