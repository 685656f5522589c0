"""Real DNS servers on loopback: one that knows everything there is here, and three resolvers that ask it.

The upstream (BIND) holds a root zone of its own and a signed zone `example.net`, in which the address of
`broken.example.net` was changed after signing. Nothing here leaves this machine.
"""

import contextlib
import re
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import dns.exception
import dns.message
import dns.query
import pytest
import trustme

PROGRAMS = ("dnsmasq", "unbound", "named", "dnssec-signzone")
MISSING = [program for program in PROGRAMS if shutil.which(program) is None]
BY_SECURE_NAME = "dns.example.org"
REWRITTEN = "192.0.2.80"

_ROOT = """$TTL 60
. SOA ns.root. hostmaster.root. 1 3600 600 86400 60
. NS ns.root.
ns.root. A 127.0.0.1
www.example.com. A 198.51.100.7
www.example.com. AAAA 2001:db8::7
alias.example.com. CNAME www.example.com.
"""
_SIGNED = """$TTL 60
@ SOA ns hostmaster 1 3600 600 86400 60
@ NS ns
ns A 127.0.0.1
signed A 198.51.100.8
broken A 198.51.100.9
"""
_NAMED = """options {{ directory "{folder}"; pid-file none; session-keyfile none; listen-on-v6 {{ none; }};
  recursion {recursion}; allow-query {{ any; }}; max-udp-size 1232; {options} }};
controls {{ }};
"""


@dataclass(frozen=True)
class Ports:
    """Where a resolver listens on 127.0.0.1; 0 where it does not speak that transport."""

    plain: int
    tls: int = 0
    https: int = 0


@dataclass
class Servers:
    """What runs, and what it needs to be asked.

    Attributes:
        folder: Files of the servers.
        ca_file: Who signed their certificates.
        key: The public key of the signed zone, as `257 3 13 ...`.
    """

    folder: Path
    ca_file: Path
    key: str
    upstream: int = 0
    _stack: contextlib.ExitStack = field(default_factory=contextlib.ExitStack)

    def start(self, port: int, *command: str) -> None:
        """Start a server and wait until it answers."""
        log = (self.folder / f"{command[0]}-{port}.log").open("wb")
        process = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT)
        self._stack.callback(_end, process)
        self._stack.callback(log.close)
        _wait(process, port, Path(log.name))

    def close(self) -> None:
        """End all of them."""
        self._stack.close()

    def dnsmasq(self, *, rewriting: bool = False) -> Ports:
        """A resolver that does not validate."""
        port = free_port()
        rewrite = [f"--address=/invalid/{REWRITTEN}"] if rewriting else []
        self.start(
            port, "dnsmasq", "--no-daemon", "--conf-file=/dev/null", "--pid-file", "--no-resolv", "--no-hosts",
            "--bind-interfaces", "--listen-address=127.0.0.1", f"--port={port}", f"--server=127.0.0.1#{self.upstream}",
            *rewrite,
        )  # fmt: skip
        return Ports(port)

    def unbound(self, *, rewriting: bool = False) -> Ports:
        """A resolver that validates, and speaks TLS and HTTPS."""
        ports = Ports(free_port(), free_port(), free_port())
        folder = self.folder / f"unbound-{ports.plain}"
        folder.mkdir()
        rewrite = f'local-zone: "invalid." redirect\nlocal-data: "invalid. A {REWRITTEN}"' if rewriting else ""
        configuration = f"""server:
interface: 127.0.0.1@{ports.plain}
interface: 127.0.0.1@{ports.tls}
interface: 127.0.0.1@{ports.https}
tls-port: {ports.tls}
https-port: {ports.https}
tls-service-key: "{self.folder}/server.key"
tls-service-pem: "{self.folder}/server.pem"
username: ""
chroot: ""
directory: "{folder}"
pidfile: ""
use-syslog: no
do-daemonize: no
do-not-query-localhost: no
module-config: "validator iterator"
trust-anchor: "example.net. IN DNSKEY {self.key}"
max-udp-size: 1232
{rewrite}
remote-control:
control-enable: no
forward-zone:
name: "."
forward-addr: 127.0.0.1@{self.upstream}
"""
        (folder / "unbound.conf").write_text(configuration)
        self.start(ports.plain, "unbound", "-d", "-c", str(folder / "unbound.conf"))
        return ports

    def bind(self, *, rewriting: bool = False) -> Ports:
        """A resolver that validates, and speaks TLS and HTTPS."""
        ports = Ports(free_port(), free_port(), free_port())
        listen = f"""forward only; forwarders {{ 127.0.0.1 port {self.upstream}; }}; dnssec-validation yes;
  listen-on port {ports.plain} {{ 127.0.0.1; }};
  listen-on port {ports.tls} tls own {{ 127.0.0.1; }};
  listen-on port {ports.https} tls own http default {{ 127.0.0.1; }};"""
        numbers, key = self.key.rsplit(" ", 1)
        more = f"""tls own {{ key-file "{self.folder}/server.key"; cert-file "{self.folder}/server.pem"; }};
trust-anchors {{ "example.net." static-key {numbers} "{key}"; }};
"""
        folder = self.folder / f"bind-{ports.plain}"
        folder.mkdir()
        if rewriting:
            (folder / "rewritten").write_text(f"$TTL 60\n@ SOA ns. h. 1 1 1 1 1\n@ NS ns.\n* A {REWRITTEN}\n")
            more += 'zone "invalid" { type primary; file "rewritten"; };\n'
        self._named(folder, ports.plain, "yes", listen, more)
        return ports

    def start_upstream(self) -> None:
        """Start the server that knows everything."""
        self.upstream = free_port()
        folder = self.folder / "upstream"
        folder.mkdir()
        many = "".join(f"many.example.com. A 198.51.100.{number}\n" for number in range(1, 96))
        (folder / "root").write_text(_ROOT + many)
        (folder / "signed").write_text((self.folder / "signed").read_text())
        zones = 'zone "." { type primary; file "root"; };\nzone "example.net" { type primary; file "signed"; };\n'
        listen = f"dnssec-validation no; listen-on port {self.upstream} {{ 127.0.0.1; }};"
        self._named(folder, self.upstream, "no", listen, zones)

    def _named(self, folder: Path, port: int, recursion: str, options: str, more: str) -> None:
        text = _NAMED.format(folder=folder, recursion=recursion, options=options) + more
        (folder / "named.conf").write_text(text)
        self.start(port, "named", "-g", "-n", "1", "-c", str(folder / "named.conf"))


