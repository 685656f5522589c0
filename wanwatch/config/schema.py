"""The configuration as values: every table of the file, every key with its meaning and default."""

from datetime import tzinfo
from typing import Annotated, Final, Literal, TypeAlias
from zoneinfo import ZoneInfo

from pydantic import Field

from wanwatch.config.fields import (
    Address,
    AddressToken,
    AddressUrl,
    AnyUrl,
    CaFile,
    DataDir,
    Day,
    DayHours,
    Duration,
    Every,
    HostName,
    HttpsUrl,
    HttpUrl,
    Locale,
    Rate,
    Resolver,
    Share,
    Size,
    SpeedToken,
    StampKey,
    StampPlace,
    StunPlace,
    Table,
    TcpPlace,
    Text,
    Whole,
    Zone,
    usually,
)
from wanwatch.config.listen import Listen
from wanwatch.config.noticing import Notice
from wanwatch.config.places import Endpoint, resolver
from wanwatch.config.remote_write import RemoteWrite
from wanwatch.config.reporting import Report
from wanwatch.config.sending import Ping, Smtp
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.voice import CODECS, USUAL_CODEC
from wanwatch.core.account.working import WorkingTime
from wanwatch.core.model import JudgeSettings, Kind

WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Weekday: TypeAlias = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


class Site(Table):
    """The office."""

    name: Text
    """The site's name in reports, metrics and events."""
    timezone: Zone = "UTC"
    """Time zone that cuts the months and in which times are printed, by its name in the IANA database."""
    locale: Locale | None = None
    """How reports write numbers, dates and times, such as `en-GB` or `de-CH` (CLDR); words stay English."""
    data_dir: DataDir
    """Folder of the record. A relative path starts from the folder of the configuration file."""
    keep_raw_ns: Duration = usually("100d", alias="keep_raw")
    """How long every single round-trip time is kept, with 32d or more for promises of delay; counts and percentiles of
    minutes stay longer.
    """
    working_hours: DayHours = usually("00:00-24:00")
    """Hours of a working day, such as `08:00-18:00`, for clauses that count them, and for reports."""
    working_days: tuple[Weekday, ...] = usually(["mon", "tue", "wed", "thu", "fri"])
    """Days of the week that are worked."""
    holidays: tuple[Day, ...] = ()
    """Days that are not worked whatever day of the week they are, such as `[2026-12-25, 2026-12-28]`."""
    authorities: CaFile | None = None
    """File of certificate authorities (PEM) trusted beside the system's own: by resolvers over TLS, and by pages."""
    drill_needs_bps: Rate | None = Field(default=None, alias="drill_needs")
    """The speed that the office needs of a line that takes over, such as `20Mbps`; a drill asks whether it is there."""

    @property
    def zone(self) -> tzinfo:
        """The time zone itself."""
        return ZoneInfo(self.timezone)

    @property
    def working(self) -> WorkingTime:
        """Its working time."""
        weekdays = frozenset(WEEKDAYS.index(day) for day in self.working_days)
        return WorkingTime(hours_min=self.working_hours, weekdays=weekdays, holidays=frozenset(self.holidays))


