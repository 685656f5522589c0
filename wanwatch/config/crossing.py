"""What different tables of the file say of each other: the checks that need more than one value."""

from collections.abc import Callable, Iterator
from ipaddress import ip_address
from typing import Final, TypeAlias
from urllib.parse import urlsplit

from wanwatch.config import contracts
from wanwatch.config.mistakes import Loc
from wanwatch.config.places import resolver, version
from wanwatch.config.schema import Config, Target
from wanwatch.config.units import show_duration
from wanwatch.config.uplink import Uplink
from wanwatch.tls import CertificateError, server_context

Crossed: TypeAlias = tuple[Loc, str, str]
"""Where, why it cannot be, and what to write instead."""

PPPOE_MTU: Final = 1500
"""RFC 2516 section 7 allows 1492; RFC 4638 lifts it to 1500 where both ends agree; nothing allows more."""
SHORTEST_EVERY_NS: Final = 10_000_000
"""A hundred questions a second to one target is the most that is still polite."""
LONGEST_TIMEOUT_NS: Final = 60_000_000_000
SHORTEST_PROOF_NS: Final = 5_000_000_000
"""Each proof costs a process."""
SHORTEST_REMINDER_NS: Final = 60_000_000_000
LONGEST_END_NS: Final = 3_600_000_000_000
SHORTEST_PING_NS: Final = 10_000_000_000
SHORTEST_INSPECTION_NS: Final = 60_000_000_000


def check(config: Config, *, targets_whole: bool) -> Iterator[Crossed]:
    """Give every mistake that shows only where tables are held against each other.

    Args:
        config: What could be read of the file.
        targets_whole: Whether *config* holds every target that the file does.
    """
    for rule in _RULES:
        yield from rule(config)
    if targets_whole:
        yield from _without_target(config)


def resolved(config: Config) -> Config:
    """Return *config* with the uplinks of every target filled in."""
    targets = tuple(
        target.model_copy(update={"uplinks": uplinks_of(target, config.uplinks)}) for target in config.targets
    )
    return config.model_copy(update={"targets": targets})


def uplinks_of(target: Target, uplinks: tuple[Uplink, ...]) -> tuple[str, ...]:
    """Return the names of the uplinks that *target* is asked through: those it names, else all of its family."""
    return target.uplinks or tuple(uplink.name for uplink in uplinks if _carries(uplink, target.address, target.family))


def _carries(uplink: Uplink, place: str, wanted: int | None = None) -> bool:
    """Whether the pin has a source of the place's family; a pin without sources, or a host name, fits any."""
    families = {ip_address(source).version for source in uplink.pin.sources}
    family = version(place) or wanted
    return not families or family is None or family in families


def _same_pin(config: Config) -> Iterator[Crossed]:
    first: dict[object, str] = {}
    for index, uplink in enumerate(config.uplinks):
        if uplink.pin in first and not uplink.pin.targets:
            reason = f"the pin of {first[uplink.pin]!r} is the same one, so their probes could not be told apart"
            yield ("uplink", index, "pin"), reason, "pin each uplink its own way"
        first.setdefault(uplink.pin, uplink.name)


def _two_of_a_family(config: Config) -> Iterator[Crossed]:
    for index, uplink in enumerate(config.uplinks):
        families = [ip_address(source).version for source in uplink.pin.sources]
        if len(families) != len(set(families)):
            reason = "two source addresses of one family"
            yield ("uplink", index, "pin", "source"), reason, "write one address, or one of IPv4 and one of IPv6"


def _rungs(config: Config) -> Iterator[Crossed]:
    for index, uplink in enumerate(config.uplinks):
        places = {"gateway": uplink.gateway, "first_hop": uplink.first_hop}
        for key, place in places.items():
            if place is not None and not _carries(uplink, place):
                yield ("uplink", index, key), _no_family(uplink, place), _FAMILY_MEND
        for number, written in enumerate(uplink.resolvers):
            if not _carries(uplink, place := resolver(written).address):
                yield ("uplink", index, "resolvers", number), _no_family(uplink, place), _FAMILY_MEND


_FAMILY_MEND: Final = "write an address of the same family, or give the pin a second source"


