"""The lab's servers: real ones, on the hosts where their kind stands in life."""

from tests.lab.enclosure import LabError, Process
from tests.lab.office import COPPER, FIBRE, PROVIDER, RESOLVER, STUN, WEB, Office, wait_until
from tests.lab.python import PYTHON

MAIL = "mail.example.net"
NGINX = """
daemon off; master_process off; user root; pid {folder}/nginx.pid; error_log stderr;
events {{ worker_connections 64; }}
http {{
  access_log off;
  client_body_temp_path {folder}/nginx-body; proxy_temp_path {folder}/nginx-proxy;
  fastcgi_temp_path {folder}/nginx-fastcgi; uwsgi_temp_path {folder}/nginx-uwsgi; scgi_temp_path {folder}/nginx-scgi;
  server {{ listen {address}:80; location / {{ return 200 "the lab answers\\n"; }} }}
}}
"""


def all_of(office: Office) -> dict[str, Process]:
    """Start every server; the resolvers are known by their line's name, the others by what they serve."""
    resolvers = {line: resolver(office, line) for line in (FIBRE, COPPER)}
    return resolvers | {"web": web(office), "stun": stun(office), "stamp": stamp(office)}


def resolver(office: Office, line: str, *more: str) -> Process:
    """Start a provider's resolver (dnsmasq), which knows www.example.com and the mail server; with *more* options."""
    process = office.spawn(
        PROVIDER[line],
        "dnsmasq",
        "--no-daemon",  # it would change its user else, which a user namespace does not let it
        "--conf-file=/dev/null",
        "--pid-file",
        "--no-resolv",
        "--no-hosts",
        "--bind-interfaces",
        f"--listen-address={RESOLVER[line]}",
        f"--address=/www.example.com/{WEB}",
        f"--address=/{MAIL}/{WEB}",
        *more,
    )
    _listens(office, PROVIDER[line], process, "udp", RESOLVER[line], 53)
    return process


def web(office: Office) -> Process:
    """Start a web server (nginx) on the internet."""
    configuration = office.folder / "nginx.conf"
    configuration.write_text(NGINX.format(folder=office.folder, address=WEB))
    process = office.spawn("net", "nginx", "-e", "stderr", "-c", str(configuration))
    _listens(office, "net", process, "tcp", WEB, 80)
    return process


def stun(office: Office) -> Process:
    """Start a STUN server (coturn) on two addresses of the internet."""
    process = office.spawn(
        "net",
        "turnserver",
        "-n",
        "--stun-only",
        *(f"--listening-ip={address}" for address in STUN),
        "--listening-port=3478",
        "--no-tls",
        "--no-dtls",
        "--no-tcp",
        "--no-cli",
        "--no-rfc5780",  # behaviour discovery: its long answers confuse a client that only wants its address
        "--log-file=stdout",
        f"--pidfile={office.folder / 'turnserver.pid'}",
        f"--userdb={office.folder / 'turnserver.db'}",
    )
    for address in STUN:
        _listens(office, "net", process, "udp", address, 3478)
    return process


def stamp(office: Office) -> Process:
    """Start the project's own reflector on every address of the internet's host."""
    process = office.spawn(
        "net", PYTHON, "-m", "wanwatch", "reflector", "--stun-port", "3480", "--echo-port", "7"
    )  # 3478 is coturn's
    _listens(office, "net", process, "udp", "*", 862)
    return process


def page(office: Office, token: str) -> Process:
    """Start the project's own reflector with its far end over HTTP, which tells who asks by which address."""
    file = office.folder / "reflector-token"
    file.write_text(f"{token}\n")
    options = ("--stun-port", "3480", "--token-file", str(file), "--speed-port", "8080")
    process = office.spawn("net", PYTHON, "-m", "wanwatch", "reflector", *options)
    _listens(office, "net", process, "tcp", "0.0.0.0", 8080)
    return process


def _listens(office: Office, host: str, process: Process, protocol: str, address: str, port: int) -> None:
    """Wait until a server has its socket, or tell that it died."""

    def ready() -> bool:
        if not process.alive():
            raise LabError(process.log.read_text()[-500:], by=process.log.stem)
        wanted = f"{address}:{port}"
        found = office.world.must(host, "ss", "-Hln", f"--{protocol}", "src", wanted)
        return wanted in found

    wait_until(ready, f"{process.log.stem} at {address}")
