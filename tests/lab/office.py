"""The lab's networks: an office behind a gateway, and an office whose mini PC is the gateway itself.

::

    pc -- lan --- gw -- fibre --- isp1 --- net        `--` runs through the frame forwarder in host `wire`
                   `--- copper -- isp2 ---'

Addresses are those of RFC 5737 and RFC 3849 outside, private ones (RFC 1918) inside. The access lines have permanent
neighbour entries: with ARP, a probe sent into a dead line could be answered a second later, once the line is mended,
and then no probe would bracket the true instant. The LAN keeps ARP, since a dead gateway is known by it.
"""

import json
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from tests.lab.enclosure import Enclosure, LabError, Process
from tests.lab.python import PYTHON, environment

FIBRE, COPPER, LAN = "fibre", "copper", "lan"
ONE_WAY_S: Final = {FIBRE: 0.00435, COPPER: 0.0165, LAN: 0.0}
"""Half of the round trip of a new fibre line (8.7 ms) and of an old copper one (33 ms)."""
NEXT_HOP: Final = {FIBRE: "198.51.100.1", COPPER: "203.0.113.1"}
PUBLIC: Final = {FIBRE: "198.51.100.10", COPPER: "203.0.113.10"}
RESOLVER: Final = {FIBRE: "198.51.100.253", COPPER: "203.0.113.253"}
PROVIDER: Final = {FIBRE: "isp1", COPPER: "isp2"}
TARGETS: Final = ("192.0.2.1", "192.0.2.2", "192.0.2.3")
TARGETS_V6: Final = ("2001:db8:ffff::1", "2001:db8:ffff::2", "2001:db8:ffff::3")
WEB, STUN = "192.0.2.80", ("192.0.2.78", "192.0.2.79")

WORDS: Final = """
on() { host=$1; shift; ip netns exec $host "$@"; }
host() {
  ip netns add $1; ip -n $1 link set lo up
  on $1 sysctl -qw net.ipv4.conf.all.rp_filter=0 net.ipv4.conf.default.rp_filter=0 \\
    net.ipv6.conf.all.accept_dad=0 net.ipv6.conf.default.accept_dad=0 net.ipv4.icmp_ratelimit=0
}
router() { on $1 sysctl -qw net.ipv4.ip_forward=1 net.ipv6.conf.all.forwarding=1; }
end() { on $1 ethtool -K $2 tx off rx off tso off gso off gro off >/dev/null; ip -n $1 link set $2 up; }
join() {  # NAME  HOST INTERFACE MAC  HOST INTERFACE MAC: one line, through the forwarder
  ip link add $3 netns $2 address $4 type veth peer name $1-a netns wire
  ip link add $6 netns $5 address $7 type veth peer name $1-b netns wire
  end $2 $3; end wire $1-a; end wire $1-b; end $5 $6
}
wired() { ip link add $2 netns $1 type veth peer name $4 netns $3; ip -n $1 link set $2 up; ip -n $3 link set $4 up; }
addresses() { h=$1 i=$2; shift 2; for a; do ip -n $h address add $a dev $i $(case $a in *:*) echo nodad;; esac); done; }
known() {  # HOST INTERFACE MAC ADDRESS...: neighbours that need no asking
  h=$1 i=$2 m=$3; shift 3; for a; do ip -n $h neighbour replace $a lladdr $m dev $i nud permanent; done
}
provider() {  # HOST V4NET V6NET OFFICEMAC: an access router with its core link and its resolver's address
  addresses $1 access0 $2.1/25 $3:ff::1/64; addresses $1 core0 $2.129/30 $3:fe::1/64; addresses $1 lo $2.253/32
  addresses net $1 $2.130/30 $3:fe::2/64
  known $1 access0 $4 $2.10 $3:ff::2
  ip -n $1 route add default via $2.130; ip -n $1 -6 route add default via $3:fe::2
  ip -n $1 -6 route add $3::/64 via $3:ff::2
  ip -n net route add $2.0/24 via $2.129; ip -n net -6 route add $3::/48 via $3:fe::1
  # What does not come from this provider's own customers goes no further (RFC 2827), so that a flow which kept the
  # other line's address is as stuck here as it is in life.
  on $1 sysctl -qw net.ipv4.conf.access0.rp_filter=1
}
customer() {  # HOST INTERFACE V4NET V6NET PROVIDERMAC: the office's side of an access line
  addresses $1 $2 $3.10/25 $4:ff::2/64; known $1 $2 $5 $3.1 $4:ff::1
}
M=02:00:00:00
host wire; on wire sysctl -qw net.ipv6.conf.all.disable_ipv6=1 net.ipv6.conf.default.disable_ipv6=1
for h in pc isp1 isp2 net; do host $h; done
for h in isp1 isp2 net; do router $h; done
wired isp1 core0 net isp1; wired isp2 core0 net isp2
addresses net lo 192.0.2.1/32 192.0.2.2/32 192.0.2.3/32 192.0.2.78/32 192.0.2.79/32 192.0.2.80/32
addresses net lo 2001:db8:ffff::1/128 2001:db8:ffff::2/128 2001:db8:ffff::3/128
"""