def _no_family(uplink: Uplink, place: str, wanted: int | None = None) -> str:
    return f"the pin of {uplink.name!r} has no IPv{version(place) or wanted} source to ask it from"


def _uplinks_of_targets(config: Config) -> Iterator[Crossed]:
    by_name = {uplink.name: uplink for uplink in config.uplinks}
    for index, target in enumerate(config.targets):
        for number, name in enumerate(target.uplinks):
            loc: Loc = ("target", index, "uplinks", number)
            uplink = by_name.get(name)
            if name in target.uplinks[:number]:
                yield loc, "it stands here twice", "write it once"
            elif uplink is not None and not _carries(uplink, target.address, target.family):
                reason = _no_family(uplink, target.address, target.family)
                yield loc, reason, "leave it out, or give the pin a second source"


def _without_target(config: Config) -> Iterator[Crossed]:
    asked = {name for target in config.targets for name in uplinks_of(target, config.uplinks)}
    for index, uplink in enumerate(config.uplinks):
        if uplink.name not in asked:
            yield (
                ("uplink", index, "name"),
                "no target is asked through this uplink, so nothing would be known of it",
                "add a [[target]] that it can reach, or name it in a target's uplinks",
            )


def _gateway_routed(config: Config) -> Iterator[Crossed]:
    """A target that the gateway routes one way only says nothing of any other uplink."""
    routed = {uplink.name for uplink in config.uplinks if uplink.pin.targets}
    for index, target in enumerate(config.targets):
        through = uplinks_of(target, config.uplinks)
        if len(through) > 1 and routed & set(through):
            reason = f"the gateway routes targets of {min(routed & set(through))!r} through that uplink only"
            yield ("target", index), reason, "write the one uplink in this target's uplinks"


def _resolvable(config: Config) -> Iterator[Crossed]:
    by_name = {uplink.name: uplink for uplink in config.uplinks}
    for index, target in enumerate(config.targets):
        key = "http" if target.http else "https"
        if target.endpoint is not None or version(target.address) is not None:
            continue
        for name in uplinks_of(target, config.uplinks):
            if name in by_name and not by_name[name].resolvers:
                host = urlsplit(target.address).hostname
                reason = f"uplink {name!r} has no resolvers to find {host!r} with"
                yield ("target", index, key), reason, "write that uplink's resolvers, or an address in the URL"


def _paces(config: Config) -> Iterator[Crossed]:
    rows: list[tuple[Loc, int, int]] = [
        (("target", index), target.every_ns, target.timeout_ns) for index, target in enumerate(config.targets)
    ]
    if (names := config.names) is not None:
        rows.append((("names",), names.every_ns, names.timeout_ns))
        if names.inspect_every_ns < SHORTEST_INSPECTION_NS:
            yield ("names", "inspect_every"), "too often for other people's machines", 'write "1m" or longer'
    if config.carrying.prove_every_ns < SHORTEST_PROOF_NS:
        yield ("carrying", "prove_every"), "too often for what a proof costs this machine", 'write "5s" or longer'
    if config.ping is not None and config.ping.every_ns < SHORTEST_PING_NS:
        yield ("ping", "every"), "too often for other people's machines", 'write "10s" or longer'
    for loc, every_ns, timeout_ns in rows:
        if every_ns < SHORTEST_EVERY_NS:
            yield (*loc, "every"), "too often for other people's machines", 'write "10ms" or longer'
        if timeout_ns > LONGEST_TIMEOUT_NS:
            yield (*loc, "timeout"), "nobody waits so long for an answer", 'write "60s" or shorter'
    carrying = config.carrying
    if carrying.pulse_ns < SHORTEST_EVERY_NS:
        yield ("carrying", "pulse"), "too often for other people's machines", 'write "10ms" or longer'
    if carrying.pulse_ns > carrying.every_ns:
        usual = show_duration(carrying.every_ns)
        yield ("carrying", "pulse"), f"the quick pulse is slower than every ({usual})", f'write at most "{usual}"'


def _names_of_traffic(config: Config) -> Iterator[Crossed]:
    if config.carrying.names and config.names is None:
        yield ("carrying", "names"), "there is no name to ask for", 'write [names] with ask = ["www.example.com"]'