class Target(Table):
    """Something far away that is asked through the uplinks. Exactly one of `echo` to `dns` says how."""

    name: Text
    """The target's name in reports, metrics and clauses."""
    echo: Address | None = None
    """Ask by ICMP echo: an address."""
    stamp: StampPlace | None = None
    """Ask by STAMP (RFC 8762): an address, with a port if it is not 862."""
    stamp_key: StampKey = Field(default=None, alias="stamp_key_file")
    """With `stamp`: file that holds the key shared with the reflector; packets are then authenticated."""
    tcp: TcpPlace | None = None
    """Ask by a TCP connection: an address and a port."""
    http: HttpUrl | None = None
    """Ask by fetching this http URL."""
    https: HttpsUrl | None = None
    """Ask by fetching this https URL."""
    dns: Resolver | None = None
    """Ask by a DNS question to this server, written as a resolver. Needs `ask`."""
    ask: HostName | None = None
    """With `dns`: the name whose address is asked for."""
    expect: Annotated[Whole, Field(ge=200, le=399)] | None = None
    """With `http` or `https`: the one status that belongs there, such as 204; another tells of a portal on the way."""
    family: Literal[4, 6] | None = None
    """With `http` or `https` and a host name: ask over this version of IP only; both are tried if left out."""
    every_ns: Duration = usually("1s", alias="every")
    """Interval between questions."""
    timeout_ns: Duration = usually("2s", alias="timeout")
    """Waiting time after which a question counts as lost; at most a minute."""
    uplinks: tuple[Text, ...] = ()
    """Names of the uplinks that it is asked through; if left out, all that have an address of its family."""

    @property
    def kind(self) -> Kind:
        """How it is asked; https is `Kind.HTTP` too."""
        given = {Kind.ECHO: self.echo, Kind.STAMP: self.stamp, Kind.TCP: self.tcp, Kind.DNS: self.dns}
        return next((kind for kind, place in given.items() if place is not None), Kind.HTTP)

    @property
    def endpoint(self) -> Endpoint | None:
        """Address and port; the port is 0 for echo. None where it is a URL."""
        if self.echo is not None:
            return Endpoint(self.echo, 0)
        if self.dns is not None:
            server = resolver(self.dns)
            return Endpoint(server.address, server.port)
        return self.stamp or self.tcp

    @property
    def address(self) -> str:
        """The address, or the whole URL."""
        return self.endpoint.address if self.endpoint else self.http or self.https or ""

    @property
    def key(self) -> bytes | None:
        """The key of STAMP's authenticated mode."""
        return self.stamp_key.get_secret_value().encode() if self.stamp_key else None

    @property
    def port(self) -> int | None:
        """UDP or TCP port; None where the kind or the URL says."""
        return self.endpoint.port or None if self.endpoint else None


class Names(Table):
    """Whether names resolve: questions to each uplink's resolvers, through that uplink."""

    ask: tuple[HostName, ...] = Field(min_length=1)
    """Names to ask for."""
    every_ns: Duration = usually("10s", alias="every")
    """Interval between questions to one resolver."""
    timeout_ns: Duration = usually("2s", alias="timeout")
    """Waiting time after which a question counts as lost."""
    inspect_every_ns: Duration = usually("10m", alias="inspect_every")
    """Interval between inspections of the resolvers: do they agree, rewrite, validate; at least 1m."""
    own_zone: HostName | None = None
    """A zone of your own without a wildcard: random names in it must not exist, which `invalid` alone leaves open."""
    signed: HostName | None = None
    """A name with a sound DNSSEC signature. Together with `broken`, it shows whether a resolver validates."""
    broken: HostName | None = None
    """A name whose DNSSEC signature is broken on purpose, so that it must not resolve."""


class Judge(Table):
    """The rules' numbers."""

    down_after_ns: Duration = usually("5s", alias="down_after")
    """An uplink is down once every target has been silent for so long."""
    up_after_ns: Duration = usually("30s", alias="up_after")
    """It is up again once a majority has answered for so long."""
    impaired_loss: Share = usually("3%")
    """It is impaired where so much is lost within the window."""
    impaired_delay_ns: Duration = usually("50ms", alias="impaired_delay")
    """It is impaired where the 95th percentile of delay is so far above the line's own usual."""
    impaired_speed: Share = usually("50%")
    """It is impaired where speed tests carry less than this share of the contract's speed, or else of the usual."""
    window_ns: Duration = usually("60s", alias="window")
    """The window that impairment is judged over."""
    clear_after_ns: Duration = usually("5m", alias="clear_after")
    """It is well again once no window was bad for so long, and less than half of `impaired_loss` was lost."""
    stuck_after_ns: Duration = usually("30s", alias="stuck_after")
    """A failover is stuck where traffic has stayed on a down line for so long while another was up."""
    flapping_changes: Annotated[Whole, Field(ge=2)] = 4
    """A line flaps that went down or came up so often within `flapping_within`; so does traffic that moved so often."""
    flapping_within_ns: Duration = usually("10m", alias="flapping_within")
    """How far back changes are counted; flapping is over when nothing has changed for so long."""

    def settings(self) -> JudgeSettings:
        """The same numbers, as the judge takes them."""
        return JudgeSettings(
            down_after_ns=self.down_after_ns,
            up_after_ns=self.up_after_ns,
            impaired_loss_ratio=float(self.impaired_loss),
            impaired_delay_ns=self.impaired_delay_ns,
            impaired_speed_ratio=float(self.impaired_speed),
            window_ns=self.window_ns,
            clear_after_ns=self.clear_after_ns,
            stuck_after_ns=self.stuck_after_ns,
            flapping_changes=self.flapping_changes,
            flapping_within_ns=self.flapping_within_ns,
        )


