"""Pins, routes and path MTUs against the lab's truth."""

import re
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.lab import servers
from tests.lab.office import COPPER, FIBRE, NEXT_HOP, PUBLIC, TARGETS, TARGETS_V6, WEB, Office
from tests.lab.python import PYTHON, environment
from tests.lab.stage import unix_s
from tests.lab.watch import QUICK, Watch
from wanwatch.core.model import Pin
from wanwatch.measure.route import Answer, FindMtu, Hop, Method, Mtu, Question, Trace, Traced
from wanwatch.measure.route.protocol import dump, read_answers

pytestmark = [pytest.mark.lab, pytest.mark.timeout(240)]

PROVE_EVERY_S = 10
SOURCES = {FIBRE: ("10.20.0.11", "2001:db8:1::11"), COPPER: ("10.20.0.12", "2001:db8:2::12")}
GATEWAY = "10.20.0.1"
BREAK = {
    # The rule by which the gateway routes the copper's pin is gone, and it goes the way of all traffic.
    "fallen": "ip -n gw rule del from 10.20.0.12 table 102\nip netns exec gw conntrack -F 2>/dev/null",
    # Both pins are routed, by mistake, to one line.
    "one-line": "ip -n gw rule del from 10.20.0.12 table 102\nip -n gw rule add from 10.20.0.12 table 101",
    "mended": "ip -n gw rule add from 10.20.0.12 table 102\nip netns exec gw conntrack -F 2>/dev/null",
}


def asked(office: Office, *questions: Question) -> list[Answer]:
    """What the helper process answers on the mini PC."""
    command = office.world.command("pc", PYTHON, "-P", "-m", "wanwatch.measure.route")
    done = subprocess.run(command, input=dump(questions), capture_output=True, env=environment(), check=True)
    return read_answers(done.stdout)


def pin(office: Office, line: str) -> Pin:
    return Pin(interface=f"{line}0") if office.mini_pc_routes else Pin(sources=SOURCES[line])


@pytest.fixture
def behind(tmp_path: Path) -> Iterator[Office]:
    """An office behind a gateway, with the servers that its daemon asks."""
    with Office(tmp_path) as office:
        servers.stun(office)
        for line in (FIBRE, COPPER):
            servers.resolver(office, line)
        yield office


def watching(office: Office) -> Watch:
    """A daemon that proves its pins often."""
    watch = Watch(office, QUICK)
    text = watch.file.read_text()
    assert [line for line in text.splitlines() if line.startswith("[")][-1] == "[carrying]"
    watch.file.write_text(f'{text}prove_every = "{PROVE_EVERY_S}s"\n')
    return watch


def live(watch: Watch, *codes: int) -> str:
    """What `check --live` prints, if it ends with one of these exit codes."""
    words = (PYTHON, "-m", "wanwatch", "check", "--live", str(watch.file))
    done = watch.office.world.run("pc", *words, env=environment(), timeout_s=60)
    assert done.returncode in codes, done.stdout + done.stderr
    return done.stdout


def proved(watch: Watch) -> dict[str, float]:
    """What /metrics says of the pins."""
    said = watch.office.world.must("pc", "curl", "-sf", "http://127.0.0.1:9470/metrics")
    found = re.findall(r'^wanwatch_pin_proved\{.*uplink="(\w+)"\} ([\d.]+)$', said, re.MULTILINE)
    return {uplink: float(value) for uplink, value in found}


@pytest.mark.parametrize("method", list(Method))
@pytest.mark.parametrize("line", [FIBRE, COPPER])
def test_hops_by_every_method_are_the_lab_s_own(office: Office, line: str, method: Method) -> None:
    """ICMP, UDP and TCP find the gateway, the line's access router and the target, each at its distance."""
    port = 80 if method is Method.TCP else 33434
    (traced,) = asked(office, Trace(TARGETS[0], pin(office, line), method, port))
    assert isinstance(traced, Traced)
    way = (NEXT_HOP[line], TARGETS[0]) if office.mini_pc_routes else (GATEWAY, NEXT_HOP[line], TARGETS[0])
    assert [(hop.distance, hop.address) for hop in traced.hops] == list(enumerate(way, start=1))
    assert traced.reached
    assert traced.source == (PUBLIC[line] if office.mini_pc_routes else SOURCES[line][0])


