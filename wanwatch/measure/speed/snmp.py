"""An interface's counters, asked of the gateway's SNMP agent.

Sources: RFC 2863 (IF-MIB: ifName, ifHCInOctets, ifHCOutOctets, ifHighSpeed); RFC 3414 and RFC 7860 (user-based
         security, SHA-1 and SHA-256); RFC 3826 (AES); RFC 1901 (community).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from wanwatch.config.uplink import CountersTable
from wanwatch.core.account.beside import Reading
from wanwatch.core.errors import WanwatchError
from wanwatch.core.ports import Clock

_IF_X: Final = "1.3.6.1.2.1.31.1.1.1"
_NAME, _IN, _OUT, _HIGH_SPEED = f"{_IF_X}.1", f"{_IF_X}.6", f"{_IF_X}.10", f"{_IF_X}.15"
_TIMEOUT_S, _RETRIES = 1.0, 1
_MOST_INTERFACES: Final = 1_000
_V6: Final = ":"


class SnmpError(WanwatchError):
    """The agent gave no counters."""

    def __init__(self, table: CountersTable, why: str) -> None:
        super().__init__(
            f"counters of {table.interface!r} from {table.agent}: {why}; check uplink.counters and the agent's access"
        )


@dataclass(slots=True)
class SnmpCounters:
    """Reads one interface's counters.

    Args:
        table: Whom to ask, and for which interface.
        clock: Where time comes from.
    """

    table: CountersTable
    clock: Clock
    every_s: float = 1.0
    look_s: float = 10.0  # agents tell the same counters for some seconds; one was measured to for three
    own_bps: int | None = None
    _index: str | None = None
    _engine: Any = field(default=None)

    async def read(self) -> Reading:
        """Return the counters now; also learn the interface's own rate, `own_bps`, the first time.

        Raises:
            SnmpError: The agent does not answer, refuses, or has no such interface.
        """
        if self._index is None:
            self._index = await self._find()
            (mbps,) = await self._get(_HIGH_SPEED)
            self.own_bps = mbps * 10**6 or None
        down, up = await self._get(_IN, _OUT)
        return Reading(self.clock.now_ns(), down, up)

    def close(self) -> None:
        """Let go of the sockets."""
        if self._engine is not None:
            self._engine.close_dispatcher()
            self._engine = None

    async def _find(self) -> str:
        """Return the index of the interface: a name may be anywhere in the agent's table."""
        at = _NAME
        for _ in range(_MOST_INTERFACES):
            ((oid, value),) = await self._ask("next_cmd", [at])
            if not oid.startswith(f"{_NAME}."):
                break
            if value.prettyPrint() == self.table.interface:
                return oid.removeprefix(f"{_NAME}.")
            at = oid
        raise SnmpError(self.table, "it has no interface of that name")

    async def _get(self, *columns: str) -> list[int]:
        answers = await self._ask("get_cmd", [f"{column}.{self._index}" for column in columns])
        try:
            return [int(value) for _, value in answers]
        except (TypeError, ValueError) as error:
            raise SnmpError(self.table, "it does not count 64 bits wide") from error

    async def _ask(self, command: str, oids: Sequence[str]) -> list[tuple[str, Any]]:
        # The extra `snmp`, and 24 MB: loaded only where a configuration asks for it.
        try:
            from pysnmp.error import PySnmpError  # noqa: PLC0415
            from pysnmp.hlapi.v3arch import asyncio as api  # noqa: PLC0415
        except ImportError as error:
            raise SnmpError(self.table, "the extra is not installed: pip install 'wanwatch[snmp]'") from error

        self._engine = self._engine or api.SnmpEngine()
        kind = api.Udp6TransportTarget if _V6 in self.table.agent.address else api.UdpTransportTarget
        try:
            target = await kind.create(tuple(self.table.agent), timeout=_TIMEOUT_S, retries=_RETRIES)
            wanted = [api.ObjectType(api.ObjectIdentity(oid)) for oid in oids]
            trouble, status, _, rows = await getattr(api, command)(
                self._engine, self._who(api), target, api.ContextData(), *wanted, lookupMib=False
            )
        except (PySnmpError, OSError) as error:
            raise SnmpError(self.table, str(error)) from error
        if trouble or status:
            raise SnmpError(self.table, str(trouble or status.prettyPrint()))
        return [(str(oid), value) for oid, value in rows]

    def _who(self, api: Any) -> Any:
        table = self.table
        if table.user is None:
            return api.CommunityData(table.community.get_secret_value() if table.community else "")
        digests = {"sha": api.usmHMACSHAAuthProtocol, "sha256": api.usmHMAC192SHA256AuthProtocol}
        secrets = {
            "authKey": table.password and table.password.get_secret_value(),
            "privKey": table.privacy and table.privacy.get_secret_value(),
        }
        ways = {"authProtocol": digests[table.digest]}
        if table.privacy is not None:
            ways["privProtocol"] = api.usmAesCfb128Protocol
        return api.UsmUserData(table.user, **secrets, **ways)
