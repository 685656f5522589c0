"""Pins, causes and witnesses on real interfaces: one host with two lines, in namespaces.

Only the second line leads to 192.0.2.2 and 2001:db8:ff::2, so an answer from there proves the path. What is not pinned
takes the first line, whose far end knows no way there and says so.
"""

import itertools
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.lab.enclosure import Enclosure, LabError
from tests.lab.python import PYTHON, environment

pytestmark = pytest.mark.lab

BUILD = r"""
for host in here first second; do
  ip netns add $host
  ip -n $host link set lo up
  ip netns exec $host sysctl -qw net.ipv6.conf.all.accept_dad=0 net.ipv6.conf.default.accept_dad=0 \
    net.ipv6.conf.default.keep_addr_on_down=1
done
line() {
  ip -n here link add $1 type veth peer name far netns $2
  ip -n here addr add 10.$3.0.1/24 dev $1
  ip -n here addr add 2001:db8:$3::1/64 dev $1 nodad
  ip -n $2 addr add 10.$3.0.2/24 dev far
  ip -n $2 addr add 2001:db8:$3::2/64 dev far nodad
  ip -n here link set $1 up
  ip -n $2 link set far up
}
line one first 1
line two second 2
ip netns exec first sysctl -qw net.ipv4.icmp_ratemask=0 net.ipv6.icmp.ratelimit=0
ip netns exec first nft '
  add table inet way
  add chain inet way in { type filter hook prerouting priority 0; }
  add rule inet way in ip daddr 192.0.2.2 reject with icmp type net-unreachable
  add rule inet way in ip6 daddr 2001:db8:ff::2 reject with icmpv6 type no-route'
ip -n second addr add 192.0.2.2/32 dev lo
ip -n second addr add 2001:db8:ff::2/128 dev lo nodad
"""
ROUTES = """
ip -n here route replace default via 10.1.0.2
ip -n here -6 route replace default via 2001:db8:1::2
ip -n here route replace default via 10.2.0.2 table 2
ip -n here -6 route replace default via 2001:db8:2::2 table 2
ip -n here route replace default via 10.2.0.2 dev two metric 500
ip -n here -6 route replace default via 2001:db8:2::2 dev two metric 5000
"""
SETTLED = """
# IPv6 neighbours cannot be found for about a second after an interface has come up.
for far in 2001:db8:1::2 2001:db8:2::2; do
  for try in 1 2 3 4 5 6 7 8; do
    if ip netns exec here ping -6 -n -q -c 1 -W 1 $far; then continue 2; fi
  done
  exit 1
done
"""
RULES = """
for family in -4 -6; do
  ip -n here $family rule add fwmark 7 lookup 2
  ip -n here $family rule add dsfield 0x10 lookup 2
done
ip -n here rule add from 10.2.0.1 lookup 2
ip -n here -6 rule add from 2001:db8:2::1 lookup 2
"""


@pytest.fixture(scope="module")
def world() -> Iterator[Enclosure]:
    """The two lines; skipped if they cannot be built."""
    try:
        built = Enclosure()
    except (LabError, OSError) as error:
        pytest.skip(f"no lab on this machine: {error}")
    with built:
        built.script(BUILD + ROUTES + RULES + SETTLED)
        yield built


class Probing:
    """A prober on the host, and what it has said."""

    def __init__(self, world: Enclosure, log: Path, seconds: float, asked: dict[str, tuple[str, str, object]]) -> None:
        self._log = log
        command = (PYTHON, "-m", "tests.measure.prober", str(seconds), json.dumps(asked))
        self._process = world.spawn("here", *command, log=log, env=environment())

    def said(self) -> list[dict[str, object]]:
        """All whole lines so far."""
        return [json.loads(line) for line in self._log.read_text().splitlines(keepends=True) if line.endswith("\n")]

    def until(self, true: Callable[[list[dict[str, object]]], bool], within_s: float = 10.0) -> None:
        """Wait until that holds."""
        deadline = time.monotonic() + within_s
        while not true(self.said()):
            assert time.monotonic() < deadline, self._log.read_text()[-2000:]
            time.sleep(0.05)

    def end(self) -> list[dict[str, object]]:
        """Wait for its end; return everything."""
        assert self._process.wait() == 0, self._log.read_text()
        return self.said()


