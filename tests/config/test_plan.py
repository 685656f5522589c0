"""The plan of questions: each uplink is asked through its pin, and the unpinned path a probe each pulse."""

from collections import Counter
from pathlib import Path
from zoneinfo import ZoneInfo

from wanwatch.config import Config, load
from wanwatch.config.plan import judge_settings, questions, route_map
from wanwatch.core.model import NS_PER_S, UNPINNED, JudgeSettings, Kind, Pin, Promised, Role

OFFICE = """
[site]
name = "harbour-lane"
data_dir = "data"
[[uplink]]
name = "fibre"
pin = { source = "10.20.0.11" }
gateway = "10.20.0.1"
first_hop = "198.51.100.1"
resolvers = ["192.0.2.53", "192.0.2.54:5353"]
[[uplink]]
name = "backup"
pin = { mark = 7 }
metered = true
[[target]]
name = "near"
echo = "192.0.2.1"
[[target]]
name = "far"
stamp = "192.0.2.2"
[[target]]
name = "page"
http = "http://www.example.com/"
uplinks = ["fibre"]
[names]
ask = ["www.example.com"]
[carrying]
stun = ["192.0.2.78:3478"]
"""


def office(folder: Path, text: str = OFFICE) -> Config:
    path = folder / "wanwatch.toml"
    path.write_text(text, "utf-8")
    return load(path)


def test_every_uplink_is_asked_through_its_own_pin(tmp_path: Path) -> None:
    """Targets, gateway, first hop, resolvers and STUN servers, each with the role it plays for the judge."""
    config = office(tmp_path)
    asked = Counter(
        (question.series.role, question.pin) for question in questions(config) if question.series.uplink == "fibre"
    )
    pin = Pin(sources=("10.20.0.11",))
    assert asked == {
        (Role.LINE, pin): 3,
        (Role.GATEWAY, pin): 1,
        (Role.FIRST_HOP, pin): 1,
        (Role.NAMES, pin): 2,
        (Role.EGRESS, pin): 1,
    }


def test_the_unpinned_path_gets_one_probe_each_pulse(tmp_path: Path) -> None:
    """The targets take turns, so that together they are asked every `pulse`; a page is not fetched so often."""
    plan = [
        question for question in questions(office(tmp_path))
        if question.series.uplink == UNPINNED and question.series.role is Role.LINE
    ]  # fmt: skip
    assert [question.series.target for question in plan] == ["near", "far"]
    assert sum(NS_PER_S / question.every_ns for question in plan) == 1 / 0.2
    assert {question.pin for question in plan} == {Pin()}


def test_a_connection_is_not_opened_five_times_a_second(tmp_path: Path) -> None:
    """Where there is nothing lighter than TCP to ask, the unpinned path is asked once a second."""
    text = OFFICE.replace('echo = "192.0.2.1"', 'tcp = "192.0.2.1:443"').replace(
        'stamp = "192.0.2.2"', 'tcp = "192.0.2.2:443"'
    )
    plan = [q for q in questions(office(tmp_path, text)) if q.series.uplink == UNPINNED and q.series.kind is Kind.TCP]
    assert [question.every_ns for question in plan] == [2 * NS_PER_S, 2 * NS_PER_S]


def test_every_name_is_asked_in_turn(tmp_path: Path) -> None:
    """Two names share a resolver's interval; both speak for the same series."""
    text = OFFICE.replace('ask = ["www.example.com"]', 'ask = ["www.example.com", "www.example.net"]')
    plan = [q for q in questions(office(tmp_path, text)) if q.series.role is Role.NAMES and q.series.uplink == "fibre"]
    assert {(q.address, q.port, q.ask) for q in plan} == {
        (address, port, name)
        for address, port in (("192.0.2.53", 53), ("192.0.2.54", 5353))
        for name in ("www.example.com", "www.example.net")
    }
    assert {question.every_ns for question in plan} == {20 * NS_PER_S}


def test_the_kernel_bears_witness_only_where_it_can(tmp_path: Path) -> None:
    """By interface, and only if every uplink can be told from the others."""
    text = OFFICE.replace('pin = { source = "10.20.0.11" }', 'pin = { interface = "eth1" }')
    assert route_map(office(tmp_path, text)) == {}
    both = text.replace("pin = { mark = 7 }", 'pin = { interface = "eth2" }\ngateway = "203.0.113.1"')
    assert route_map(office(tmp_path, both)) == {("eth1", "10.20.0.1"): "fibre", ("eth2", "203.0.113.1"): "backup"}


