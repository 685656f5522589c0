"""One way out to the internet, as the file describes it: its pin, how it is handed over, what it promises."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from wanwatch.config.contract import Contract
from wanwatch.config.fields import (
    ONE_OR_MANY,
    Address,
    Duration,
    Interface,
    MonthlySize,
    Resolver,
    SnmpCommunity,
    SnmpPlace,
    SnmpSecret,
    Sources,
    Table,
    Text,
    UplinkName,
    Whole,
    Yes,
    usually,
)
from wanwatch.core.account.goodput import Framing
from wanwatch.core.model import Pin


class PinTable(Table):
    """What forces a probe through this uplink. `interface`, `source`, `mark` and `dscp` may be joined."""

    interface: Interface | None = None
    """Leave by this network interface."""
    source: Sources = ()
    """Leave from this address; a list of two where the uplink has one of IPv4 and one of IPv6."""
    mark: Annotated[Whole, Field(ge=1, le=0xFFFF_FFFF)] | None = None
    """Firewall mark by which this machine routes; needs CAP_NET_ADMIN."""
    dscp: Annotated[Whole, Field(ge=0, le=63)] | None = None
    """Differentiated services code point (RFC 2474) by which the gateway routes."""
    targets: Yes = False
    """True: the gateway itself routes this uplink's targets through this uplink only."""


class Handoff(Table):
    """How the provider hands the line over."""

    link_mbps: Annotated[Whole, Field(gt=0)] | None = None
    """Speed of the port that the line is handed over on, in Mbit/s."""
    mtu: Annotated[Whole, Field(ge=576, le=9216)] = 1500
    """Largest IP packet that the line carries whole, in bytes."""
    encapsulation: Literal["ethernet", "pppoe"] = "ethernet"
    """`ethernet`, or `pppoe` where a session runs over it."""
    vlan: Yes = False
    """True where frames carry a VLAN tag."""

    @property
    def framing(self) -> Framing:
        """What it wraps a byte of TCP payload in, over IPv4 and with timestamps."""
        return Framing(mtu=self.mtu, vlan=self.vlan, pppoe=self.encapsulation == "pppoe")


class CountersTable(Table):
    """Where the gateway counts what the line carries: an interface that its SNMP agent knows."""

    agent: SnmpPlace
    """Address of the agent, with a port if it is not 161."""
    interface: Text
    """The interface towards the line, as the agent calls it (ifName of RFC 2863), such as `wan1`."""
    community: SnmpCommunity = Field(default=None, alias="community_file")
    """File that holds the community, for SNMPv2c; or give `user`."""
    user: Text | None = None
    """The user, for SNMPv3; needs `password_file`."""
    password: SnmpSecret = Field(default=None, alias="password_file")
    """File that holds the user's authentication password; at least eight letters."""
    digest: Literal["sha", "sha256"] = "sha256"
    """How the user is authenticated: `sha256` (RFC 7860), or `sha` for older agents."""
    privacy: SnmpSecret = Field(default=None, alias="privacy_file")
    """File that holds the user's privacy password: what is said is then encrypted (AES, RFC 3826)."""


class Uplink(Table):
    """One way out to the internet. Their order in the file is the order of preference."""

    name: UplinkName
    """The uplink's name in reports, metrics and events."""
    pin_table: PinTable = Field(alias="pin")
    """What forces a probe through this uplink."""
    gateway: Address | None = None
    """Address of the gateway on our side of the line; a rung of the ladder that finds the fault domain."""
    first_hop: Address | None = None
    """Address of the provider's first router beyond the gateway; the next rung."""
    resolvers: tuple[Resolver, ...] = ()
    """The provider's resolvers, each asked over UDP, TCP, TLS or HTTPS as it is written."""
    handoff: Handoff = usually({})
    """How the provider hands the line over."""
    metered: Yes = False
    """True where data is paid for by its amount."""
    data_budget_bytes: MonthlySize | None = Field(default=None, alias="data_budget")
    """The most data that probing may use in a month, such as `2 GB/month`; before it is passed, it becomes sparing."""
    drill_every_ns: Duration | None = Field(default=None, alias="drill_every")
    """How often a failover from this uplink is to be rehearsed, such as `90d`; it is told when a drill is overdue."""
    counters: CountersTable | None = None
    """Where other traffic is counted beside speed tests; if left out, at the pin's own interface, if it has one."""
    contracts: Annotated[tuple[Contract, ...], *ONE_OR_MANY] = Field(default=(), alias="contract")
    """What the provider has promised; a list of tables, `[[uplink.contract]]`, where contracts follow each other."""

    @property
    def contract(self) -> Contract | None:
        """The contract that begins last: what is sold now, for those who know no calendar; None without one."""
        return max(self.contracts, key=lambda contract: contract.starts or date.min, default=None)

    @property
    def pin(self) -> Pin:
        """The pin, as the rooms that send probes know it."""
        table = self.pin_table
        return Pin(
            interface=table.interface,
            sources=table.source,
            mark=table.mark,
            dscp=table.dscp,
            targets=table.targets,
        )
