"""Trials: the troubles that are judged again and again by `verdicts.py`, and what is right to say of each."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from tests.lab.office import COPPER, FIBRE, LAN, NEXT_HOP, TARGETS
from tests.lab.stage import Lab
from tests.lab.watch import Told

Verdict = tuple[str, str, str | None]
"""Kind; the uplink, or from and to; and the domain, or a switch's cause."""
Deed = Callable[[Lab], object]


def script(text: str) -> Deed:
    """Do something to the lab's hosts."""
    return lambda lab: lab.office.world.script(text)


def cut(*lines: str) -> Deed:
    """Cut these lines, one right after the other."""
    return lambda lab: [lab.office.cut(line) for line in lines]


def mend(*lines: str) -> Deed:
    """Make these lines whole."""
    return lambda lab: [lab.office.mend(line) for line in lines]


@dataclass(frozen=True)
class Trial:
    """One sort of trouble, and what is right to say of it.

    Attributes:
        name: Its name.
        harm: Makes the trouble.
        heal: Undoes it.
        right: Everything that is to be told of a round.
        mini_pc_routes: In the office whose mini PC is the gateway.
        then: What the gateway or a person does once the first of these kinds is told, and when all is mended.
        lacks: Keys that the configuration goes without.
        proves: What else has to hold of a round's events.
        quiet_s: How long to wait where nothing is to be told.
        late_s: How much later than the lines themselves their users may have been well again.
    """

    name: str
    harm: Deed
    heal: Deed
    right: frozenset[Verdict]
    mini_pc_routes: bool = False
    then: tuple[str, Deed] | None = None
    home: Deed | None = None
    lacks: tuple[str, ...] = ()
    proves: Callable[[list[Told]], bool] = field(default=lambda _told: True)
    quiet_s: float = 6.0
    late_s: float = 0.0


def _advises(told: list[Told]) -> bool:
    (outage,) = [event for event in told if event["kind"] == "outage"]
    return "gateway" in outage["detail"]["may_be"] and "configure gateway" in outage["detail"]["advice"]


def _rung_says(because: str) -> Callable[[list[Told]], bool]:
    def holds(told: list[Told]) -> bool:
        return [event["detail"]["ladder"][0].get("because") for event in told if event["kind"] == "outage"] == [because]

    return holds


def _at_once(told: list[Told]) -> bool:
    return all(event["detail"]["at_once"] == [COPPER, FIBRE] for event in told if event["kind"] == "outage")


_STUCK: Final = ("stuck-failover", FIBRE, None)
_DARK: Final = (("blackout", f"{FIBRE}>none", "line-down"), ("restoration", f"none>{FIBRE}", None))
_AWAY, _HOME = f"{FIBRE}>{COPPER}", f"{COPPER}>{FIBRE}"
_ADDRESSES: Final = (
    f"ip -n pc route replace default via {NEXT_HOP[FIBRE]} dev fibre0 metric 100\n"
    f"ip -n pc neighbour replace {NEXT_HOP[FIBRE]} lladdr 02:00:00:00:02:02 dev fibre0 nud permanent"
)


def _move(line: str) -> Deed:
    return lambda lab: lab.office.move(line)


TRIALS: Final = (  # the longest first, so that others play beside it
    Trial(
        "failover-line-impaired", lambda lab: lab.office.change(FIBRE, {"loss": 0.4}, ("up",)),
        lambda lab: lab.office.change(FIBRE, {"loss": 0.0}),
        frozenset({("impairment", FIBRE, None), ("failover", _AWAY, "line-impaired"), ("failback", _HOME, "unknown")}),
        then=("impairment", _move(COPPER)), home=_move(FIBRE),
    ),
    Trial(
        "cable-out", script("ip -n wire link set fibre-a down"), script("ip -n wire link set fibre-a up"),
        frozenset({("outage", FIBRE, "our-side"), _STUCK}), mini_pc_routes=True, proves=_rung_says("no-carrier"),
    ),
    Trial(
        "interface-set-down", script("ip -n pc link set fibre0 down"),
        script(f"ip -n pc link set fibre0 up\n{_ADDRESSES}"),
        frozenset({("outage", FIBRE, "our-side"), ("failover", _AWAY, "by-hand"), ("failback", _HOME, "by-hand")}),
        mini_pc_routes=True, proves=_rung_says("set-down"),
    ),
    Trial(
        "gateway-dead", cut(LAN), mend(LAN),
        frozenset({("outage", FIBRE, "gateway"), ("outage", COPPER, "gateway"), *_DARK}),
        late_s=1.1,  # the kernel asks for a lost neighbour once a second (retrans_time_ms, arp(7)); probes wait for it
    ),
    Trial(
        "access-line-dead", cut(FIBRE), mend(FIBRE), frozenset({("outage", FIBRE, "access-line"), _STUCK}),
    ),
    Trial(
        "provider-core-dead", script("ip -n isp1 route add blackhole 192.0.2.0/24"),
        script("ip -n isp1 route del blackhole 192.0.2.0/24"),
        frozenset({("outage", FIBRE, "provider"), _STUCK}),
    ),
    Trial(
        "one-far-end-dead", lambda lab: lab.office.silence(TARGETS[1]),
        script(f"ip -n net route del blackhole {TARGETS[1]}/32\nip -n net address add {TARGETS[1]}/32 dev lo"),
        frozenset(),
    ),
    Trial(
        "names-dead", script("kill -STOP $(ip netns pids isp1)"), script("kill -CONT $(ip netns pids isp1)"),
        frozenset({("names-failure", FIBRE, "names")}),
    ),
    Trial(
        "both-at-once", cut(FIBRE, COPPER), mend(FIBRE, COPPER),
        frozenset({("outage", FIBRE, "our-side"), ("outage", COPPER, "our-side"), *_DARK}), proves=_at_once,
    ),
    Trial(
        "rungs-not-configured", cut(FIBRE), mend(FIBRE), frozenset({("outage", FIBRE, None), _STUCK}),
        lacks=("gateway", "first_hop", "resolvers"), proves=_advises,
    ),
    Trial(
        "failover-line-down", cut(FIBRE), mend(FIBRE),
        frozenset({("outage", FIBRE, "access-line"), ("failover", _AWAY, "line-down"), ("failback", _HOME, "unknown")}),
        then=("outage", _move(COPPER)), home=_move(FIBRE),
    ),
    Trial(
        "needless-failover", _move(COPPER), _move(FIBRE),
        frozenset({("needless-failover", _AWAY, "unknown"), ("failback", _HOME, "unknown")}),
    ),
    Trial(
        "moved-by-hand", _move(COPPER),
        script(f"ip -n pc route del default via {NEXT_HOP[COPPER]} dev copper0 metric 50"),
        frozenset({("needless-failover", _AWAY, "by-hand"), ("failback", _HOME, "by-hand")}), mini_pc_routes=True,
    ),
)  # fmt: skip
"""`access-line-dead` is also the trial of a stuck failover, `gateway-dead` and `both-at-once` those of a blackout and a
restoration."""
