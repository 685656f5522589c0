"""A real Prometheus beside a daemon at work: everything that dashboards, rules and alerts ask is asked of it.

Run by hand, as root or not: `python tests/lab/scraped.py --minutes 10`. For so long the fibre is cut for twenty seconds
now and then; then come the faults, one after the other, which takes ten minutes more. Prints one JSON object: each
query, and when it first had data.
"""

import argparse
import json
import shutil
import signal
import sys
import tempfile
import time
import urllib.parse
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, Final

import trustme

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.lab import servers
from tests.lab.enclosure import Process
from tests.lab.office import COPPER, FIBRE, WEB, Office, Truth, wait_until
from tests.lab.python import PYTHON, ROOT
from tests.lab.stage import Lab
from tests.lab.watch import MIXED, QUICK, SITE, Watch

RULES: Final = ROOT / "deploy" / "prometheus"
BOARDS: Final = ROOT / "dashboards"
SETTINGS: Final = """
global: {{ scrape_interval: 1s, evaluation_interval: 1s }}
rule_files: ["{rules}/recording.yml", "{rules}/alerts.yml"]
scrape_configs:
  - job_name: wanwatch
    static_configs: [ {{ targets: [ "127.0.0.1:9470" ] }} ]
"""
TLS: Final = """
daemon off; master_process off; user root; pid {folder}/tls.pid; error_log stderr;
events {{ worker_connections 64; }}
http {{
  access_log off;
  client_body_temp_path {folder}/tls-body; proxy_temp_path {folder}/tls-proxy;
  fastcgi_temp_path {folder}/tls-fastcgi; uwsgi_temp_path {folder}/tls-uwsgi; scgi_temp_path {folder}/tls-scgi;
  server {{
    listen {web}:443 ssl; ssl_certificate {folder}/tls.pem; ssl_certificate_key {folder}/tls.pem;
    location / {{ return 200 "the lab answers\\n"; }}
  }}
}}
"""
OF_FIBRE: Final = """drill_every = "90d"
contract = { provider = "Example Fibre", clause = [ { measure = "availability", at_least = "99.999%" } ] }
"""
MORE: Final = """
[[target]]
name = "page"
https = "https://{web}/"
[speed]
server = "http://{web}:9471/"
token_file = "token"
at = "every 20s"
wait = "1s"
seconds = 1
[[remote_write]]
url = "http://{web}:9/nobody-listens"
[[notice]]
to = "mailto:ops@example.net"
[smtp]
host = "{web}"
port = 9
sender = "wan@example.net"
[ping]
url = "http://{web}/"
every = "10s"
"""
WORDS: Final = {"$site": SITE, "$uplink": ".*", "$__range": "5m", "$__rate_interval": "10s"}
QUIET: Final = "while all is well"
PATIENCE_S: Final = 240.0
"""Clauses are reckoned when nobody else wants the machine, which other stories do."""
SETTLE_S: Final = 4.0
"""Prometheus scrapes and reckons every second; a rate needs two scrapes, and groups of rules build on each other."""


@dataclass
class Questions:
    """All queries, and when each first had data.

    Attributes:
        asked: The queries, with what asks them.
        answered: When each first had data, in words.
    """

    office: Office
    asked: dict[str, str] = field(default_factory=dict)
    answered: dict[str, str] = field(default_factory=dict)

    def gather(self) -> None:
        """Take the queries of every panel, and of every rule as Prometheus has read it."""
        for board in ("site", "fleet"):
            for panel in json.loads((BOARDS / f"{board}.json").read_text())["panels"]:
                for target in panel.get("targets", ()):
                    self.asked[filled(target["expr"])] = f"{board}: {panel['title']}"
        for group in api(self.office, "rules")["groups"]:
            for rule in group["rules"]:
                self.asked[rule["query"]] = f"{rule['type']}: {rule['name']}"

    def ask(self, when: str) -> None:
        """Ask what has had no data yet."""
        for query in self.asked:
            if query not in self.answered and api(self.office, "query", query=query)["result"]:
                self.answered[query] = when