BEHIND_A_GATEWAY: Final = """
host gw; router gw
join lan pc lan0 $M:01:01 gw lan0 $M:01:02
join fibre gw fibre0 $M:02:01 isp1 access0 $M:02:02
join copper gw copper0 $M:03:01 isp2 access0 $M:03:02
provider isp1 198.51.100 2001:db8:1 $M:02:01; customer gw fibre0 198.51.100 2001:db8:1 $M:02:02
provider isp2 203.0.113 2001:db8:2 $M:03:01; customer gw copper0 203.0.113 2001:db8:2 $M:03:02
addresses pc lan0 10.20.0.10/24 10.20.0.11/24 10.20.0.12/24 2001:db8:1::11/64 2001:db8:2::12/64
addresses gw lan0 10.20.0.1/24 2001:db8:1::1/64 2001:db8:2::1/64
ip -n pc route add default via 10.20.0.1; ip -n pc -6 route add default via 2001:db8:1::1 src 2001:db8:1::11
ip -n gw route add default via 198.51.100.1
ip -n gw route add default via 198.51.100.1 table 101; ip -n gw -6 route add default via 2001:db8:1:ff::1 table 101
ip -n gw route add default via 203.0.113.1 table 102; ip -n gw -6 route add default via 2001:db8:2:ff::1 table 102
ip -n gw rule add from 10.20.0.11 table 101; ip -n gw -6 rule add from 2001:db8:1::/64 table 101
ip -n gw rule add from 10.20.0.12 table 102; ip -n gw -6 rule add from 2001:db8:2::/64 table 102
on gw nft -f - <<NFT
table ip nat {
  chain post {
    type nat hook postrouting priority srcnat
    # snat and not masquerade: masquerade by itself forgets a flow whose way out changed, and no story could be stuck.
    oifname fibre0 snat to 198.51.100.10
    oifname copper0 snat to 203.0.113.10
  }
}
NFT
"""

IS_THE_GATEWAY: Final = """
join fibre pc fibre0 $M:02:01 isp1 access0 $M:02:02
join copper pc copper0 $M:03:01 isp2 access0 $M:03:02
provider isp1 198.51.100 2001:db8:1 $M:02:01; customer pc fibre0 198.51.100 2001:db8:1 $M:02:02
provider isp2 203.0.113 2001:db8:2 $M:03:01; customer pc copper0 203.0.113 2001:db8:2 $M:03:02
ip -n pc route add default via 198.51.100.1 dev fibre0 metric 100
ip -n pc route add default via 203.0.113.1 dev copper0 metric 200
ip -n pc -6 route add default via 2001:db8:1:ff::1 dev fibre0 metric 100
ip -n pc -6 route add default via 2001:db8:2:ff::1 dev copper0 metric 200
"""