class Voice(Table):
    """How calls over a line are rated (ITU-T G.107)."""

    codec: Literal[tuple(CODECS)] = USUAL_CODEC  # type: ignore[valid-type]  # the names of the table
    """The codec: `g711`, `g711-plc` (with loss concealment) or `g729a`."""


class Carrying(Table):
    """Which uplink ordinary traffic takes, and how long a switch cuts people off."""

    stun: tuple[StunPlace, ...] = ()
    """STUN servers (RFC 8489): the addresses they see from each uplink and from ordinary traffic are compared."""
    address_url: AddressUrl | None = None
    """Page that tells who asks by which address, such as a reflector's; pins are proved by it where STUN is silent."""
    address_token: AddressToken = Field(default=None, alias="address_token_file")
    """With `address_url`: file that holds the token to show there as Bearer."""
    names: tuple[Resolver, ...] | None = None
    """Resolvers that ordinary traffic asks; default: those of the uplinks that are asked over UDP. `[]`: none."""
    connect: tuple[TcpPlace, ...] | None = None
    """To where ordinary traffic opens new connections; default: the first TCP target. `[]`: nowhere."""
    held: TcpPlace | None = None
    """A reflector's echo port: ordinary traffic holds one connection open to it, and does it survive a switch?"""
    every_ns: Duration = usually("5s", alias="every")
    """Interval between those comparisons."""
    pulse_ns: Duration = usually("200ms", alias="pulse")
    """Interval of the quick probing that times outages and interruptions; at least 10ms."""
    prove_every_ns: Duration = usually("10m", alias="prove_every")
    """Interval between proofs of the pins; they are proved after every change besides. At least 5s."""


class Speed(Table):
    """Speed tests."""

    server: AnyUrl | None = None
    """URL of a reflector; or give `down` and `up`."""
    down: AnyUrl | None = None
    """URL to download from."""
    up: AnyUrl | None = None
    """URL to upload to."""
    token: SpeedToken = Field(default=None, alias="token_file")
    """File that holds the reflector's token; or WANWATCH_SPEED_TOKEN in the environment."""
    at: Every | None = None
    """When to test by itself: such as `every 2h jitter 20m`, up to 20 minutes late; only on demand if left out."""
    seconds: Annotated[Whole, Field(ge=1, le=60)] = 10
    """How long one test measures in each direction, in seconds; warming up takes up to three more."""
    connections: Annotated[Whole, Field(ge=1, le=16)] = 4
    """How many TCP connections carry a test at once."""
    family: Literal[4, 6] | None = None
    """With a host name: test over this version of IP only; both are tried if left out."""
    most_bytes: Size = usually("5 GB", alias="most")
    """The most data that one test may move in each direction; a test that reaches it ends early."""
    wait_ns: Duration = usually("10m", alias="wait")
    """How long a test by itself waits while something holds it off; then it is skipped, and that is told."""
    busy: Share = usually("5%")
    """A line is busy that carries more than this share of what is sold, or of its port's rate, besides a test."""


class Config(Table):
    """The whole file."""

    site: Site
    """The office."""
    uplinks: tuple[Uplink, ...] = Field(min_length=1, alias="uplink")
    """The ways out to the internet, in order of preference."""
    targets: tuple[Target, ...] = Field(min_length=1, alias="target")
    """What is asked through them."""
    names: Names | None = None
    """Whether names resolve; not watched if left out."""
    judge: Judge = usually({})
    """The rules' numbers."""
    carrying: Carrying = usually({})
    """Which uplink ordinary traffic takes."""
    voice: Voice = usually({})
    """How calls over a line are rated."""
    speed: Speed | None = None
    """Speed tests."""
    report: Report = usually({})
    """How reports reckon, and which are written by themselves."""
    listen: Listen = usually({})
    """Where the status page, the JSON API and /metrics are served."""
    notices: tuple[Notice, ...] = Field(default=(), alias="notice")
    """Whom to tell of what."""
    smtp: Smtp | None = None
    """The mail server that notices leave by."""
    ping: Ping | None = None
    """A sign of life, sent to whoever tells people when none comes any more."""
    remote_writes: tuple[RemoteWrite, ...] = Field(default=(), alias="remote_write")
    """To where the record is sent by Prometheus remote write."""
