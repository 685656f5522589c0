"""The programme: a table of steps in order, and the progress of one test, which can be left after any of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final, Self

from wanwatch.core.acceptance.handover import Handover
from wanwatch.core.acceptance.items import About, Item, item_from_json, overall
from wanwatch.core.instants import InstantError, instant_from_text, instant_text
from wanwatch.core.model import NS_PER_S, Json, Measurement

TAKEN_UP_WITHIN_NS: Final = 86_400 * NS_PER_S
"""A test that was left for longer begins anew: its items would belong to another day's line."""


class Step(StrEnum):
    """What is done at once, and done again as a whole where it was interrupted."""

    PIN = "pin"
    ADDRESS = "address"
    GATEWAY = "gateway"
    PORT = "port"
    MTU = "mtu"
    RESOLVERS = "resolvers"
    DELAY = "delay"
    LOSS = "loss"
    SPEED = "speed"
    FAILOVER = "failover"
    HANDOVER = "handover"


PROGRAMME: Final[Mapping[Step, tuple[str, tuple[About, ...]]]] = {
    Step.PIN: ("pin", (About.PIN,)),
    Step.ADDRESS: ("address and translation", (About.ADDRESS,)),
    Step.GATEWAY: ("gateway", (About.GATEWAY,)),
    Step.PORT: ("handoff port", (About.PORT,)),
    Step.MTU: ("path MTU", (About.MTU,)),
    Step.RESOLVERS: ("resolvers", (About.RESOLVER_ANSWERS, About.RESOLVER_REWRITING, About.RESOLVER_VALIDATION)),
    Step.DELAY: ("idle delay", (About.DELAY,)),
    Step.LOSS: ("loss soak", (About.LOSS,)),
    Step.SPEED: ("speed, and delay under load", (About.SPEED_DOWN, About.SPEED_UP, About.LOAD_DOWN, About.LOAD_UP)),
    Step.FAILOVER: ("failover rehearsal", (About.FAILOVER,)),
    Step.HANDOVER: (
        "what was handed over",
        (
            About.CIRCUIT, About.LIGHT, About.LIGHT_BUDGET, About.JOINTS, About.CABLE, About.BEND_RADIUS,
            About.PHOTOGRAPHS,
        ),
    ),
}  # fmt: skip
"""Every step in the order of doing: its name, and what its items can be about."""


@dataclass(frozen=True, slots=True)
class Break:
    """A time in which the test was left.

    Attributes:
        after: The last step that was done before; None where none was.
        stopped_unix_ns: When something was last kept; the command ended some time after it.
        resumed_unix_ns: When it was taken up again.
    """

    after: Step | None
    stopped_unix_ns: int
    resumed_unix_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """One test as far as it has come.

    Attributes:
        started_unix_ns: When it began.
        kept_unix_ns: When something was last added.
        done: The steps that are done, each with its items.
        handover: What the installer handed over so far.
        breaks: When it was left.
    """

    started_unix_ns: int
    kept_unix_ns: int
    done: tuple[tuple[Step, tuple[Item, ...]], ...] = ()
    handover: Handover = field(default_factory=Handover)
    breaks: tuple[Break, ...] = ()

    @property
    def following(self) -> Step | None:
        """The step that is to be done next; None once all are done."""
        done = {step for step, _ in self.done}
        return next((step for step in PROGRAMME if step not in done), None)

    @property
    def finished(self) -> bool:
        """Whether all steps are done."""
        return self.following is None

    @property
    def items(self) -> tuple[Item, ...]:
        """All items so far, in the order of the programme."""
        return tuple(item for _, items in self.done for item in items)

    def after(self, step: Step, items: tuple[Item, ...], now_unix_ns: int) -> Self:
        """Return the progress once *step* is done."""
        return replace(self, done=(*self.done, (step, items)), kept_unix_ns=now_unix_ns)

    def to_json(self) -> dict[str, Json]:
        """Return it as JSON values."""
        return {
            "started": instant_text(self.started_unix_ns),
            "kept": instant_text(self.kept_unix_ns),
            "finished": self.finished,
            "verdict": overall(self.items).value if self.finished else None,
            "steps": [{"step": step.value, "items": [item.to_json() for item in items]} for step, items in self.done],
            "handover": self.handover.to_json(),
            "interruptions": [
                {
                    "after": left.after and left.after.value,
                    "stopped": instant_text(left.stopped_unix_ns),
                    "resumed": instant_text(left.resumed_unix_ns),
                }
                for left in self.breaks
            ],
        }


def progress_of(kept: Measurement) -> Progress | None:
    """Return the test that a measurement holds, its instants to the microsecond; None if it holds none."""
    value = kept.result
    try:
        return Progress(
            started_unix_ns=kept.at_unix_ns,
            kept_unix_ns=_instant(value["kept"]),
            done=tuple(_step(step) for step in _rows(value["steps"])),
            handover=Handover.from_json(value["handover"]),
            breaks=tuple(_break(row) for row in _rows(value["interruptions"])),
        )
    except (KeyError, TypeError, ValueError, InstantError):
        return None


def _rows(value: Json) -> list[dict[str, Json]]:
    return [row for row in value if isinstance(row, dict)] if isinstance(value, list) else []


def _instant(value: Json) -> int:
    return instant_from_text(str(value))


def _step(row: Mapping[str, Json]) -> tuple[Step, tuple[Item, ...]]:
    return Step(str(row["step"])), tuple(item_from_json(item) for item in _rows(row["items"]))


def _break(row: Mapping[str, Json]) -> Break:
    after = row["after"]
    return Break(None if after is None else Step(str(after)), _instant(row["stopped"]), _instant(row["resumed"]))


def resumed(kept: Progress | None, now_unix_ns: int) -> Progress | None:
    """Return a test that was left, taken up again; None where a new one has to begin."""
    if kept is None or kept.finished or not 0 <= now_unix_ns - kept.kept_unix_ns <= TAKEN_UP_WITHIN_NS:
        return None
    after = kept.done[-1][0] if kept.done else None
    return replace(kept, breaks=(*kept.breaks, Break(after, kept.kept_unix_ns, now_unix_ns)), kept_unix_ns=now_unix_ns)
