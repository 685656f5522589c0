"""What is no mistake in a configuration and still worth saying before anyone relies on it."""

import stat
from collections.abc import Callable, Iterator
from dataclasses import replace
from importlib.util import find_spec
from ipaddress import ip_address
from typing import Final

from wanwatch.config.contract import SpeedClause
from wanwatch.config.datause import monthly_bytes
from wanwatch.config.plan import inspected, questions
from wanwatch.config.schema import Config, Speed
from wanwatch.config.testuse import monthly_test_bytes, most_bytes
from wanwatch.config.units import show_duration
from wanwatch.config.uplink import Handoff, Uplink
from wanwatch.core.account import goodput
from wanwatch.core.model import Role

FEWEST_IN_WINDOW: Final = 34
"""Of fewer, a single lost one is more than the usual limit of 3 %."""


def remarks(config: Config) -> list[str]:
    """Return the remarks, each one sentence or two; an empty list if there is nothing to say."""
    return [remark for rule in _RULES for remark in rule(config)]


def goodput_bps(handoff: Handoff) -> int | None:
    """Return the most that TCP can carry over *handoff* in payload bits a second; None if its speed is not told."""
    if handoff.link_mbps is None:
        return None
    # Without TCP's timestamps a little more gets through: what is above even that is certainly too much.
    return int(goodput.goodput_bps(handoff.link_mbps * 10**6, replace(handoff.framing, timestamps=False)))


def _not_yet(config: Config) -> Iterator[str]:
    if config.names is not None:
        asked = {question.ask for question in questions(config) if question.series.role is Role.NAMES}
        if asked and (left := [name for name in config.names.ask if name not in asked]):
            yield f"[names]: this version does not ask for {', '.join(left)} yet."


def _beyond_the_handoff(config: Config) -> Iterator[str]:
    for uplink in config.uplinks:
        most = goodput_bps(uplink.handoff)
        for clause in (clause for contract in uplink.contracts for clause in contract.clauses):
            asked = clause.promised[1] if isinstance(clause, SpeedClause) else None
            if most and asked and asked > most:
                yield (
                    f"uplink {uplink.name!r}: the {clause.measure} clause asks for {asked / 10**6:g} Mbit/s, and its "
                    f"handoff carries at most {most / 10**6:.1f} Mbit/s of TCP payload; missing it is no breach."
                )


def _few_targets(config: Config) -> Iterator[str]:
    for uplink in config.uplinks:
        asked = [target.name for target in config.targets if uplink.name in target.uplinks]
        if len(asked) == 1:
            yield (
                f"uplink {uplink.name!r}: only one target ({asked[0]!r}) speaks for it, so that target's own trouble "
                "would look like the line's; add another."
            )


def _missing_rungs(config: Config) -> Iterator[str]:
    for uplink in config.uplinks:
        if uplink.gateway is None:
            yield f"uplink {uplink.name!r}: without gateway the fault domain of an outage cannot be told as near."
        if config.names is not None and not uplink.resolvers:
            yield f"uplink {uplink.name!r}: it has no resolvers, so names are not watched through it."


def _shared_gateways(config: Config) -> Iterator[str]:
    first: dict[str, Uplink] = {}
    for uplink in config.uplinks:
        if uplink.gateway in first and uplink.gateway is not None:
            yield (
                f"uplinks {first[uplink.gateway].name!r} and {uplink.name!r} share the gateway {uplink.gateway}: if it "
                "falls silent, both are down at once."
            )
        first.setdefault(uplink.gateway or "", uplink)


def _carrying(config: Config) -> Iterator[str]:
    if len(config.uplinks) == 1:
        return
    routed_here = any(uplink.pin.interface for uplink in config.uplinks)
    if not config.carrying.stun and not routed_here:
        alone = "" if config.carrying.address_url else (
            ", and pins are proved by the first hops alone; where those keep silent, samples are taken as they come"
        )  # fmt: skip
        yield f"[carrying]: without stun servers nobody can tell which uplink carries, so switches are not seen{alone}."
    if config.carrying.stun and not routed_here:
        yield (
            "[carrying]: uplinks that leave by one public address, such as behind a carrier's address translation, "
            "cannot be told apart by stun."
        )