def outcomes(said: list[dict[str, object]], uplink: str) -> list[tuple[object, object]]:
    """Outcome and cause of each sample of an uplink, runs of equal ones once."""
    each = [(line["outcome"], line["cause"]) for line in said if line.get("uplink") == uplink]
    return [key for key, _ in itertools.groupby(each)]


def links(said: list[dict[str, object]], uplink: str) -> list[object]:
    """Interface, carrier and address each time that an uplink's link was looked at."""
    return [line["seen"] for line in said if line.get("link") == uplink]


PINS = {
    "interface": {"interface": "two"},
    "source": {"sources": ["10.2.0.1", "2001:db8:2::1"]},
    "mark": {"mark": 7},
    "dscp": {"dscp": 4},
}


@pytest.mark.parametrize("groups", ["1 0", "0 2147483647"], ids=["raw", "datagram"])
def test_each_pin_forces_the_second_line_and_what_is_not_pinned_takes_the_first(
    world: Enclosure, tmp_path: Path, groups: str
) -> None:
    """For both families and both kinds of ICMP socket; the first line's router says that it knows no way."""
    world.must("here", "sysctl", "-qw", f"net.ipv4.ping_group_range={groups}")
    asked: dict[str, tuple[str, str, object]] = {}
    for name, pin in {**PINS, "none": {}}.items():
        asked[f"{name}-4"] = ("echo", "192.0.2.2", pin)
        asked[f"{name}-6"] = ("echo", "2001:db8:ff::2", pin)
    said = Probing(world, tmp_path / "said", 1.0, asked).end()
    for uplink in asked:
        expected = ("refused", "net-unreachable") if uplink.startswith("none") else ("answered", None)
        assert expected in outcomes(said, uplink), uplink
        assert set(outcomes(said, uplink)) <= {expected, ("lost", None)}, uplink  # a busy machine may answer too late
    refusals = [line["facts"] for line in said if line.get("uplink") == "none-4"]
    assert refusals
    assert all(facts == {"by": "10.1.0.2"} for facts in refusals)


def test_udp_and_tcp_are_pinned_too(world: Enclosure, tmp_path: Path) -> None:
    """A closed port of the far end says no: proof that the probe went there."""
    asked = {
        f"{kind}-{name}-{address}": (kind, address, pin)
        for kind in ("stamp", "tcp")
        for name, pin in PINS.items()
        for address in ("192.0.2.2", "2001:db8:ff::2")
    }
    said = Probing(world, tmp_path / "said", 1.0, asked).end()
    for uplink in asked:
        cause = "reset" if uplink.startswith("tcp") else "port-unreachable"
        # The far kernel limits its port unreachables to one target, so some may be lost.
        assert ("refused", cause) in outcomes(said, uplink), uplink
        assert set(outcomes(said, uplink)) <= {("refused", cause), ("lost", None)}, uplink


def test_a_neighbour_that_is_not_there_is_loss_and_no_refusal(world: Enclosure, tmp_path: Path) -> None:
    """Our own kernel reports the host unreachable; that is nobody's answer."""
    asked: dict[str, tuple[str, str, object]] = {
        "echo-4": ("echo", "10.1.0.77", {}),
        "echo-6": ("echo", "2001:db8:1::77", {}),
        "stamp": ("stamp", "10.1.0.78", {}),
        "tcp": ("tcp", "10.1.0.79", {}),
    }
    said = Probing(world, tmp_path / "said", 8.0, asked).end()
    for uplink in asked:
        assert outcomes(said, uplink) == [("lost", None)], uplink