def filled(query: str) -> str:
    """A panel's query as Grafana sends it, for the site of the lab."""
    for variable, value in WORDS.items():
        query = query.replace(variable, value)
    return query


def api(office: Office, what: str, **given: str) -> Any:
    """What Prometheus answers to a question."""
    url = f"http://127.0.0.1:9090/api/v1/{what}?{urllib.parse.urlencode(given)}"
    said = json.loads(office.world.must("pc", "curl", "-sS", "-m", "5", url))
    assert said["status"] == "success", (given, said)
    return said["data"]


def has(office: Office, query: str) -> bool:
    """Whether there is data."""
    return bool(api(office, "query", query=query)["result"])


def furnish(lab: Lab) -> None:
    """Give the lab a page over TLS and a speed far end, the daemon a contract, and both to its configuration."""
    folder = lab.office.folder
    authority = trustme.CA()
    authority.cert_pem.write_to_path(folder / "authority.pem")
    authority.issue_cert(WEB).private_key_and_cert_chain_pem.write_to_path(folder / "tls.pem")
    (folder / "tls.conf").write_text(TLS.format(folder=folder, web=WEB))
    lab.office.spawn("net", "nginx", "-e", "stderr", "-c", str(folder / "tls.conf"))
    (folder / "token").write_text("a-token-for-tests")
    (folder / "token").chmod(0o600)
    far_end = ("--stamp-port", "1862", "--stun-port", "3481", "--token-file", str(folder / "token"))
    lab.office.spawn("net", PYTHON, "-m", "wanwatch", "reflector", *far_end)
    for line in (FIBRE, COPPER):  # resolvers that deny some names, so that an inspection decides
        lab.servers[line].signal(signal.SIGTERM)
        lab.servers[line].wait()
        servers.resolver(lab.office, line, "--local=/invalid/example.net/")
    text = lab.watch.file.read_text().replace(f'name = "{FIBRE}"\n', f'name = "{FIBRE}"\n{OF_FIBRE}')
    text = text.replace("[names]\n", '[names]\nown_zone = "example.net"\n')
    text = text.replace("[site]\n", f'[site]\nauthorities = "{folder / "authority.pem"}"\n')
    reconfigure(lab, text + MORE.format(web=WEB))


def reconfigure(lab: Lab, text: str) -> None:
    """Let the daemon read another configuration."""
    lab.watch.file.write_text(text)
    said = lab.watch.log.read_text().count("the configuration was read again")
    lab.watch.process.signal(signal.SIGHUP)
    lab.watch.until(
        lambda: lab.watch.log.read_text().count("the configuration was read again") > said, "reload", within_s=10
    )


def prometheus(office: Office) -> Process:
    """Start a Prometheus with our rules, and wait until it has scraped."""
    (office.folder / "prometheus.yml").write_text(SETTINGS.format(rules=RULES))
    process = office.spawn(
        "pc",
        "prometheus",
        f"--config.file={office.folder / 'prometheus.yml'}",
        f"--storage.tsdb.path={office.folder / 'tsdb'}",
        "--web.listen-address=127.0.0.1:9090",
    )
    ready = ("curl", "-sf", "-m", "1", "http://127.0.0.1:9090/-/ready")
    wait_until(lambda: not office.world.run("pc", *ready).returncode, "Prometheus", within_s=30)
    wait_until(lambda: has(office, "up == 1"), "a scrape by Prometheus", within_s=30)
    return process


def when(lab: Lab, questions: Questions, fault: str, query: str, within_s: float = 90.0) -> None:
    """Wait until a fault shows in Prometheus, and ask."""
    wait_until(lambda: has(lab.office, query), f"{fault}: {query}", within_s)
    time.sleep(SETTLE_S)
    questions.ask(fault)


