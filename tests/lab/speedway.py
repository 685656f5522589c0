"""A line for speed tests: two hosts and a veth between them, shaped each way by tbf, with a reflector and an nginx."""

import json
import subprocess
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Self

import trustme

from tests.lab.enclosure import Enclosure, LabError
from tests.lab.python import PYTHON, environment

HERE, THERE = "here", "there"
ADDRESS: Final = "198.51.100.2"
ADDRESS6: Final = "2001:db8:5::2"
TOKEN: Final = "a token for one lab"  # noqa: S105 - of one lab
PAYLOAD: Final = 1448
"""RFC 9293 and RFC 7323: what of 1500 bytes is left by 20 of IPv4, 20 of TCP and 12 of timestamps."""
COUNTED: Final = 1514
"""tc-tbf counts the packet with Ethernet's header of 14 bytes (IEEE 802.3), as it stands in the kernel's memory."""
FILE_BYTES: Final = 4 << 30

BUILD = f"""
ip netns add {HERE}
ip netns add {THERE}
ip -n {HERE} link add line type veth peer name line netns {THERE}
for space in {HERE} {THERE}; do
  ip netns exec $space sysctl -qw net.ipv6.conf.all.accept_dad=0 net.ipv6.conf.default.accept_dad=0
  ip -n $space link set lo up
done
ip -n {HERE} addr add 198.51.100.1/24 dev line
ip -n {HERE} addr add 2001:db8:5::1/64 dev line nodad
ip -n {THERE} addr add {ADDRESS}/24 dev line
ip -n {THERE} addr add {ADDRESS6}/64 dev line nodad
ip -n {HERE} link set line up
ip -n {THERE} link set line up
"""
# Whole frames, as on a wire: a segment of 64 kB that is shaped as one would come in steps that no line has.
SHAPE = """
for space in here there; do
  ip netns exec $space ethtool -K line tso off gso off gro off
  ip netns exec $space tc qdisc replace dev line root tbf rate {rate}bit burst {burst} limit {limit}
done
"""
NGINX = """
daemon off; master_process off; user root; pid {folder}/nginx.pid; error_log stderr; worker_processes 1;
events {{ worker_connections 64; }}
http {{
  access_log off; sendfile on; tcp_nopush on; client_max_body_size 0;
  client_body_temp_path {folder}/nginx-body; proxy_temp_path {folder}/nginx-proxy;
  fastcgi_temp_path {folder}/nginx-fastcgi; uwsgi_temp_path {folder}/nginx-uwsgi; scgi_temp_path {folder}/nginx-scgi;
  server {{
    listen {address}:80; listen {address}:443 ssl;
    ssl_certificate {folder}/both.pem; ssl_certificate_key {folder}/both.pem;
    root {folder};
  }}
}}
"""
CONFIG = """
[site]
name = "harbour-lane"
data_dir = "data"
authorities = "ca.pem"
[[uplink]]
name = "fibre"
pin = {{ interface = "line" }}
{uplink}
[[target]]
name = "near"
echo = "{address}"
[listen]
address = "127.0.0.1:9470"
[speed]
token_file = "token"
{speed}
"""


@dataclass
class Speedway:
    """The line. Use as a context manager.

    Attributes:
        folder: Where its files lie.
        world: The hosts.
    """

    folder: Path
    world: Enclosure = field(default_factory=Enclosure)

    def __enter__(self) -> Self:
        self.world.__enter__()
        self.world.script(BUILD)
        authority = trustme.CA()
        authority.cert_pem.write_to_path(str(self.folder / "ca.pem"))
        issued = authority.issue_cert(ADDRESS, ADDRESS6)
        issued.private_key_and_cert_chain_pem.write_to_path(str(self.folder / "both.pem"))
        (self.folder / "token").write_text(TOKEN)
        (self.folder / "token").chmod(0o600)
        self.configure(f'server = "http://{ADDRESS}:9471/"')
        return self

    def __exit__(self, *error: object) -> None:
        self.world.__exit__(None, None, None)

    def configure(self, speed: str, uplink: str = "") -> None:
        """Write the configuration, with these keys for its speed tests."""
        (self.folder / "wanwatch.toml").write_text(CONFIG.format(speed=speed, uplink=uplink, address=ADDRESS))

    def shape(self, mbps: int) -> None:
        """Hold the line to a rate each way: 50 ms of queue, and bursts of 10 ms for a machine that looks away."""
        burst, limit = mbps * 1250, mbps * 6250
        self.world.script(SHAPE.format(rate=mbps * 10**6, burst=burst, limit=limit))

    def reflector(self, *more: str) -> None:
        """Start a reflector at the far end."""
        words = ("reflector", "--address", "::", "--token-file", str(self.folder / "token"), *more)
        self._serve(9471, PYTHON, "-m", "wanwatch", *words)

    def nginx(self) -> None:
        """Start nginx at the far end, with one large file in memory."""
        with (self.folder / "file").open("wb") as file:
            file.truncate(FILE_BYTES)
        (self.folder / "nginx.conf").write_text(NGINX.format(folder=self.folder, address=ADDRESS))
        self._serve(80, "nginx", "-c", str(self.folder / "nginx.conf"))

    def _serve(self, port: int, *command: str) -> None:
        process = self.world.spawn(THERE, *command, log=self.folder / f"{port}.log", env=environment())
        deadline = time.monotonic() + 20
        while f":{port} " not in self.world.must(THERE, "ss", "-Hltn"):
            if time.monotonic() > deadline or not process.alive():
                raise LabError(process.log.read_text(), by=command[0])
            time.sleep(0.1)

    def command(self, *words: str, codes: Sequence[int] = (0,), timeout_s: float = 60.0) -> str:
        """Run a command of ours on this side, and return what it printed."""
        config = ("--config", str(self.folder / "wanwatch.toml"))
        done = self.world.run(HERE, PYTHON, "-m", "wanwatch", *words, *config, env=environment(), timeout_s=timeout_s)
        assert done.returncode in codes, f"{done.returncode}: {done.stderr}"
        return done.stdout

    def test(self, *words: str, codes: Sequence[int] = (0,)) -> dict[str, Any]:
        """Run a speed test, and return its result."""
        told: dict[str, Any] = json.loads(self.command("speed", "fibre", "--json", *words, codes=codes))
        return told

    def curl(self, url: str, seconds: float) -> float:
        """Let curl download for so long, and return bytes a second."""
        # As nice as our own process is that moves the bytes, or a busy machine would prefer one of them.
        words = (
            "nice",
            "-n",
            "5",
            "curl",
            "-s",
            "-o",
            "/dev/null",
            "--cacert",
            str(self.folder / "ca.pem"),
            "-w",
            "%{speed_download}",
        )
        done: subprocess.CompletedProcess[str] = self.world.run(HERE, *words, "-m", str(seconds), url)
        return float(done.stdout)