@pytest.mark.parametrize("line", [FIBRE, COPPER])
def test_hops_are_found_in_ipv6_too(office: Office, line: str) -> None:
    """The access router answers; the lab's gateway keeps silent, since its own answers take the line."""
    questions = [Trace(TARGETS_V6[0], pin(office, line), method) for method in (Method.ICMP, Method.UDP)]
    for traced in asked(office, *questions):
        assert isinstance(traced, Traced)
        access = f"2001:db8:{1 if line == FIBRE else 2}:ff::1"
        ours = [] if office.mini_pc_routes else [None]
        assert [hop.address for hop in traced.hops] == [*ours, access, TARGETS_V6[0]]


def test_silence_on_the_way_is_a_silent_hop(behind: Office) -> None:
    """What lies behind a router that does not answer is found all the same, at its own distance."""
    drop = "icmp type time-exceeded drop"
    behind.world.script(f"ip netns exec isp1 nft 'add table ip t; add chain ip t o {{ type filter hook output priority 0; }}; add rule ip t o {drop}'")  # fmt: skip  # noqa: E501
    (traced,) = asked(behind, Trace(TARGETS[0], pin(behind, FIBRE), wait_ns=300_000_000))
    assert isinstance(traced, Traced)
    assert traced.hops[1] == Hop(2)
    assert traced.hops[2].address == TARGETS[0]


def test_a_limited_path_is_measured_and_who_said_so_is_known(office: Office) -> None:
    """1492 bytes is what PPPoE leaves of an Ethernet frame's 1500 (RFC 2516 section 7)."""
    near = "pc" if office.mini_pc_routes else "gw"
    questions = [FindMtu(target, pin(office, FIBRE)) for target in (TARGETS[0], TARGETS_V6[0])]
    assert asked(office, *questions) == [Mtu(1500, limited=False, black_hole=False)] * 2
    for mtu in (1492, 1500):
        office.world.script(f"ip -n {near} link set fibre0 mtu {mtu}\nip -n isp1 link set access0 mtu {mtu}")
        four, six = asked(office, *questions)
        if mtu == 1492:
            teller = PUBLIC[FIBRE] if office.mini_pc_routes else GATEWAY
            assert four == Mtu(1492, limited=True, black_hole=False, told_by=(teller,))
            assert isinstance(six, Mtu)
            assert six.size == 1492


def test_a_black_hole_is_told_with_the_size_that_passes(behind: Office) -> None:
    """Packets above 1400 bytes vanish at the provider, and nobody says that they are too big."""
    behind.world.script(
        "ip netns exec isp1 nft 'add table inet t; add chain inet t f { type filter hook forward priority 0; };"
        " add rule inet t f meta length > 1400 drop'"
    )
    questions = [FindMtu(target, pin(behind, FIBRE)) for target in (TARGETS[0], TARGETS_V6[0])]
    assert asked(behind, *questions) == [Mtu(1400, limited=True, black_hole=True)] * 2
    watch = Watch(behind, QUICK)
    said = live(watch, 1)
    assert re.search(r"^fibre .*1400 \(black hole\) +yes$", said, re.MULTILINE)
    assert "fibre: packets above 1400 bytes vanish, and nobody says that they are too big" in said


def test_a_pin_that_breaks_silently_is_lost_and_its_uplink_never_up(behind: Office) -> None:
    """Answers go on without a gap, by the other line; from the break on no word claims that the copper is up."""
    watch = watching(behind)
    watch.start()
    watch.until(lambda: proved(watch) == {FIBRE: 1.0, COPPER: 1.0}, "proof of both pins", 30)
    broken_unix_s = time.time()
    behind.world.script(BREAK["fallen"])
    lost = watch.expect("pin-lost", COPPER, within_s=PROVE_EVERY_S + 3)
    assert unix_s(lost["start_latest"]) - broken_unix_s <= PROVE_EVERY_S
    assert unix_s(lost["start_earliest"]) <= broken_unix_s
    assert unix_s(lost["start"]) <= broken_unix_s, "out of sight since it was last known to hold"
    assert lost["detail"]["leaves_by"] == FIBRE
    assert lost["detail"]["because"] == "default-route"
    for _ in range(20):
        assert watch.states() == {FIBRE: "up", COPPER: "unobserved"}
        time.sleep(0.2)
    assert proved(watch) == {FIBRE: 1.0, COPPER: 0.0}
    assert "copper: its pinned probes leave by fibre" in watch.log.read_text()
    behind.world.script(BREAK["mended"])
    ended = watch.expect("pin-lost", COPPER, ended=True, within_s=PROVE_EVERY_S + 10)
    watch.until(lambda: watch.states()[COPPER] == "up", "copper up", 20)
    watch.stop()
    assert ended["id"] == lost["id"]
    assert not watch.events("outage")
    assert not watch.events("unobserved", COPPER)