@dataclass(frozen=True, slots=True)
class Truth:
    """The true instant of something that the lab did, on both clocks."""

    at_ns: int
    at_unix_ns: int

    @property
    def unix_s(self) -> float:
        """The wall clock's instant in seconds since 1970, UTC."""
        return self.at_unix_ns / 1e9

    @classmethod
    def now(cls) -> Self:
        """The present instant."""
        return cls(time.monotonic_ns(), time.time_ns())


class Office:
    """A built network, with its lines in working order. Use as a context manager.

    Attributes:
        folder: Where the lab's logs, sockets and data lie; on no host, shared with all.
        mini_pc_routes: The mini PC is the gateway itself, with one interface a line.
    """

    def __init__(self, folder: Path, *, mini_pc_routes: bool = False) -> None:
        self.folder = folder
        self.mini_pc_routes = mini_pc_routes
        self.world = Enclosure()
        try:
            self._build()
        except BaseException:
            self.world.__exit__(None, None, None)
            raise

    def _build(self) -> None:
        self.world.script(WORDS + (IS_THE_GATEWAY if self.mini_pc_routes else BEHIND_A_GATEWAY))
        names = (FIBRE, COPPER) if self.mini_pc_routes else (LAN, FIBRE, COPPER)
        lines = [f"{name}={name}-a,{name}-b" for name in names]
        self._control, script = self.folder / "lines", Path(__file__).with_name("forwarder.py")
        self.spawn("wire", PYTHON, str(script), str(self._control), str(self.folder / "truth.jsonl"), *lines)
        wait_until(self._control.is_socket, "the frame forwarder")
        for name in names:
            self.change(name, {"delay_s": ONE_WAY_S[name]})

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.world.__exit__(kind, error, trace)

    def spawn(self, host: str, *command: str) -> Process:
        """Start a program on a host; its words go to a log named after both."""
        log = self.folder / f"{host}-{Path(command[0]).name}.log"
        return self.world.spawn(host, *command, log=log, env=environment())

    def change(self, line: str, settings: dict[str, float | bool], ways: tuple[str, ...] = ("up", "down")) -> Truth:
        """Change what a line does to frames, and return the true instant of it."""
        order = {"line": line, "ways": ways, "change": settings}
        with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as asker:
            asker.settimeout(5)
            asker.connect(str(self._control))
            asker.send(json.dumps(order).encode())
            answer = json.loads(asker.recv(65_536))
        if "error" in answer:
            raise LabError(answer["error"], by="frame forwarder")
        return Truth(answer["at_ns"], answer["at_unix_ns"])

    def cut(self, line: str, *ways: str) -> Truth:
        """Cut a line, in both directions unless told which (`up`, `down`)."""
        return self.change(line, {"cut": True}, ways or ("up", "down"))

    def mend(self, line: str) -> Truth:
        """Make a cut line whole again."""
        return self.change(line, {"cut": False})

    def move(self, line: str, *, forget_flows: bool = True) -> Truth:
        """Do as a gateway does that moves ordinary traffic to *line*, and return when it was done.

        With *forget_flows* it drops what it knew of flows, as real ones do; else old flows keep the old line's
        address, and their answers go astray.
        """
        if self.mini_pc_routes:
            self.world.script(f"ip -n pc route replace default via {NEXT_HOP[line]} dev {line}0 metric 50")
            return Truth.now()
        forget = "ip netns exec gw conntrack -F 2>/dev/null" if forget_flows else ""
        self.world.script(f"ip -n gw route replace default via {NEXT_HOP[line]}\n{forget}")
        return Truth.now()

    def silence(self, target: str) -> Truth:
        """Let one target fall silent, as a host does that is switched off behind a router that cannot tell."""
        self.world.script(f"ip -n net address del {target}/32 dev lo\nip -n net route add blackhole {target}/32")
        return Truth.now()


def wait_until(true: Callable[[], bool], what: str, within_s: float = 30.0) -> None:
    """Wait until a condition of the lab holds.

    Raises:
        TimeoutError: It did not come to hold in time.
    """
    deadline = time.monotonic() + within_s
    while not true():
        if time.monotonic() > deadline:
            raise TimeoutError(what)
        time.sleep(0.02)
