"""What a configuration says of a test: where to, by which pin, and which light probes go beside it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from secrets import token_hex
from typing import Final
from urllib.parse import SplitResult, urljoin, urlsplit

from wanwatch.config import Config
from wanwatch.config.plan import ca_file
from wanwatch.config.schema import Speed
from wanwatch.config.testuse import most_payload
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.speed_result import Direction
from wanwatch.core.model import NS_PER_S, Kind, Pin, Question, Role, Series
from wanwatch.core.wire import stamp
from wanwatch.measure.sockets import families as pin_families
from wanwatch.measure.speed.errors import NoServerError
from wanwatch.measure.speed.job import Job

PROBE_TIMEOUT_NS: Final = 2 * NS_PER_S
_STAMP_EVERY_NS: Final = NS_PER_S // 10
_CONNECT_EVERY_NS: Final = NS_PER_S // 4
_PORTS: Final = {"http": 80, "https": 443}
_TARGET: Final = "speed"


@dataclass(frozen=True, slots=True)
class Place:
    """What a direction runs against.

    Attributes:
        direction: Which way.
        url: The whole URL.
        reflector: Whether it is one of ours.
    """

    direction: Direction
    url: SplitResult
    reflector: bool

    @property
    def host(self) -> str:
        """Its host, name or address."""
        return self.url.hostname or ""

    @property
    def port(self) -> int:
        """Its port."""
        return self.url.port or _PORTS[self.url.scheme]


def settings(config: Config) -> Speed:
    """Return the table of speed tests.

    Raises:
        NoServerError: There is none.
    """
    if config.speed is None:
        raise NoServerError
    return config.speed


def place(speed: Speed, direction: Direction) -> Place:
    """Return where a direction runs: below the server, or at its own URL."""
    if speed.server is not None:
        base = speed.server if speed.server.endswith("/") else f"{speed.server}/"
        return Place(direction, urlsplit(urljoin(base, direction.value)), reflector=True)
    return Place(direction, urlsplit((speed.down if direction is Direction.DOWN else speed.up) or ""), reflector=False)


def families(speed: Speed, uplink: Uplink) -> Sequence[int]:
    """Return the versions of IP to try, IPv6 first: what is asked for, else what the pin has sources of."""
    if speed.family is not None:
        return [speed.family]
    return pin_families(uplink.pin)


def numeric(host: str) -> str | None:
    """Return *host* as an address; None if it is a name."""
    try:
        return str(ip_address(host))
    except ValueError:
        return None


def job(config: Config, uplink: Uplink, at: Place, addresses: Sequence[str], asked: "Asked") -> Job:
    """Return the job of a direction."""
    meant, test = as_asked(settings(config), asked), token_hex(8)
    told = at.reflector and at.direction is Direction.DOWN
    path = (at.url.path or "/") + (f"?{at.url.query}" if at.url.query else "")
    return Job(
        direction=at.direction, pin=uplink.pin, addresses=addresses, port=at.port, host=at.host,
        authority=at.url.netloc.rpartition("@")[2],
        path=path + (f"{'&' if at.url.query else '?'}test={test}" if told else ""),
        account=f"{at.url.path.rpartition('/')[0]}/sent?test={test}" if told else None,
        tls=at.url.scheme == "https", ca_file=ca_file(config),
        token=_token(meant) if at.reflector else None,
        connections=meant.connections, seconds=meant.seconds,
        most_bytes=most_payload(meant, uplink, at.direction),
    )  # fmt: skip


def as_asked(speed: Speed, asked: "Asked") -> Speed:
    """Return the settings with what is asked for otherwise."""
    told = {"seconds": asked.seconds, "connections": asked.connections}
    return speed.model_copy(update={key: value for key, value in told.items() if value is not None})


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked for otherwise than configured.

    Attributes:
        directions: Which ones, in their order.
        seconds: How long to measure; None: as configured.
        connections: How many; None: as configured.
    """

    directions: Sequence[Direction] = tuple(Direction)
    seconds: int | None = None
    connections: int | None = None


AS_CONFIGURED: Final = Asked()


def probes(config: Config, uplink: Uplink, at: Place, address: str) -> Iterator[Question]:
    """Yield the light probes beside a test: connections to the very server, and STAMP where it is a reflector.

    A reflector is asked for a page of a few bytes as well; of another server nobody knows how much a request would
    fetch, and behind a name each request would ask the resolvers.
    """
    pin = uplink.pin
    if at.reflector and numeric(at.host):
        page = at.url._replace(path=at.url.path.rpartition("/")[0] + "/address").geturl()
        more = {"token": _token(settings(config)), "ca_file": ca_file(config)}
        yield _probe(uplink.name, pin, Kind.HTTP, page, None, **more)
    else:
        yield _probe(uplink.name, pin, Kind.TCP, address, at.port)
    if at.reflector:
        key = next((target.key for target in config.targets if target.stamp and target.address == address), None)
        yield _probe(uplink.name, pin, Kind.STAMP, address, stamp.PORT, stamp_key=key)


def _token(speed: Speed) -> str | None:
    return speed.token.get_secret_value() if speed.token else None


def _probe(uplink: str, pin: Pin, kind: Kind, address: str, port: int | None, **more: object) -> Question:
    every_ns = _STAMP_EVERY_NS if kind is Kind.STAMP else _CONNECT_EVERY_NS
    series = Series(uplink, _TARGET, kind, Role.LINE)
    return Question(series, pin, address, port, every_ns, every_ns, PROBE_TIMEOUT_NS, **more)  # type: ignore[arg-type]
