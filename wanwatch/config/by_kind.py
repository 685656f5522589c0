"""What ordinary traffic is asked by kind: do names resolve, do new connections open, does an open one live on.

Each kind is asked once a second. Other people's resolvers and hosts get no more than that in trouble either; the held
connection is one's own reflector's, and is asked at the pulse then.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from typing import Final

from wanwatch.config.places import Endpoint, resolver
from wanwatch.config.schema import Config, Names, Target
from wanwatch.core.model import NS_PER_S, UNPINNED, Kind, Pin, Question, Role, Series
from wanwatch.core.resolver import Transport

POLITE_NS: Final = NS_PER_S
TIMEOUT_NS: Final = 2 * NS_PER_S
SPARE_FACTOR: Final = 10
"""Whatever is metered may come to carry: as much more sparely everything is asked while all is well."""
_LIGHT: Final = frozenset({Kind.ECHO, Kind.STAMP})


def by_kind(config: Config, reachable: Sequence[Target]) -> Iterator[Question]:
    """Return the questions; *reachable* are the targets that ordinary traffic can reach."""
    spare = SPARE_FACTOR if any(uplink.metered for uplink in config.uplinks) else 1
    yield from _names(config, spare)
    yield from _connect(config, reachable, spare)
    if (held := config.carrying.held) is not None:
        pulse_ns = min(POLITE_NS, config.carrying.pulse_ns)
        yield _question(Kind.HELD, str(held), held, (spare * POLITE_NS, pulse_ns, TIMEOUT_NS))


def _names(config: Config, spare: int) -> Iterator[Question]:
    if config.names is None:
        return
    asked = list(product(_resolvers(config), config.names.ask))
    turn_ns = len(asked) * _polite(config.names)
    for written, name in asked:
        server = resolver(written)
        yield Question(
            Series(UNPINNED, written, Kind.DNS, Role.TRAFFIC),
            Pin(),
            address=server.address,
            port=server.port,
            every_ns=spare * turn_ns,
            pulse_ns=turn_ns,
            timeout_ns=config.names.timeout_ns,
            ask=name,
            resolver=server,
        )


def _polite(names: Names) -> int:
    """Who asks more often than once a second through each line has servers that bear it."""
    return min(POLITE_NS, names.every_ns)


def _resolvers(config: Config) -> Iterable[str]:
    """What is secured costs several thousand bytes a question: it is asked each second by those who say so only."""
    if config.carrying.names is not None:
        return dict.fromkeys(config.carrying.names)
    each = (written for uplink in config.uplinks if not uplink.pin.targets for written in uplink.resolvers)
    return dict.fromkeys(written for written in each if resolver(written).transport is Transport.UDP)


def _connect(config: Config, reachable: Sequence[Target], spare: int) -> Iterator[Question]:
    if (places := config.carrying.connect) is not None:
        turn_ns = len(places) * POLITE_NS
        for place in dict.fromkeys(places):
            yield _question(Kind.TCP, str(place), place, (spare * turn_ns, turn_ns, TIMEOUT_NS))
        return
    target = next((target for target in reachable if target.kind is Kind.TCP), None)
    # Where there is nothing lighter to ask, the path itself is timed by new connections already.
    if target is not None and target.endpoint is not None and any(t.kind in _LIGHT for t in reachable):
        turn_ns = max(POLITE_NS, target.every_ns)
        yield _question(Kind.TCP, target.name, target.endpoint, (spare * turn_ns, turn_ns, target.timeout_ns))


def _question(kind: Kind, name: str, place: Endpoint, pace: tuple[int, int, int]) -> Question:
    every_ns, pulse_ns, timeout_ns = pace
    return Question(
        Series(UNPINNED, name, kind, Role.TRAFFIC),
        Pin(),
        address=place.address,
        port=place.port,
        every_ns=every_ns,
        pulse_ns=min(pulse_ns, every_ns),
        timeout_ns=timeout_ns,
    )
