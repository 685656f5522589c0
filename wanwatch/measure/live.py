"""A look at every pin by hand: addresses, first hops and path MTUs, without a daemon."""

import asyncio
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from wanwatch.config import Config
from wanwatch.config.places import version
from wanwatch.config.plan import questions, toward
from wanwatch.config.uplink import Uplink
from wanwatch.core.judge.pin import Phase, Pins, Verdict
from wanwatch.core.model import NS_PER_S, UNPINNED, LinkSeen, Observation, PinChanged, PinsSeen, Question, Role, Sample
from wanwatch.core.ports import Clock
from wanwatch.core.proof_row import ProofRow
from wanwatch.core.way import Way
from wanwatch.measure.measurer import Measurer
from wanwatch.measure.prover import subjects, trace
from wanwatch.measure.route import Answer, Failed, FindMtu, Mtu, ask
from wanwatch.measure.watch import LinkWatch

_LOOK_S: Final = 4.0
"""Time for a server to be asked twice for our address and to answer."""
_HELD: Final = {Phase.UNPROVED: None, Phase.PROVED: True, Phase.LOST: False}


@dataclass
class _Seen:
    """What came in while we looked."""

    samples: list[Sample] = field(default_factory=list)
    links: dict[str, LinkSeen] = field(default_factory=dict)

    def take(self, seen: Observation) -> None:
        if isinstance(seen, Sample):
            self.samples.append(seen)
        elif isinstance(seen, LinkSeen):
            self.links[seen.uplink] = seen


@dataclass(frozen=True, kw_only=True)
class Look:
    """What one look showed of one uplink.

    Attributes:
        uplink: Which.
        verdict: What is held of its pin.
        link: Where its probes leave this machine; None if that was not seen.
        way: Its first routers, or why they were not traced; None if it leads to no address.
        public: The address that the far end saw; None if nobody told.
        mtus: What was said of its path's MTU, by version of IP.
        samples: Its probes for the public address.
    """

    uplink: Uplink
    verdict: Verdict
    link: LinkSeen | None
    way: Way | Failed | None
    public: str | None
    mtus: Sequence[tuple[int, Answer]]
    samples: Sequence[Sample]

    @property
    def proved(self) -> bool | None:
        """Whether the pin leaves by its own line; None while nothing tells."""
        return _HELD[self.verdict.phase]

    @property
    def routers(self) -> Way | None:
        """The first routers, where they were traced."""
        return self.way if isinstance(self.way, Way) else None

    @property
    def gateway(self) -> str | None:
        """The router on our side; None if there is none that is known."""
        return self.uplink.gateway or (self.routers.hops[0] if self.routers and self.routers.ours else None)


async def look(config: Config, clock: Clock) -> list[ProofRow]:
    """Look at every uplink's pin once, which takes some seconds, and return a row for each."""
    return [_row(one) for one in await look_closely(config, clock)]


async def look_closely(config: Config, clock: Clock) -> list[Look]:
    """Look at every uplink's pin once, which takes some seconds, and return all that it showed."""
    outside = [
        replace(question, every_ns=NS_PER_S, pulse_ns=NS_PER_S)
        for question in questions(config)
        if question.series.role is Role.EGRESS and question.series.uplink != UNPINNED
    ]
    seen, (ways, mtus) = await asyncio.gather(_watched(config, clock, outside), _asked(config))
    pins = Pins()
    pins.reconfigure([uplink.name for uplink in config.uplinks], outside)
    for sample in seen.samples:
        pins.hear(sample)
    traced = {name: way for name, way in ways.items() if isinstance(way, Way)}
    pins.see(PinsSeen(max((s.known_ns for s in seen.samples), default=clock.now_ns()), clock.now_unix_ns(), traced))
    return [
        Look(
            uplink=uplink, verdict=pins.verdicts[uplink.name], link=seen.links.get(uplink.name),
            way=ways.get(uplink.name), public=_public(uplink.name, seen.samples),
            mtus=[(family, answer) for at, family, answer in mtus if at == uplink.name],
            samples=[sample for sample in seen.samples if sample.series.uplink == uplink.name],
        )
        for uplink in config.uplinks
    ]  # fmt: skip


async def _watched(config: Config, clock: Clock, outside: Sequence[Question]) -> _Seen:
    seen = _Seen()
    measurer, links = Measurer(clock, seen.take), LinkWatch(clock, seen.take)
    try:
        await measurer.apply(outside)
        await links.apply({uplink.name: uplink.pin for uplink in config.uplinks}, toward=toward(config))
        await asyncio.sleep(_LOOK_S)
    finally:
        await asyncio.gather(measurer.close(), links.close())
    return seen


async def _asked(config: Config) -> tuple[Mapping[str, Way | Failed], list[tuple[str, int, Answer]]]:
    wanted = list(_mtus(config))
    ways = await trace(subjects(config))
    answers = await ask([question for _, _, question in wanted])
    return ways, [(name, family, answer) for (name, family, _), answer in zip(wanted, answers, strict=True)]


def _mtus(config: Config) -> Iterator[tuple[str, int, FindMtu]]:
    """One question for each uplink and family, to a target that is asked by echo anyway."""
    for flow, uplink in enumerate(config.uplinks):
        echoing = [target.echo for target in config.targets if target.echo and uplink.name in target.uplinks]
        first = {version(address) or 4: address for address in reversed(echoing)}
        for family, address in sorted(first.items()):
            yield uplink.name, family, FindMtu(address, uplink.pin, uplink.handoff.mtu, flow=flow)


def _row(one: Look) -> ProofRow:
    answers = [answer for _, answer in one.mtus]
    found = [answer for answer in answers if isinstance(answer, Mtu) and answer.size is not None]
    return ProofRow(
        held=PinChanged(one.uplink.name, one.proved, one.verdict.nat, one.verdict.other),
        interface=one.link.interface if one.link else "",
        gateway=one.gateway,
        public=one.public,
        hops=one.routers.hops[one.routers.ours :] if one.routers else (),
        mtus=tuple(f"{mtu.size}" + " (black hole)" * mtu.black_hole for mtu in found),
        faults=tuple(word for mtu in found for word in _mtu_faults(one.uplink, mtu)),
        gaps=tuple(_gaps(one, [one.way, *answers])),
    )


def _public(name: str, samples: Sequence[Sample]) -> str | None:
    seen = [(sample.facts or {}).get("address") for sample in samples if sample.series.uplink == name]
    return next((address for address in reversed(seen) if isinstance(address, str)), None)


def _mtu_faults(uplink: Uplink, mtu: Mtu) -> Iterator[str]:
    if mtu.black_hole:
        yield (
            f"packets above {mtu.size} bytes vanish, and nobody says that they are too big, so transfers hang: let "
            f"the ICMP message pass that says so, or set the interface's MTU to {mtu.size}"
        )
    agreed = uplink.handoff.mtu if "mtu" in uplink.handoff.model_fields_set else None
    if agreed is not None and mtu.size is not None and mtu.size < agreed:
        yield f"its path carries packets of {mtu.size} bytes, and its handoff says {agreed}: tell the provider"


def _gaps(one: Look, answers: Sequence[Way | Answer | None]) -> Iterator[str]:
    for answer in answers:
        if isinstance(answer, Failed):
            yield f"could not measure: {answer.why}"
        elif isinstance(answer, Mtu) and answer.size is None:
            yield "could not measure the path MTU: its target does not answer"
    if one.public is None and one.samples:
        yield "nobody who is asked for its public address answers through it"
