"""The plan: which questions a configuration asks, and how often.

The unpinned path is asked the same targets as the uplinks, one after the other, a probe each `carrying.pulse`: a single
dead target is then never taken for an interruption.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from itertools import product
from pathlib import Path
from types import MappingProxyType
from typing import Final

from wanwatch.config.by_kind import by_kind
from wanwatch.config.places import resolver, version
from wanwatch.config.schema import Config, Target
from wanwatch.config.uplink import Uplink
from wanwatch.core.model import NS_PER_S, UNPINNED, JudgeSettings, Kind, Pin, Promised, Question, Role, Series
from wanwatch.core.resolving import Inspection, Purpose

GATEWAY: Final = "gateway"
FIRST_HOP: Final = "first-hop"
STORE_NAME: Final = "wanwatch.sqlite"

# The nearest rungs of the fault ladder are asked now and then while all is well, and at the pulse when it is not.
RUNG_EVERY_NS: Final = 5 * NS_PER_S
RUNG_TIMEOUT_NS: Final = 2 * NS_PER_S
# Resolvers and servers that tell our address are other people's: even in trouble, once a second is enough.
POLITE_PULSE_NS: Final = NS_PER_S
EGRESS_TIMEOUT_NS: Final = 2 * NS_PER_S
# A connection weighs ten times as much as a STUN question, and no pin is proved so often that it would help.
ADDRESS_EVERY_NS: Final = 60 * NS_PER_S
NEVER_THERE: Final = "invalid"
"""RFC 6761 section 6.4: no name exists under it."""
# A metered line is probed ten times as sparely.
METERED_FACTOR: Final = 10
# A line whose data budget is all but used up is still asked, and in trouble no more often.
SPARING_EVERY_NS: Final = 60 * NS_PER_S
# What may be asked several times a second without being a load of its own; connections and other people's resolvers
# are asked once a second, and only where there is nothing lighter. A fetch is never asked so often.
_LIGHT: Final = frozenset({Kind.ECHO, Kind.STAMP})
_HEAVIER: Final = frozenset({Kind.TCP, Kind.DNS})


def store_path(config: Config) -> Path:
    """Where the site's record is kept."""
    return config.site.data_dir / STORE_NAME


def judge_settings(config: Config) -> JudgeSettings:
    """The judge's numbers, with what it has to know of the site and of the contracts."""
    contracts = {uplink.name: uplink.contract for uplink in config.uplinks if uplink.contract is not None}
    promised = {name: Promised(_bps(one.down_mbps), _bps(one.up_mbps)) for name, one in contracts.items()}
    return replace(config.judge.settings(), zone=config.site.zone, promised=promised)


def _bps(mbps: int | None) -> float | None:
    return None if mbps is None else mbps * 1e6


def drills_every(config: Config) -> dict[str, int | None]:
    """How often the failover from each uplink is to be rehearsed, in nanoseconds; None where nobody asks for it."""
    return {uplink.name: uplink.drill_every_ns for uplink in config.uplinks}


def questions(
    config: Config, first_hops: Mapping[str, str] = MappingProxyType({}), sparing: Collection[str] = ()
) -> tuple[Question, ...]:
    """Every question that the daemon asks: uplink by uplink in the order of preference, the unpinned path last.

    Args:
        config: The configuration.
        first_hops: The first router beyond the gateway, as it was learnt, of uplinks that are configured without.
        sparing: Uplinks whose data budget is all but used up, and the unpinned path while it takes one of them.
    """
    pinned = (question for uplink in config.uplinks for question in _of_uplink(config, uplink, first_hops))
    asked = (*pinned, *_unpinned(config))
    return tuple(_sparingly(question) if question.series.uplink in sparing else question for question in asked)


def inspections(config: Config, sparing: Collection[str] = ()) -> tuple[Inspection, ...]:
    """What every resolver is asked in an inspection; on a metered line in one of ten, on a *sparing* one in none."""
    return tuple(one for uplink in config.uplinks if uplink.name not in sparing for one in _inspections(config, uplink))


