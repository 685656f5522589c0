"""Items: what an acceptance test looks at, one by one, and what it says of each."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from wanwatch.core.model import Json


class Verdict(StrEnum):
    """What is said of an item; what was not measured, or has no limit that it could be held to, is not decided."""

    PASS = "pass"  # noqa: S105 - a verdict, not a word to get in by
    FAIL = "fail"
    NOT_DECIDED = "not-decided"


class About(StrEnum):
    """What an item is about, in the order in which a certificate lists them."""

    PIN = "pin"
    ADDRESS = "address"
    GATEWAY = "gateway"
    PORT = "port"
    MTU = "mtu"
    RESOLVER_ANSWERS = "resolver-answers"
    RESOLVER_REWRITING = "resolver-rewriting"
    RESOLVER_VALIDATION = "resolver-validation"
    DELAY = "delay"
    LOSS = "loss"
    SPEED_DOWN = "speed-down"
    SPEED_UP = "speed-up"
    LOAD_DOWN = "load-down"
    LOAD_UP = "load-up"
    FAILOVER = "failover"
    CIRCUIT = "circuit"
    LIGHT = "light"
    LIGHT_BUDGET = "light-budget"
    JOINTS = "joints"
    CABLE = "cable"
    BEND_RADIUS = "bend-radius"
    PHOTOGRAPHS = "photographs"


TITLES: Final[Mapping[About, str]] = {
    About.PIN: "Probes leave by this line",
    About.ADDRESS: "Address and translation",
    About.GATEWAY: "Gateway answers",
    About.PORT: "Handoff port",
    About.MTU: "Path MTU",
    About.RESOLVER_ANSWERS: "Resolver answers",
    About.RESOLVER_REWRITING: "Resolver leaves names alone",
    About.RESOLVER_VALIDATION: "Resolver validates",
    About.DELAY: "Delay, idle",
    About.LOSS: "Loss",
    About.SPEED_DOWN: "Speed down",
    About.SPEED_UP: "Speed up",
    About.LOAD_DOWN: "Delay while downloading",
    About.LOAD_UP: "Delay while uploading",
    About.FAILOVER: "Failover rehearsed",
    About.CIRCUIT: "Circuit reference",
    About.LIGHT: "Light at the terminal",
    About.LIGHT_BUDGET: "Light budget",
    About.JOINTS: "Splices and connectors",
    About.CABLE: "Cable",
    About.BEND_RADIUS: "Bend radius",
    About.PHOTOGRAPHS: "Photographs",
}

METHODS: Final[Mapping[About, str]] = {
    About.PIN: "Public address seen by servers and first routers, compared with those of the other lines.",
    About.ADDRESS: "Own address, public address seen from outside (RFC 8489 or a page), first routers.",
    About.GATEWAY: "Echo requests (RFC 792, RFC 4443).",
    About.PORT: "Read from the kernel of the measuring machine where the line ends there, else by hand.",
    About.MTU: "Echo requests that must not be cut up, searched for the largest that passes (RFC 1191, RFC 8201).",
    About.RESOLVER_ANSWERS: "Three rounds of questions over the line (RFC 1035).",
    About.RESOLVER_REWRITING: "Random names that cannot exist (RFC 6761 section 6.4).",
    About.RESOLVER_VALIDATION: "A signed name, and one whose signature is broken (RFC 4035, RFC 6840).",
    About.DELAY: "Probes to each target while no test of this program fills the line; percentile by NIST 7.2.6.2.",
    About.LOSS: "Probes at the usual interval (RFC 7680, RFC 6673); exact binomial test at 95 %.",
    About.SPEED_DOWN: "TCP payload over several connections, after warming up (RFC 6349).",
    About.SPEED_UP: "TCP payload over several connections, after warming up (RFC 6349).",
    About.LOAD_DOWN: "95th percentile of light probes during the speed tests.",
    About.LOAD_UP: "95th percentile of light probes during the speed tests.",
    About.FAILOVER: "A plug was pulled on purpose, and traffic watched.",
    About.CIRCUIT: "Handed over.",
    About.LIGHT: "Power meter, handed over.",
    About.LIGHT_BUDGET: "Reckoned from what was handed over.",
    About.JOINTS: "Counted, handed over.",
    About.CABLE: "Handed over.",
    About.BEND_RADIUS: "Measured with a gauge, handed over.",
    About.PHOTOGRAPHS: "Handed over; kept by name, size and SHA-256.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One item and what is said of it.

    Attributes:
        about: What it is about.
        of: Of which resolver, target or family, where there may be several; empty otherwise.
        verdict: What is said of it.
        value: What was found, in words.
        limit: What it was held to, in words; empty where nothing is asked of it.
        source: Who sets that limit.
        reason: Why the verdict is what it is, where limit and value do not say so by themselves.
        figure: The value as a number in base units, where it is one that two tests can be compared by.
        values: All figures by name, units in the names.
    """

    about: About
    verdict: Verdict
    value: str
    of: str = ""
    limit: str = ""
    source: str = ""
    reason: str = ""
    figure: float | None = None
    values: Mapping[str, Json] = field(default_factory=dict)

    @property
    def key(self) -> tuple[About, str]:
        """What it shares with the same item of another test."""
        return self.about, self.of

    @property
    def title(self) -> str:
        """What it is about, in words, without what it is of."""
        return TITLES[self.about]

    @property
    def method(self) -> str:
        """How it was found, in words."""
        return METHODS[self.about]

    def to_json(self) -> dict[str, Json]:
        """Return it as JSON values."""
        return {
            "about": self.about.value, "of": self.of, "title": self.title, "verdict": self.verdict.value,
            "value": self.value, "limit": self.limit, "source": self.source, "method": self.method,
            "reason": self.reason, "figure": self.figure, "values": dict(self.values),
        }  # fmt: skip


def item_from_json(value: Json) -> Item:
    """Return what `Item.to_json` gave.

    Raises:
        ValueError: It cannot have given this.
    """
    if not isinstance(value, dict) or not isinstance(values := value.get("values"), dict):
        raise _not_ours(value)
    figure = value.get("figure")
    words = {name: str(value.get(name, "")) for name in ("value", "of", "limit", "source", "reason")}
    return Item(
        about=About(str(value.get("about"))), verdict=Verdict(str(value.get("verdict"))), values=values,
        figure=float(figure) if isinstance(figure, int | float) else None, **words,
    )  # fmt: skip


def _not_ours(value: Json) -> ValueError:
    return ValueError(f"no item: {str(value)[:80]}")


def overall(items: Iterable[Item]) -> Verdict:
    """Return the verdict on a whole test: one failed item fails it, and without items nothing is decided."""
    said = {item.verdict for item in items}
    if Verdict.FAIL in said:
        return Verdict.FAIL
    return Verdict.PASS if said == {Verdict.PASS} else Verdict.NOT_DECIDED