def _coarse(config: Config) -> Iterator[str]:
    """Pace against window: too few probes make any share of loss a matter of luck."""
    plan = questions(config)
    for uplink in config.uplinks:
        paces = [ask.every_ns for ask in plan if ask.series.uplink == uplink.name and ask.series.role is Role.LINE]
        samples = sum(config.judge.window_ns / every_ns for every_ns in paces)
        if samples < FEWEST_IN_WINDOW:
            yield (
                f"uplink {uplink.name!r}: its targets give only {samples:.3g} samples in a window of "
                f"{show_duration(config.judge.window_ns)}, so that one lost probe alone may look like impairment."
            )


def _budgets(config: Config) -> Iterator[str]:
    plan = (*questions(config), *inspected(config))
    for uplink in config.uplinks:
        budget = uplink.data_budget_bytes
        if budget is None:
            continue
        used = monthly_bytes(question for question in plan if question.series.uplink == uplink.name)
        if used > budget:
            yield (
                f"uplink {uplink.name!r}: probing would use about {used / 10**6:.0f} MB a month, above its data_budget "
                f"of {budget / 10**6:g} MB; in the last part of the month it is asked sparingly, so make every longer."
            )
        elif config.speed is not None and config.speed.at is not None:
            yield from _tests_within(config.speed, uplink, budget - used)


def _tests_within(speed: Speed, uplink: Uplink, left: int) -> Iterator[str]:
    each, wanted = most_bytes(speed, uplink), monthly_test_bytes(speed, uplink)
    if wanted > left:
        yield (
            f"uplink {uplink.name!r}: its data_budget leaves {left / 10**6:.0f} MB a month for speed tests of at most "
            f"{each / 10**6:.0f} MB each, so that about {left // each} of {wanted // each} are made and the others are "
            "skipped; lower speed.seconds or speed.most, or test less often."
        )


def _credits(config: Config) -> Iterator[str]:
    for uplink in config.uplinks:
        if any(contract.credit and contract.fee is None for contract in uplink.contracts):
            yield f"uplink {uplink.name!r}: without fee, a credit is told as a share and not as a sum."


def _missing_extras(config: Config) -> Iterator[str]:
    counters = any(uplink.counters is not None for uplink in config.uplinks)
    for asked, key, what, module, extra in (
        (config.remote_writes, "[[remote_write]]", "nothing is sent", "cramjam", "remote-write"),
        (counters, "[uplink.counters]", "other traffic is not seen", "pysnmp", "snmp"),
    ):
        if asked and find_spec(module) is None:
            yield (
                f"{key}: {what}, since {module} is not installed, which the extra {extra} brings: "
                f"pip install 'wanwatch[{extra}]'."
            )


def _open_to_others(config: Config) -> Iterator[str]:
    listen = config.listen
    if not ip_address(listen.address).is_loopback and listen.certificate is None:
        yield (
            "[listen]: others reach it by plain HTTP, so that whoever is on the way can read passwords and tokens; "
            "write certificate_file and key_file, or listen on loopback behind a proxy that speaks TLS."
        )
    key = listen.key or listen.certificate
    if key is not None and key.stat().st_mode & stat.S_IROTH:
        yield "[listen]: every user of this machine can read the key of its certificate; give its file mode 0640."


_RULES: Final[tuple[Callable[[Config], Iterator[str]], ...]] = (
    _not_yet,
    _beyond_the_handoff,
    _few_targets,
    _missing_rungs,
    _shared_gateways,
    _carrying,
    _coarse,
    _budgets,
    _credits,
    _missing_extras,
    _open_to_others,
)