@contextlib.contextmanager
def running(folder: Path) -> Iterator[Servers]:
    """Sign the zone, make certificates, start the upstream; end all in the end."""
    key = _signed_zone(folder)
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "authority.pem"))
    certificate = authority.issue_cert(BY_SECURE_NAME, "127.0.0.1")
    certificate.private_key_pem.write_to_path(str(folder / "server.key"))
    for part in certificate.cert_chain_pems:
        part.write_to_path(str(folder / "server.pem"), append=True)
    servers = Servers(folder, folder / "authority.pem", key)
    try:
        servers.start_upstream()
        yield servers
    finally:
        servers.close()


def _signed_zone(folder: Path) -> str:
    (folder / "example.net").write_text(_SIGNED)
    for flags in (["-f", "KSK"], []):
        subprocess.run(
            ["dnssec-keygen", "-q", "-a", "ECDSAP256SHA256", *flags, "example.net"],
            cwd=folder, check=True, capture_output=True,
        )  # fmt: skip
    sign = ["dnssec-signzone", "-S", "-o", "example.net", "-f", "signed", "example.net"]
    subprocess.run(sign, cwd=folder, check=True, capture_output=True)
    signed = folder / "signed"
    signed.write_text(signed.read_text().replace("198.51.100.9", "198.51.100.66"))  # its signature holds no longer
    keys = "".join(path.read_text() for path in folder.glob("Kexample.net*.key"))
    found = re.search(r"DNSKEY (257 3 13) (.+)", keys)
    assert found is not None
    return f"{found[1]} {found[2].replace(' ', '')}"


def free_port() -> int:
    """A port of 127.0.0.1 that is free for UDP and TCP."""
    while True:
        with socket.socket() as stream, socket.socket(type=socket.SOCK_DGRAM) as datagram:
            stream.bind(("127.0.0.1", 0))
            port = int(stream.getsockname()[1])
            with contextlib.suppress(OSError):
                datagram.bind(("127.0.0.1", port))
                return port


def _wait(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    end_s = time.monotonic() + 20
    query = dns.message.make_query("www.example.com", "A")
    while time.monotonic() < end_s and process.poll() is None:
        with contextlib.suppress(OSError, dns.exception.DNSException):
            if dns.query.udp(query, "127.0.0.1", timeout=0.3, port=port).answer:
                return
        time.sleep(0.05)
    pytest.fail(f"no answer on port {port} (exit {process.poll()}): {log.read_text()[-2000:]}")


def _end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(5)
        return
    process.kill()
    process.wait(5)