def inspected(config: Config) -> tuple[Question, ...]:
    """The questions of the inspections, each as often as a round asks it."""
    return tuple(one.question for one in inspections(config) for _ in range(one.asked))


def route_map(config: Config) -> dict[tuple[str, str | None], str]:
    """Which uplink the kernel's own route means, by interface and gateway.

    Empty where the kernel cannot bear witness: an uplink is not pinned by interface, so that its traffic leaves this
    machine like any other's, or two uplinks cannot be told apart.
    """
    known = {
        (uplink.pin.interface, uplink.gateway): uplink.name
        for uplink in config.uplinks
        if uplink.pin.interface is not None
    }
    return known if len(known) == len(config.uplinks) else {}


def toward(config: Config) -> dict[str, str]:
    """An address that each uplink leads to, for looking up the kernel's route; nothing is sent there for that."""
    return {
        uplink.name: target.address
        for uplink in config.uplinks
        for target in reversed(config.targets)
        if uplink.name in target.uplinks and target.kind is not Kind.HTTP
    }


def _of_uplink(config: Config, uplink: Uplink, first_hops: Mapping[str, str]) -> Iterator[Question]:
    pulse_ns = config.carrying.pulse_ns
    asked = (
        *((_far(config, uplink, target), pulse_ns) for target in config.targets if uplink.name in target.uplinks),
        *((rung, pulse_ns) for rung in _rungs(uplink, first_hops.get(uplink.name))),
        *((names, POLITE_PULSE_NS) for names in _names(config, uplink)),
        *((stun, POLITE_PULSE_NS) for stun in _stun(config, uplink.name, uplink.pin)),
        *((address, address.every_ns) for address in _address(config, uplink)),
    )
    for question, quick_ns in asked:
        every_ns = question.every_ns * (METERED_FACTOR if uplink.metered else 1)
        quickest_ns = max(quick_ns, POLITE_PULSE_NS) if uplink.metered else quick_ns
        yield replace(question, every_ns=every_ns, pulse_ns=min(every_ns, quickest_ns))


def _sparingly(question: Question) -> Question:
    if question.series.role is Role.GATEWAY:  # it does not cost anything
        return question
    every_ns = max(question.every_ns, SPARING_EVERY_NS)
    return replace(question, every_ns=every_ns, pulse_ns=every_ns)


def _far(config: Config, uplink: Uplink, target: Target) -> Question:
    return Question(
        Series(uplink.name, target.name, target.kind, Role.LINE),
        uplink.pin,
        address=target.address,
        port=target.port,
        every_ns=target.every_ns,
        pulse_ns=config.carrying.pulse_ns,
        timeout_ns=target.timeout_ns,
        ask=target.ask,
        stamp_key=target.key,
        resolvers=tuple(resolver(written) for written in uplink.resolvers),
        resolver=resolver(target.dns) if target.dns else None,
        expect=target.expect,
        family=target.family,
        ca_file=ca_file(config),
    )


def ca_file(config: Config) -> str | None:
    """The file of authorities that are trusted beside the system's own."""
    return str(config.site.authorities) if config.site.authorities else None


def _rungs(uplink: Uplink, learnt: str | None) -> Iterator[Question]:
    for address, name, role in (
        (uplink.gateway, GATEWAY, Role.GATEWAY),
        (uplink.first_hop or learnt, FIRST_HOP, Role.FIRST_HOP),
    ):
        if address is not None:
            yield Question(
                Series(uplink.name, name, Kind.ECHO, role),
                uplink.pin,
                address=address,
                port=None,
                every_ns=RUNG_EVERY_NS,
                pulse_ns=RUNG_EVERY_NS,
                timeout_ns=RUNG_TIMEOUT_NS,
            )