def test_a_page_proves_pins_where_stun_and_routers_keep_silent(tmp_path: Path) -> None:
    """No STUN server answers and no router tells of itself: the address that a page sees is the one witness left."""
    with Office(tmp_path) as office:
        servers.page(office, "a-token-for-tests")
        (tmp_path / "token").write_text("a-token-for-tests\n")
        for isp in ("isp1", "isp2"):
            office.world.script(
                f"ip netns exec {isp} nft 'add table ip t; add chain ip t o {{ type filter hook output priority 0; }};"
                " add rule ip t o icmp type time-exceeded drop'"
            )
        watch = watching(office)
        page = f'address_url = "http://{WEB}:8080/address"\naddress_token_file = "{tmp_path}/token"\n'
        watch.file.write_text(watch.file.read_text() + page)
        said = live(watch, 0)
        for line in (FIBRE, COPPER):
            assert re.search(rf"^{line} .* {re.escape(PUBLIC[line])} .* yes$", said, re.MULTILINE), said
        watch.start(until_up=False)
        watch.until(lambda: proved(watch) == {FIBRE: 1.0, COPPER: 1.0}, "proof of both pins", 40)
        broken_unix_s = time.time()
        office.world.script(BREAK["fallen"])
        lost = watch.expect("pin-lost", COPPER, within_s=2 * PROVE_EVERY_S + 5)
        assert lost["detail"]["leaves_by"] == FIBRE
        assert unix_s(lost["start_earliest"]) <= broken_unix_s <= unix_s(lost["start_latest"])
        assert proved(watch) == {FIBRE: 1.0, COPPER: 0.0}
        office.world.script(BREAK["mended"])
        watch.expect("pin-lost", COPPER, ended=True, within_s=2 * PROVE_EVERY_S + 10)
        watch.stop()


def test_two_uplinks_through_one_line_are_told(behind: Office) -> None:
    """By hand and by the daemon: neither is up, since nobody can tell whose line it is that answers."""
    behind.world.script(BREAK["one-line"])
    watch = watching(behind)
    said = live(watch, 1)
    assert len(re.findall(r"^\w+ .* 198\.51\.100\.10 .* NO$", said, re.MULTILINE)) == 2
    assert "fibre: its pinned probes leave by copper" in said
    assert "copper: its pinned probes leave by fibre" in said
    watch.start(until_up=False)
    for line in (FIBRE, COPPER):
        assert watch.expect("pin-lost", line)["detail"]["because"] == "one-line"
    assert set(watch.states().values()) == {"unobserved"}
    watch.stop()


def test_check_live_shows_what_proves_each_pin(office: Office) -> None:
    """Interface, gateway, public address, first hop, path MTU; exit code 0, since all is as it should be."""
    watch = Watch(office, QUICK)
    said = live(watch, 0)
    for line in (FIBRE, COPPER):
        (row,) = [words.split() for words in said.splitlines() if words.startswith(line)]
        interface, gateway = (f"{line}0", "-") if office.mini_pc_routes else ("lan0", GATEWAY)
        assert row[:4] == [line, interface, gateway, PUBLIC[line]]
        assert row[4] == NEXT_HOP[line]
        assert row[-2:] == ["1500", "yes"]


def test_first_hops_are_learnt_and_a_change_of_route_is_kept(behind: Office) -> None:
    """The rung of the ladder needs no configuration; the router's new address is a note in the record, no event."""
    watch = watching(behind)
    watch.file.write_text(re.sub(r"^first_hop = .*$", "", watch.file.read_text(), flags=re.MULTILINE))
    watch.start()
    watch.until(lambda: 'target="first-hop",uplink="fibre"' in metrics(watch), "question to the learnt first hop", 20)
    known = len(watch.events())
    behind.world.script(
        "ip -n isp1 address del 198.51.100.1/25 dev access0\n"
        "ip -n isp1 address add 198.51.100.7/25 dev access0\n"  # the first one is what its errors come from
        "ip -n isp1 address add 198.51.100.1/25 dev access0"
    )
    moved = "fibre: 10.20.0.1 198.51.100.1 became 10.20.0.1 198.51.100.7"
    watch.until(lambda: moved in live(watch, 0, 1, 3), "note of the new route", 40)
    watch.stop()
    assert len(watch.events()) == known