def test_a_metered_line_is_probed_sparely(tmp_path: Path) -> None:
    """Ten times as rarely, and never quicker than once a second."""
    plan = [question for question in questions(office(tmp_path)) if question.series.uplink == "backup"]
    near = next(question for question in plan if question.series.target == "near")
    assert (near.every_ns, near.pulse_ns) == (10 * NS_PER_S, NS_PER_S)
    assert all(question.pulse_ns <= question.every_ns for question in plan)


def test_targets_that_are_routed_one_way_say_nothing_of_ordinary_traffic(tmp_path: Path) -> None:
    """With a pin by targets, the gateway sends these addresses over one uplink whatever carries."""
    text = OFFICE.replace("pin = { mark = 7 }", "pin = { targets = true }").replace(
        'echo = "192.0.2.1"', 'echo = "192.0.2.1"\nuplinks = ["backup"]'
    ).replace('stamp = "192.0.2.2"', 'stamp = "192.0.2.2"\nuplinks = ["fibre"]')  # fmt: skip
    plan = questions(office(tmp_path, text))
    assert {q.series.target for q in plan if q.series.uplink == UNPINNED and q.series.role is Role.LINE} == {"far"}


def test_a_stun_server_is_asked_by_pins_of_its_family_only(tmp_path: Path) -> None:
    """An IPv4 source cannot ask an IPv6 server."""
    config = office(tmp_path, OFFICE.replace('"192.0.2.78:3478"', '"[2001:db8::78]:3478"'))
    asked = {question.series.uplink for question in questions(config) if question.series.kind is Kind.STUN}
    assert asked == {"backup", UNPINNED}


PAGE = 'address_url = "http://192.0.2.80:9471/address"'