def faults(lab: Lab, questions: Questions, *, patient: bool) -> None:
    """One fault after the other, each until Prometheus shows it; if *patient* also those that take many minutes."""
    office = lab.office
    state = 'wanwatch_uplink_state{{uplink="{0}",state="{1}"}} == 1'.format
    office.cut(FIBRE)
    when(lab, questions, "stuck on a dead line", state(FIBRE, "down"))
    # More than the contract of the lab allows in a month, and until it has been reckoned.
    when(lab, questions, "stuck on a dead line", "wanwatch_clause_met == 0", within_s=PATIENCE_S)
    office.move(COPPER)
    when(lab, questions, "after a failover", f'wanwatch_uplink_carrying{{uplink="{COPPER}"}} == 1')
    office.cut(COPPER)
    when(lab, questions, "a blackout", "max(wanwatch_uplink_carrying) == 0")
    office.mend(FIBRE)
    office.mend(COPPER)
    office.move(FIBRE)
    when(lab, questions, "all well again", f"{state(FIBRE, 'up')} and on() {state(COPPER, 'up')}")
    office.change(COPPER, {"loss": 0.25})
    when(lab, questions, "a line that loses", state(COPPER, "impaired"))
    office.change(COPPER, {"loss": 0.0})
    office.world.script("ip -n gw rule del from 10.20.0.12 table 102; ip netns exec gw conntrack -F 2>/dev/null")
    when(lab, questions, "a pin that is lost", f'wanwatch_pin_proved{{uplink="{COPPER}"}} == 0')
    text = lab.watch.file.read_text()
    reconfigure(lab, text.replace(f'name = "{COPPER}"\n', f'name = "{COPPER}"\ndata_budget = "1 kB/month"\n'))
    when(lab, questions, "a budget that is used up", "wanwatch_data_budget_bytes")
    if patient:
        late = "time() - wanwatch_notices_oldest_timestamp_seconds > 600"
        when(lab, questions, "notices that nobody takes", late, within_s=660)
    lab.watch.stop()
    when(lab, questions, "a daemon that is stopped", "up == 0")


def scraped(lab: Lab, minutes: float = 0.0) -> Mapping[str, Truth]:
    """Watch quietly, then go through the faults; leave what came of it in answers.json, and a scrape in metrics.txt."""
    furnish(lab)
    prometheus(lab.office)
    questions = Questions(lab.office)
    questions.gather()
    # The first inspection, a skipped test, and the first reckoning of clauses.
    for metric in ("wanwatch_names_rewriting", "wanwatch_speed_tests_total", "wanwatch_clause_value"):
        lab.watch.until(partial(has, lab.office, metric), metric, within_s=PATIENCE_S)
    time.sleep(SETTLE_S)
    questions.ask(QUIET)
    metrics = lab.office.world.must("pc", "curl", "-sS", "http://127.0.0.1:9470/metrics")
    (lab.office.folder / "metrics.txt").write_text(metrics)
    until = time.monotonic() + 60 * minutes
    while time.monotonic() < until:
        lab.office.cut(FIBRE)
        time.sleep(20)
        lab.office.mend(FIBRE)
        time.sleep(40)
    begun = Truth.now()
    faults(lab, questions, patient=minutes > 0)
    told = {"asked": questions.asked, "answered": questions.answered}
    (lab.office.folder / "answers.json").write_text(json.dumps(told, indent=1))
    lab.watch.start(until_up=False)  # whoever asked for this story stops it in the end
    return {"faults": begun}


def main() -> int:
    """Return 0 if every query had data in the end, else 1."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--minutes", type=float, default=10)
    minutes = arguments.parse_args().minutes
    if shutil.which("prometheus") is None:
        print("not installed: prometheus")  # noqa: T201 - a script's answer
        return 3
    with tempfile.TemporaryDirectory(prefix="wanwatch-scraped-") as folder, Office(Path(folder)) as office:
        lab = Lab(office, Watch(office, QUICK, MIXED), servers.all_of(office))
        lab.watch.start()
        scraped(lab, minutes)
        told = json.loads((office.folder / "answers.json").read_text())
        lab.watch.stop()
    silent = sorted(set(told["asked"]) - set(told["answered"]))
    print(json.dumps(told | {"silent": silent}, indent=1))  # noqa: T201 - a script's answer
    return 1 if silent else 0


if __name__ == "__main__":
    sys.exit(main())
