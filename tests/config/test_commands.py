"""check and init, as a person sees them."""

import sys
from pathlib import Path

import pytest

from wanwatch.config import ConfigError, commands, load, remarks
from wanwatch.config.machine import MachineFacts, Way, default_routes, default_routes6, machine_facts, nameservers
from wanwatch.config.propose import PLACEHOLDER, propose
from wanwatch.config.remarks import goodput_bps
from wanwatch.config.uplink import Handoff

HANDOVER = "handover.toml"  # what an installer hands over: a file of its own kind, see tests/config/test_handover.py
EXAMPLES = sorted(p for p in (Path(__file__).parents[2] / "examples").glob("*.toml") if p.name != HANDOVER)


def test_there_are_examples() -> None:
    """The tests below speak of files that exist."""
    assert len(EXAMPLES) == 5


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_every_example_is_fit_to_use(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An example that does not load teaches a mistake."""
    assert commands.check(example) == 0
    assert capsys.readouterr().out.startswith(f"{example}: fit to use\n")


def test_check_tells_mistakes_and_returns_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2 is for a bad configuration; mistakes go to standard error."""
    file = tmp_path / "wanwatch.toml"
    file.write_text("")
    assert commands.check(file) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.splitlines()[0] == "3 mistakes in the configuration:"


def test_the_summary_says_what_will_be_done(tmp_path: Path, right: str) -> None:
    """Pins, questions, paces and data are told before anything is sent."""
    file = tmp_path / "wanwatch.toml"
    file.write_text(right)
    text = commands.summary(load(file, {}))
    assert "  1. fibre: pinned by source 10.20.0.11\n" in text
    assert "       near: echo 192.0.2.1, every 1s, lost after 2s\n" in text
    assert "       far: tcp 192.0.2.129 port 443, every 1s, lost after 2s\n" in text
    assert "  Ordinary traffic, whichever uplink carries it:\n" in text


def test_the_summary_says_what_is_sent_to_whom_and_shows_no_key(tmp_path: Path, right: str) -> None:
    """Who is told, where the record goes, and who waits for signs of life; of a URL the host only."""
    file = tmp_path / "wanwatch.toml"
    file.write_text(
        right
        + '[[notice]]\nto = "https://hooks.example.net/a-key"\non = ["outage"]\nreport = true\n'
        + '[[remote_write]]\nurl = "https://metrics.example.net/write"\nthrough = "any"\n'
        + '[ping]\nurl = "https://elsewhere.example.net/another-key"\n'
    )
    text = commands.summary(load(file, {}))
    assert "  notices of outage to https://hooks.example.net; the month's report\n" in text
    routes = "though by any of this machine's routes"
    assert f"  the record, minute by minute, to https://metrics.example.net, {routes}\n" in text
    # 8640 times a connection (RFC 9293) with a handshake of 5 kB, a head of 600 bytes and their packets' headers
    assert "  a sign of life to https://elsewhere.example.net, every 5m: about 52 MB in 30 days\n" in text
    assert "key" not in text


def test_a_promise_beyond_what_the_handoff_carries_is_told(tmp_path: Path, right: str) -> None:
    """Ethernet and PPPoE take their share of the link: missing such a limit is no breach (see the next test)."""
    file = tmp_path / "wanwatch.toml"
    clause = '  { measure = "repair", at_most = "24h" },\n  { measure = "speed-down", floor = "980Mbps" },\n]\ncredit'
    file.write_text(right.replace("]\ncredit", clause) + '[speed]\nserver = "http://192.0.2.80/"\n')
    assert remarks(load(file, {}))[0] == (
        "uplink 'fibre': the speed-down clause asks for 980 Mbit/s, and its handoff carries at most 944.1 Mbit/s of "
        "TCP payload; missing it is no breach."
    )


@pytest.mark.parametrize(
    ("handoff", "payload", "frame"),
    [
        ({"link_mbps": 1000}, 1460, 1538),
        ({"link_mbps": 1000, "vlan": True}, 1460, 1542),
        ({"link_mbps": 1000, "mtu": 1492, "encapsulation": "pppoe"}, 1452, 1538),
    ],
)
def test_a_handoff_carries_its_headers_too(handoff: dict[str, object], payload: int, frame: int) -> None:
    """IEEE 802.3: 38 bytes around a packet; IEEE 802.1Q: 4; RFC 2516: 8; IPv4 and TCP without options: 40."""
    assert goodput_bps(Handoff.model_validate(handoff)) == 10**9 * payload // frame


def test_a_right_and_full_file_has_only_what_stun_would_add(tmp_path: Path, right: str) -> None:
    """Remarks are rare, or nobody reads them."""
    file = tmp_path / "wanwatch.toml"
    file.write_text(right)
    assert remarks(load(file, {})) == []


def test_an_extra_that_is_missing_is_named_with_the_way_to_install_it(
    tmp_path: Path, right: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where nothing asks for it, and where it is installed, nobody needs to know."""
    file = tmp_path / "wanwatch.toml"
    counters = '[uplink.counters]\nagent = "10.20.0.1"\ninterface = "wan1"\ncommunity_file = "community"\n'
    (tmp_path / "community").write_text("a-community")
    (tmp_path / "community").chmod(0o600)
    text = right.replace('[[uplink]]\nname = "copper"', f'{counters}[[uplink]]\nname = "copper"')
    file.write_text(f'{text}\n[[remote_write]]\nurl = "https://metrics.example.net/api/v1/write"\n')
    assert remarks(load(file, {})) == []
    for module in ("cramjam", "pysnmp"):
        monkeypatch.setitem(sys.modules, module, None)
    assert remarks(load(file, {})) == [
        (
            "[[remote_write]]: nothing is sent, since cramjam is not installed, which the extra remote-write brings: "
            "pip install 'wanwatch[remote-write]'."
        ),
        (
            "[uplink.counters]: other traffic is not seen, since pysnmp is not installed, which the extra snmp brings: "
            "pip install 'wanwatch[snmp]'."
        ),
    ]
    file.write_text(right)
    assert remarks(load(file, {})) == []


def test_a_page_proves_pins_without_stun_and_says_nothing_of_who_carries(tmp_path: Path) -> None:
    """Two lines behind one gateway: the remark tells what is missing, and no more than that."""
    uplinks = "".join(f'[[uplink]]\nname = "line {n}"\npin = {{ dscp = {n} }}\n' for n in (1, 2))
    text = (
        f'[site]\nname = "x"\ndata_dir = "data"\n{uplinks}[[target]]\nname = "near"\necho = "192.0.2.1"\n[carrying]\n'
    )
    said = {}
    for page in ("", 'address_url = "http://192.0.2.80/address"\n'):
        (tmp_path / "wanwatch.toml").write_text(text + page)
        (said[page],) = [remark for remark in remarks(load(tmp_path / "wanwatch.toml", {})) if "stun" in remark]
    assert ["pins are proved by the first hops alone" in remark for remark in said.values()] == [True, False]
    assert all("nobody can tell which uplink carries" in remark for remark in said.values())


def test_init_writes_a_file_once(tmp_path: Path) -> None:
    """What stands there already is never written over."""
    file = tmp_path / "wanwatch.toml"
    assert commands.init(file) == 0
    load(file, {})
    with pytest.raises(ConfigError, match="there is a file of this name already"):
        commands.init(file)


def test_the_proposal_for_this_machine_is_accepted(tmp_path: Path) -> None:
    """Init gives a file that check accepts as it is, on the machine that it is made for."""
    file = tmp_path / "wanwatch.toml"
    file.write_text(propose(machine_facts()))
    config = load(file, {})
    assert len(config.uplinks) >= 1


@pytest.mark.usefixtures("nobody")
def test_a_user_without_a_home_gets_a_folder_beside_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder proposed is one that this user can make."""
    monkeypatch.setenv("HOME", "/nonexistent")
    assert machine_facts().data_dir == Path("wanwatch-data")


@pytest.mark.parametrize(
    ("ways", "resolvers", "uplinks", "targets"),
    [
        ((), (), [("eth0", None)], [PLACEHOLDER]),
        (
            (Way("eth1", "198.51.100.1", 0), Way("eth2", "203.0.113.1", 100)),
            ("198.51.100.53", "203.0.113.53"),
            [("eth1", "198.51.100.1"), ("eth2", "203.0.113.1")],
            ["198.51.100.53", "203.0.113.53"],
        ),
        ((Way("ppp0", None, 0),), ("198.51.100.53",), [("ppp0", None)], ["198.51.100.53"]),
        (
            (Way("eth0", "10.0.0.1", 0), Way("eth0", "10.0.0.2", 0)),
            ("10.0.0.1",),
            [("eth0", "10.0.0.1")],
            [PLACEHOLDER],
        ),
        ((Way("eth0", "fe80::1%eth0", 0),), (), [("eth0", "fe80::1%eth0")], [PLACEHOLDER]),
    ],
)
def test_a_proposal_has_an_uplink_for_each_way_out(
    tmp_path: Path,
    ways: tuple[Way, ...],
    resolvers: tuple[str, ...],
    uplinks: list[tuple[str, str | None]],
    targets: list[str],
) -> None:
    """One uplink for each interface with a default route; far targets are resolvers that are not the gateway."""
    file = tmp_path / "wanwatch.toml"
    file.write_text(propose(MachineFacts('mini "PC"\n', "Europe/Oslo", tmp_path / "data", ways, resolvers)))
    config = load(file, {})
    assert [(uplink.pin.interface, uplink.gateway) for uplink in config.uplinks] == uplinks
    assert [target.echo for target in config.targets] == targets


def test_default_routes_are_read_from_the_kernels_table() -> None:
    """proc(5): destination and mask are zero, flags say up (1) and gateway (2); words are in host byte order."""
    table = (
        "Iface\tDestination\tGateway \tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT\n"
        "eth0\t00000000\t010200C0\t0003\t0\t0\t100\t00000000\t0\t0\t0\n"
        "eth0\t000200C0\t00000000\t0001\t0\t0\t100\t00FFFFFF\t0\t0\t0\n"
        "ppp0\t00000000\t00000000\t0001\t0\t0\t200\t00000000\t0\t0\t0\n"
    )
    assert default_routes(table) == [Way("eth0", "192.0.2.1", 100), Way("ppp0", None, 200)]


def test_default_routes_of_ipv6_leave_the_reject_route_out() -> None:
    """The kernel keeps a default route through lo that refuses everything; it is no way out."""
    zero, gateway = "0" * 32, "fe800000000000000000000000000001"
    table = (
        f"{zero} 00 {zero} 00 {gateway} 00000400 00000001 00000000 00000003 eth0\n"
        f"{zero} 00 {zero} 00 {zero} ffffffff 00000001 00000000 00200200 lo\n"
    )
    assert default_routes6(table) == [Way("eth0", "fe80::1%eth0", 1024)]


def test_loopback_resolvers_are_left_out() -> None:
    """resolv.conf(5): a resolver on this machine says nothing of a line."""
    text = "# made by hand\nnameserver 127.0.0.53\nnameserver 192.0.2.53\nnameserver\nnameserver here\noptions edns0\n"
    assert nameservers(text) == ["192.0.2.53"]
