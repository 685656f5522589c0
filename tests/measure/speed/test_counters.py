"""Counters of an interface: this machine's own, and those of a real SNMP agent, over both versions of the protocol."""

import asyncio
import shutil
import socket
import subprocess
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from wanwatch.clock import RealClock
from wanwatch.config import load
from wanwatch.config.uplink import Uplink
from wanwatch.measure.speed.counters import LocalCounters, busy_now, counters
from wanwatch.measure.speed.snmp import SnmpCounters, SnmpError

AGENT = """
agentAddress udp:127.0.0.1:{port}
rocommunity harbour 127.0.0.1
createUser reader SHA-256 "a long password" AES "another password"
createUser older SHA "a long password"
rouser reader authpriv
rouser older authnopriv
"""
MODULES = "ifTable,ifXTable,usmConf,usmUser,vacm_conf,vacm_context,vacm_vars,snmp_mib,system_mib"


@pytest.fixture
async def agent(tmp_path: Path) -> AsyncIterator[int]:
    """A real agent on loopback."""
    program = shutil.which("snmpd", path="/usr/sbin:/usr/bin")
    if program is None:
        pytest.skip("needs snmpd")
    with socket.socket(type=socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
    (tmp_path / "agent.conf").write_text(AGENT.format(port=port))
    words = ("-f", "-C", "-c", str(tmp_path / "agent.conf"), "-Lf", str(tmp_path / "log"), "-I", MODULES)
    process = await asyncio.create_subprocess_exec(
        program, *words, env={"SNMP_PERSISTENT_DIR": str(tmp_path / "kept")}, stderr=subprocess.DEVNULL
    )
    yield port
    process.kill()
    await process.wait()


@pytest.fixture
async def counted() -> int:
    """What loopback had carried before there was an agent."""
    return (await LocalCounters("lo", RealClock()).read()).down


def uplink(folder: Path, counting: str, pin: str = '{ source = "127.0.0.1" }') -> Uplink:
    for name, secret in {"c": "harbour", "wrong": "haven", "p": "a long password", "x": "another password"}.items():
        (folder / name).write_text(secret)
    path = folder / "wanwatch.toml"
    path.write_text(
        f'[site]\nname = "harbour-lane"\ndata_dir = "data"\n[[uplink]]\nname = "fibre"\npin = {pin}\n'
        f'handoff = {{ link_mbps = 1000 }}\n{counting}\n[[target]]\nname = "near"\necho = "127.0.0.1"\n'
    )
    return load(path, {}).uplinks[0]


async def read(source: SnmpCounters) -> int:
    """Read once the agent is up."""
    for _ in range(20):
        try:
            return (await source.read()).down
        except SnmpError as error:
            if "timeout" not in str(error):
                raise
    raise AssertionError


@pytest.mark.parametrize(
    "who",
    [
        'community_file = "c"',
        'user = "reader"\npassword_file = "p"\nprivacy_file = "x"',
        'user = "older"\npassword_file = "p"\ndigest = "sha"',
    ],
    ids=["v2c", "v3 with SHA-256 and AES", "v3 with SHA alone"],
)
async def test_an_agent_tells_what_the_kernel_counts(tmp_path: Path, counted: int, agent: int, who: str) -> None:
    """RFC 2863: ifHCInOctets of the interface of that ifName; loopback only grows, so it lies between two looks.

    The first look is before the agent began: an agent may tell what it read then.
    """
    line = uplink(tmp_path, f'[uplink.counters]\nagent = "127.0.0.1:{agent}"\ninterface = "lo"\n{who}\n')
    source = counters(line, RealClock())
    assert isinstance(source, SnmpCounters)
    try:
        told = await read(source)
    finally:
        source.close()
    after = (await LocalCounters("lo", RealClock()).read()).down
    assert counted <= told <= after


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ('interface = "wan7"\ncommunity_file = "c"', "it has no interface of that name"),
        ('interface = "lo"\nuser = "nobody"\npassword_file = "p"', "nknown"),  # RFC 3414 section 3.2: unknownUserName
    ],
)
async def test_an_agent_that_has_nothing_for_us_is_an_error_that_says_so(
    tmp_path: Path, agent: int, words: str, said: str
) -> None:
    """The message names the agent and the interface, and none of the secrets."""
    line = uplink(tmp_path, f'[uplink.counters]\nagent = "127.0.0.1:{agent}"\n{words}\n')
    source = counters(line, RealClock())
    assert isinstance(source, SnmpCounters)
    with pytest.raises(SnmpError) as raised:
        await read(source)
    source.close()
    assert said in str(raised.value)
    assert f"127.0.0.1:{agent}" in str(raised.value)
    assert "harbour" not in str(raised.value)
    assert "password" not in str(raised.value)


async def test_where_nothing_is_counted_no_line_is_busy(tmp_path: Path) -> None:
    """A pin by source has no interface of its own, and the machine's port carries everything."""
    line = uplink(tmp_path, "")
    assert counters(line, RealClock()) is None
    assert not await busy_now(line, 0.05, RealClock())
    assert isinstance(counters(uplink(tmp_path, "", '{ interface = "lo" }'), RealClock()), LocalCounters)