def test_a_page_is_asked_for_the_address_by_pins_only_and_politely(tmp_path: Path) -> None:
    """As often as pins are proved, at most once a minute and no more often than STUN; a tenth of that if metered."""
    for more, every_s in (("", 60), ('prove_every = "10s"', 10), ('prove_every = "10s"\nevery = "20s"', 20)):
        plan = questions(office(tmp_path, f"{OFFICE}{PAGE}\n{more}\n"))
        asked = {q.series.uplink: q for q in plan if q.series.role is Role.EGRESS and q.series.kind is Kind.HTTP}
        assert {name: q.every_ns // NS_PER_S for name, q in asked.items()} == {"fibre": every_s, "backup": 10 * every_s}
        assert {q.pulse_ns // NS_PER_S for q in asked.values()} == {every_s}
        assert {q.address for q in asked.values()} == {"http://192.0.2.80:9471/address"}
        assert asked["fibre"].pin == Pin(sources=("10.20.0.11",))
        assert asked["fibre"].expect == 200


def test_a_page_is_asked_by_pins_of_its_family_only(tmp_path: Path) -> None:
    """An IPv4 source cannot ask an IPv6 address."""
    page = 'address_url = "https://[2001:db8::80]/address"'
    plan = questions(office(tmp_path, f"{OFFICE}{page}\n"))
    asked = {q.series.uplink for q in plan if q.series.role is Role.EGRESS and q.series.kind is Kind.HTTP}
    assert asked == {"backup"}


def test_the_judge_knows_the_sites_zone_and_what_the_contracts_promise(tmp_path: Path) -> None:
    """Usual delay goes by the site's clocks; a speed that a contract leaves out is not promised."""
    contract = '[uplink.contract]\nprovider = "Example Fibre"\ndown_mbps = 900\n'
    text = OFFICE.replace('[[uplink]]\nname = "backup"', f'{contract}[[uplink]]\nname = "backup"')
    text = text.replace('data_dir = "data"', 'data_dir = "data"\ntimezone = "Europe/London"')
    settings = judge_settings(office(tmp_path, f'{text}[judge]\nimpaired_speed = "40%"\nclear_after = "2m"\n'))
    assert settings == JudgeSettings(
        impaired_speed_ratio=0.4,
        clear_after_ns=120 * NS_PER_S,
        zone=ZoneInfo("Europe/London"),
        promised={"fibre": Promised(900e6, None)},
    )


def asked_by_traffic(folder: Path, text: str) -> dict[tuple[Kind, str], tuple[float, float]]:
    """What ordinary traffic is asked by kind: the seconds between two probes, while all is well and in trouble."""
    plan = [q for q in questions(office(folder, text)) if q.series.role is Role.TRAFFIC]
    assert {(q.series.uplink, q.pin) for q in plan} <= {(UNPINNED, Pin())}
    return {(q.series.kind, q.series.target): (q.every_ns / NS_PER_S, q.pulse_ns / NS_PER_S) for q in plan}


TILL = '[[target]]\nname = "till"\ntcp = "192.0.2.80:443"\n[names]'


def test_ordinary_traffic_is_asked_by_kind_once_a_second(tmp_path: Path) -> None:
    """The resolvers share the second; a target by TCP is where new connections go; nothing is held unless told."""
    plain = OFFICE.replace("metered = true\n", "").replace("[names]", TILL)
    assert asked_by_traffic(tmp_path, plain) == {
        (Kind.DNS, "192.0.2.53"): (2.0, 2.0),
        (Kind.DNS, "192.0.2.54:5353"): (2.0, 2.0),
        (Kind.TCP, "till"): (1.0, 1.0),
    }


def test_what_ordinary_traffic_is_asked_by_kind_can_be_chosen(tmp_path: Path) -> None:
    """Other resolvers, other places, and one's own reflector, which bears the pulse; an empty list is none."""
    plain = OFFICE.replace("metered = true\n", "").replace("[names]", TILL)
    chosen = 'names = ["192.0.2.55"]\nconnect = ["192.0.2.81:80", "192.0.2.82:80"]\nheld = "192.0.2.83:7"\n'
    assert asked_by_traffic(tmp_path, plain + chosen) == {
        (Kind.DNS, "192.0.2.55"): (1.0, 1.0),
        (Kind.TCP, "192.0.2.81:80"): (2.0, 2.0),
        (Kind.TCP, "192.0.2.82:80"): (2.0, 2.0),
        (Kind.HELD, "192.0.2.83:7"): (1.0, 0.2),
    }
    assert asked_by_traffic(tmp_path, f"{plain}names = []\nconnect = []\n") == {}


def test_beside_a_metered_line_ordinary_traffic_is_asked_by_kind_ten_times_as_sparely(tmp_path: Path) -> None:
    """It may come to carry; in trouble it is asked like any other."""
    text = OFFICE.replace("[names]", TILL) + 'held = "192.0.2.83:7"\n'
    assert asked_by_traffic(tmp_path, text) == {
        (Kind.DNS, "192.0.2.53"): (20.0, 2.0),
        (Kind.DNS, "192.0.2.54:5353"): (20.0, 2.0),
        (Kind.TCP, "till"): (10.0, 1.0),
        (Kind.HELD, "192.0.2.83:7"): (10.0, 0.2),
    }


def test_a_resolver_over_tls_is_asked_each_second_by_those_who_say_so_only(tmp_path: Path) -> None:
    """Five thousand bytes a question (measured): by default only what is asked over UDP."""
    text = OFFICE.replace('"192.0.2.54:5353"', '"tls://192.0.2.54#dns.example.net"')
    assert (Kind.DNS, "tls://192.0.2.54#dns.example.net") not in asked_by_traffic(tmp_path, text)
    chosen = asked_by_traffic(tmp_path, text + 'names = ["tls://192.0.2.54#dns.example.net"]\n')
    assert list(chosen) == [(Kind.DNS, "tls://192.0.2.54#dns.example.net")]


def test_where_the_path_is_timed_by_connections_no_others_are_opened(tmp_path: Path) -> None:
    """With nothing lighter than TCP, the path's own probes are new connections."""
    text = OFFICE.replace('echo = "192.0.2.1"', 'tcp = "192.0.2.1:443"').replace(
        'stamp = "192.0.2.2"', 'tcp = "192.0.2.2:443"'
    )
    assert not [kind for kind, _ in asked_by_traffic(tmp_path, text) if kind is Kind.TCP]