def metrics(watch: Watch) -> str:
    return watch.office.world.must("pc", "curl", "-sf", "http://127.0.0.1:9470/metrics")


def test_a_dhcp_server_is_found_by_hand(behind: Office) -> None:
    """A real server (dnsmasq) offers an address, the offer is shown, and none is taken."""
    (behind.folder / "leases").touch()
    behind.spawn(
        "gw", "dnsmasq", "--no-daemon", "--conf-file=/dev/null", "--port=0", "--interface=lan0", "--bind-interfaces",
        "--pid-file", f"--dhcp-leasefile={behind.folder / 'leases'}", "--dhcp-range=10.20.0.50,10.20.0.60,1h",
        "--dhcp-option=option:dns-server,192.0.2.53",
    )  # fmt: skip
    offer = ["check", "--dhcp", "lan0"]
    deadline = time.monotonic() + 15
    while (done := behind.world.run("pc", PYTHON, "-m", "wanwatch", *offer, env=environment())).returncode == 1:
        assert time.monotonic() < deadline, done.stdout
    assert re.fullmatch(
        r"DHCP by 10\.20\.0\.1: 10\.20\.0\.(5\d|60), mask 255\.255\.255\.0, routers 10\.20\.0\.1, "
        r"resolvers 192\.0\.2\.53, lease 3600 s\n",
        done.stdout,
    ), done.stdout + done.stderr
    assert (behind.folder / "leases").read_text() == ""
    nobody = behind.world.run("pc", PYTHON, "-m", "wanwatch", "check", "--pppoe", "lan0", env=environment())
    assert (nobody.returncode, nobody.stdout) == (1, "lan0: nobody made an offer\n")


RECIPES = (Path(__file__).parents[2] / "deploy" / "gateways" / "linux.md").read_text("utf-8")


def recipe(office: Office, name: str, host: str) -> None:
    """Do on a host what the recipe of that name says."""
    (block,) = re.findall(rf"^```sh {name}\n(.*?)^```$", RECIPES, re.MULTILINE | re.DOTALL)
    file = office.folder / f"{name}.sh"
    file.write_text(block)
    office.world.must(host, "sh", "-e", str(file))


UNRULED = """
for table in 101 102; do ip -n gw route flush table $table; done
ip -n gw rule del from 10.20.0.11; ip -n gw rule del from 10.20.0.12
"""


@pytest.mark.parametrize(
    ("name", "pins"),
    [
        ("by-source", ('source = "10.20.0.11"', 'source = "10.20.0.12"')),
        ("by-dscp", ("dscp = 10", "dscp = 12")),
    ],
)
def test_a_recipe_for_the_gateway_makes_the_pins_hold(behind: Office, name: str, pins: tuple[str, str]) -> None:
    """As written, it proves both pins; and a line whose interface goes down is not answered for by the other one."""
    behind.world.script(UNRULED)
    recipe(behind, name, "gw")
    watch = Watch(behind, QUICK)
    text = watch.file.read_text()
    for line, own in zip((FIBRE, COPPER), pins, strict=True):
        text = re.sub(rf'(name = "{line}"\npin = ){{ .* }}', rf"\1{{ {own} }}", text)
    watch.file.write_text(text)
    assert len(re.findall(r" yes$", live(watch, 0), re.MULTILINE)) == 2
    behind.world.script("ip -n gw link set copper0 down")
    (copper,) = re.findall(r"^copper .*$", live(watch, 1, 3), re.MULTILINE)
    assert PUBLIC[FIBRE] not in copper
    assert NEXT_HOP[FIBRE] not in copper


def test_the_recipe_for_marks_makes_the_pins_hold(tmp_path: Path) -> None:
    """The mini PC is the gateway itself, and its packets are routed by the marks that it sets."""
    with Office(tmp_path, mini_pc_routes=True) as office:
        servers.stun(office)
        recipe(office, "by-mark", "pc")
        watch = Watch(office, QUICK)
        text = watch.file.read_text()
        for line, mark in ((FIBRE, 0x11), (COPPER, 0x12)):
            text = text.replace(f'pin = {{ interface = "{line}0" }}', f"pin = {{ mark = {mark} }}")
        watch.file.write_text(text)
        said = live(watch, 0)
        for line in (FIBRE, COPPER):
            assert re.search(rf"^{line} .* {re.escape(PUBLIC[line])} .* yes$", said, re.MULTILINE), said