def _drills(config: Config) -> Iterator[Crossed]:
    for index, uplink in enumerate(config.uplinks):
        if uplink.drill_every_ns is not None and len(config.uplinks) == 1:
            reason = "it is the only uplink, so there is no failover to rehearse"
            yield ("uplink", index, "drill_every"), reason, "leave it out, or add the second uplink"


def _handoffs(config: Config) -> Iterator[Crossed]:
    for index, uplink in enumerate(config.uplinks):
        if uplink.handoff.encapsulation == "pppoe" and uplink.handoff.mtu > PPPOE_MTU:
            reason = f"PPPoE carries at most {PPPOE_MTU} bytes"
            yield ("uplink", index, "handoff", "mtu"), reason, "write 1492, or 1500 where the provider allows it"


def _contracts(config: Config) -> Iterator[Crossed]:
    for index, uplink in enumerate(config.uplinks):
        asked = [target.name for target in config.targets if uplink.name in uplinks_of(target, config.uplinks)]
        for loc, reason, mend in contracts.check(uplink, asked, [target.name for target in config.targets]):
            yield ("uplink", index, "contract", *loc), reason, mend


def _notices(config: Config) -> Iterator[Crossed]:
    for index, notice in enumerate(config.notices):
        at: Loc = ("notice", index)
        if notice.to.startswith("mailto:") and config.smtp is None:
            yield (*at, "to"), "there is no mail server to send it by", "write a [smtp] table"
        if notice.to.startswith("mailto:") and notice.secret is not None:
            yield (*at, "secret_file"), "a mail is not signed by it", "leave it out, or write the URL of a webhook"
        if notice.to in (other.to for other in config.notices[:index]):
            yield (*at, "to"), "there is a table for this address already", "write what it asks for in one table"
        for number, kind in enumerate(notice.through_quiet):
            if kind not in notice.on:
                yield (*at, "through_quiet", number), "it is not told at all", "write it in on as well"
        if notice.remind_every_ns is not None and notice.remind_every_ns < SHORTEST_REMINDER_NS:
            yield (*at, "remind_every"), "too often for people", 'write "1m" or longer'
        if notice.end_after_ns > LONGEST_END_NS:
            yield (*at, "end_after"), "after an hour it would be another incident", 'write "1h" or shorter'
        if notice.report and not config.report.monthly:
            yield (*at, "report"), "no report is written by itself", "name a format in report.monthly"


def _remote_writes(config: Config) -> Iterator[Crossed]:
    """By its URL it is known how far a receiver has got."""
    urls = [receiver.url for receiver in config.remote_writes]
    for index, url in enumerate(urls):
        if url in urls[:index]:
            yield ("remote_write", index, "url"), "there is a table for this URL already", "keep one of them"


def _smtp(config: Config) -> Iterator[Crossed]:
    smtp = config.smtp
    if smtp is None or smtp.user is None:
        return
    if smtp.password is None:
        mend = "write password_file, or set WANWATCH_SMTP_PASSWORD in the daemon's environment"
        yield ("smtp", "password_file"), "there is no password to sign in with", mend
    if smtp.security == "none" and not (version(smtp.host) and ip_address(smtp.host).is_loopback):
        yield ("smtp", "security"), "everybody on the way could read the password", 'write "starttls" or "tls"'


def _listening(config: Config) -> Iterator[Crossed]:
    listen = config.listen
    if not ip_address(listen.address).is_loopback and listen.password is None and not listen.tokens:
        reason = "others can reach it there, and nothing is asked of them"
        mend = "write password_file or token_file as well, or an address such as 127.0.0.1:9470"
        yield ("listen", "address"), reason, mend
    if listen.certificate is not None:
        try:
            server_context(listen.certificate, listen.key)
        except CertificateError as error:
            mend = "write the paths of a certificate and its key, in PEM, that the daemon's user can read"
            yield ("listen", "key_file" if error.of_key else "certificate_file"), error.reason, mend


_RULES: Final[tuple[Callable[[Config], Iterator[Crossed]], ...]] = (
    _same_pin,
    _two_of_a_family,
    _rungs,
    _uplinks_of_targets,
    _gateway_routed,
    _resolvable,
    _paces,
    _names_of_traffic,
    _drills,
    _handoffs,
    _contracts,
    _notices,
    _remote_writes,
    _smtp,
    _listening,
)