def test_a_line_that_goes_down_and_comes_back_is_asked_again_by_itself(world: Enclosure, tmp_path: Path) -> None:
    """In between we could not ask, which is no loss; the links' witness sees it as well."""
    asked: dict[str, tuple[str, str, object]] = {
        "interface": ("echo", "192.0.2.2", {"interface": "two"}),
        "source": ("echo", "192.0.2.2", {"sources": ["10.2.0.1"]}),
    }
    probing = Probing(world, tmp_path / "said", 8.0, asked)
    probing.until(lambda said: all(("answered", None) in outcomes(said, uplink) for uplink in asked))
    world.script("ip -n here link set two down")
    probing.until(lambda said: any(what == "not-sent" for what, _ in outcomes(said, "interface")))
    probing.until(lambda said: ["two", False, True] in links(said, "interface"))
    world.script("ip -n here addr del 10.2.0.1/24 dev two")
    probing.until(lambda said: ("not-sent", "no-address") in outcomes(said, "source"))
    probing.until(lambda said: ["two", False, False] in links(said, "source"))
    world.script("ip -n here link set two up; ip -n here addr add 10.2.0.1/24 dev two" + ROUTES)
    said = probing.end()
    for uplink in asked:
        assert outcomes(said, uplink)[0] == outcomes(said, uplink)[-1] == ("answered", None), uplink
        assert {what for what, _ in outcomes(said, uplink)} <= {"answered", "not-sent", "lost"}, uplink
    seen = links(said, "interface")
    assert seen[0] == seen[-1] == ["two", True, True]


def test_an_interface_that_is_made_anew_is_found_again(world: Enclosure, tmp_path: Path) -> None:
    """Its name is the same, its index another one: the old socket would never send again."""
    world.script("""
        ip -n here link add three type veth peer name three netns second
        ip -n here addr add 10.3.0.1/24 dev three; ip -n second addr add 10.3.0.2/24 dev three
        ip -n here link set three up; ip -n second link set three up""")
    pinned = {"again": ("echo", "10.3.0.2", {"interface": "three"})}
    probing = Probing(world, tmp_path / "said", 8.0, dict(pinned))
    probing.until(lambda said: ("answered", None) in outcomes(said, "again"))
    world.script("ip -n here link del three")
    probing.until(lambda said: ("not-sent", "no-interface") in outcomes(said, "again"))
    world.script("""
        ip -n here link add three type veth peer name three netns second
        ip -n here addr add 10.3.0.1/24 dev three; ip -n second addr add 10.3.0.2/24 dev three
        ip -n here link set three up; ip -n second link set three up""")
    said = probing.end()
    assert outcomes(said, "again")[0] == outcomes(said, "again")[-1] == ("answered", None)


def test_the_kernel_route_of_unpinned_traffic_is_seen_at_every_change(world: Enclosure, tmp_path: Path) -> None:
    """First line, second line when its default route goes, none, and back; a way that is no uplink's is not told."""
    probing = Probing(world, tmp_path / "said", 6.0, {})

    def route(said: list[dict[str, object]]) -> object:
        seen = [line["route"] for line in said if "route" in line]
        return seen[-1] if seen else "nothing yet"

    probing.until(lambda said: route(said) == "first")
    world.script("ip -n here route add 192.0.2.1/32 dev lo")
    time.sleep(0.2)
    before = probing.said().count({"route": "first"})
    time.sleep(1.2)
    assert [line for line in probing.said() if "route" in line][before:] == []
    world.script("ip -n here route del 192.0.2.1/32 dev lo")
    probing.until(lambda said: said.count({"route": "first"}) > before)
    for change, uplink in (
        ("ip -n here route del default via 10.1.0.2", "second"),
        ("ip -n here route del default via 10.2.0.2", None),
        (ROUTES, "first"),
    ):
        world.script(change)
        probing.until(lambda said, uplink=uplink: route(said) == uplink, 0.8)  # type: ignore[misc]
    # rtnetlink(7): what `ip route` writes is RTPROT_BOOT.
    said = probing.end()
    assert {protocol for line in said for protocol in line.get("changed_by", [])} == {3}  # type: ignore[attr-defined]
    assert len([line for line in said if "changed_by" in line]) >= 3