def _names(config: Config, uplink: Uplink) -> Iterator[Question]:
    if config.names is None:
        return
    turn_ns = config.names.every_ns * len(config.names.ask)
    for written, name in product(uplink.resolvers, config.names.ask):
        server = resolver(written)
        yield Question(
            Series(uplink.name, written, Kind.DNS, Role.NAMES),
            uplink.pin,
            address=server.address,
            port=server.port,
            every_ns=turn_ns,
            pulse_ns=turn_ns,
            timeout_ns=config.names.timeout_ns,
            ask=name,
            resolver=server,
            ca_file=ca_file(config),
        )


def _inspections(config: Config, uplink: Uplink) -> Iterator[Inspection]:
    if (names := config.names) is None:
        return
    every_ns = names.inspect_every_ns * (METERED_FACTOR if uplink.metered else 1)
    asked = [
        *((name, Purpose.KNOWN) for name in names.ask),
        (NEVER_THERE, Purpose.ABSENT),
        (names.own_zone, Purpose.OWN_ZONE),
        (names.signed, Purpose.SIGNED),
        (names.broken, Purpose.BROKEN),
    ]
    # One question of the usual watch for each resolver says how it is asked.
    usual = dict.fromkeys(question for question in _names(config, uplink) if question.ask == names.ask[0])
    for question, (name, purpose) in product(usual, dict.fromkeys(asked)):
        if name is not None:
            yield Inspection(replace(question, ask=name, every_ns=every_ns, pulse_ns=every_ns), purpose)


def _stun(config: Config, path: str, pin: Pin) -> Iterator[Question]:
    families = {version(source) for source in pin.sources}
    for place in config.carrying.stun:
        if not families or version(place.address) in families:
            yield Question(
                Series(path, str(place), Kind.STUN, Role.EGRESS),
                pin,
                address=place.address,
                port=place.port,
                every_ns=config.carrying.every_ns,
                pulse_ns=min(config.carrying.every_ns, POLITE_PULSE_NS),
                timeout_ns=EGRESS_TIMEOUT_NS,
            )


def _address(config: Config, uplink: Uplink) -> Iterator[Question]:
    """Ask a page as often as pins are proved, within reason; who carries is a matter of STUN, so pins only."""
    carrying = config.carrying
    families = {version(source) for source in uplink.pin.sources}
    if carrying.address_url is None or (families and version(carrying.address_url) not in families):
        return
    every_ns = max(carrying.every_ns, min(carrying.prove_every_ns, ADDRESS_EVERY_NS))
    yield Question(
        Series(uplink.name, carrying.address_url, Kind.HTTP, Role.EGRESS),
        uplink.pin,
        address=carrying.address_url,
        port=None,
        every_ns=every_ns,
        pulse_ns=every_ns,
        timeout_ns=EGRESS_TIMEOUT_NS,
        expect=200,
        ca_file=ca_file(config),
        token=carrying.address_token.get_secret_value() if carrying.address_token else None,
    )


def _unpinned(config: Config) -> Iterator[Question]:
    """Ask what ordinary traffic could reach: targets that the gateway routes one way only say nothing of it."""
    one_way = {uplink.name for uplink in config.uplinks if uplink.pin.targets}
    reachable = [target for target in config.targets if not one_way.intersection(target.uplinks)]
    light = [target for target in reachable if target.kind in _LIGHT]
    targets = light or [target for target in reachable if target.kind in _HEAVIER]
    turn_ns = len(targets) * (config.carrying.pulse_ns if light else max(config.carrying.pulse_ns, POLITE_PULSE_NS))
    for target in targets:
        yield Question(
            Series(UNPINNED, target.name, target.kind, Role.LINE),
            Pin(),
            address=target.address,
            port=target.port,
            every_ns=turn_ns,
            pulse_ns=turn_ns,
            timeout_ns=target.timeout_ns,
            ask=target.ask,
            stamp_key=target.key,
            resolver=resolver(target.dns) if target.dns else None,
            ca_file=ca_file(config),
        )
    yield from _stun(config, UNPINNED, Pin())
    for question in by_kind(config, reachable):
        yield replace(question, ca_file=ca_file(config))
