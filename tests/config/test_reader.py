"""A file becomes a Config, or every mistake in it at once, each told whole."""

import tomllib
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.config import Config, ConfigError, find, load
from wanwatch.config.fields import Around
from wanwatch.config.reader import read as read_document
from wanwatch.core.model import JudgeSettings, Kind, Pin

Read = Callable[[str], Config]
Mistakes = Callable[[str], list[str]]

RIGHT = (Path(__file__).parent / "right.toml").read_text("utf-8")
MATCHES_NOTHING = "this text is not in the right file"


def spoil(right: str, old: str, new: str) -> str:
    """Return *right* with one thing changed; a test that changes nothing would prove nothing."""
    assert old in right, MATCHES_NOTHING
    return right.replace(old, new, 1)


def test_a_right_file_becomes_values(read: Read, right: str, tmp_path: Path) -> None:
    """Names of attributes, units and defaults, as the other rooms rely on them."""
    config = read(right)
    assert config.site.data_dir == tmp_path / "data"
    assert config.site.keep_raw_ns == 100 * 86_400 * 10**9
    assert [uplink.pin for uplink in config.uplinks] == [Pin(sources=("10.20.0.11",)), Pin(interface="eth2")]
    assert config.uplinks[0].handoff.mtu == 1492
    (contract,) = config.uplinks[0].contracts
    assert contract.clauses[0].model_dump() == {
        "measure": "availability",
        "at_least": Decimal("0.999"),
        "counts_out": ("planned-work", "our-side"),
        "within": "always",
        "per": "month",
    }
    near, far = config.targets
    assert (near.kind, near.address, near.port, near.every_ns, near.timeout_ns) == (
        Kind.ECHO, "192.0.2.1", None, 10**9, 2 * 10**9,
    )  # fmt: skip
    assert (far.kind, far.address, far.port) == (Kind.TCP, "192.0.2.129", 443)
    assert near.uplinks == ("fibre", "copper")
    assert (config.listen.address, config.listen.port, config.listen.tokens) == ("127.0.0.1", 9470, ())
    assert (config.carrying.every_ns, config.carrying.pulse_ns) == (5 * 10**9, 200_000_000)


def test_the_judge_of_an_empty_table_is_the_judge_of_the_core(read: Read, right: str) -> None:
    """The file's defaults and the core's are the same numbers."""
    assert read(right).judge.settings() == JudgeSettings()


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            '{ interface = "eth2" }',
            '{ interface = "eth 2" }',
            (
                "uplink[1].pin.interface = 'eth 2': not an interface name (a space, '/' or ':' cannot be in one); "
                "write the name as 'ip link' shows it"
            ),
        ),
        (
            "starts =",
            "start =",
            "uplink[0].contract.start: there is no such key; did you mean 'starts'?",
        ),
        (
            'at_most = "15ms"',
            'at_mots = "15ms", at_most = "15ms"',
            "uplink[0].contract.clause[1].at_mots: there is no such key; did you mean 'at_most'?",
        ),
        (
            'target = "near"',
            'target = "nera"',
            "uplink[0].contract.clause[1].target = 'nera': there is no such target; did you mean 'near'?",
        ),
        (
            'measure = "loss"',
            'measure = "lost"',
            "uplink[0].contract.clause[2].measure = 'lost': there is no such measure; did you mean 'loss'?",
        ),
        (
            '{ measure = "loss", at_most = "0.1%" }',
            '{ measure = "loss" }',
            "uplink[0].contract.clause[2].at_most: this key is missing; write it",
        ),
        (
            '{ measure = "loss", at_most = "0.1%" }',
            '{ measure = "speed-down", usual = "810Mbps" }',
            "uplink[0].contract.clause[2]: it has no limit; write floor, or peak, or usual and share",
        ),
        (
            'hours = "20:00-22:00"',
            'hours = "20:00-25:00"',
            (
                "uplink[0].contract.clause[1].hours = '20:00-25:00': no clock shows these hours; "
                'write hours from "00:00" to "24:00"'
            ),
        ),
        (
            "Europe/London",
            "Europe/Lundon",
            (
                "site.timezone = 'Europe/Lundon': no such time zone; "
                'write a name of the IANA time zone database, such as "Europe/London"'
            ),
        ),
        (
            'data_dir = "data"',
            'data_dir = "data"\nlocale = "en-GBR"',
            "site.locale = 'en-GBR': there is no such locale in CLDR; did you mean 'en-GB'?",
        ),
        (
            'data_dir = "data"',
            'data_dir = "wanwatch.toml/data"',
            "site.data_dir = 'wanwatch.toml/data': '{folder}/wanwatch.toml' is a file; write the path of a folder",
        ),
        (
            'every = "1s"',
            "every = 1",
            'target[0].every = 1: a duration needs its unit; write it as text with a unit, such as "1s"',
        ),
        (
            'every = "1s"',
            'every = "1ms"',
            "target[0].every = '1ms': too often for other people's machines; write \"10ms\" or longer",
        ),
        (
            'every = "1s"',
            'timeout = "2m"',
            "target[0].timeout = '2m': nobody waits so long for an answer; write \"60s\" or shorter",
        ),
        (
            'echo = "192.0.2.1"',
            "",
            "target[0]: it does not say how to ask; write one of echo, stamp, tcp, http, https, dns",
        ),
        (
            'echo = "192.0.2.1"',
            'echo = "192.0.2.1"\nstamp = "192.0.2.1"',
            "target[0]: it says echo and stamp; keep one, and make a target of each other",
        ),
        (
            'echo = "192.0.2.1"',
            'dns = "192.0.2.1"',
            "target[0].ask: this key is missing; write the name to ask this server for",
        ),
        (
            'echo = "192.0.2.1"',
            'echo = "near.example.com"',
            (
                "target[0].echo = 'near.example.com': a name, not an address; "
                "write the IP address it stands for: a name would test the resolver as well"
            ),
        ),
        (
            'every = "1s"',
            'uplinks = ["fiber", "copper"]',
            "target[0].uplinks[0] = 'fiber': there is no such uplink; did you mean 'fibre'?",
        ),
        (
            'name = "copper"',
            'name = "fibre"',
            "uplink[1].name = 'fibre': there is another uplink of this name; give each its own name",
        ),
        (
            'name = "far"',
            'name = "near"',
            "target[1].name = 'near': there is another target of this name; give each its own name",
        ),
        (
            'name = "copper"',
            'name = "unpinned"',
            (
                "uplink[1].name = 'unpinned': 'unpinned' is this program's own name for the path of ordinary traffic; "
                "write another one"
            ),
        ),
        (
            'name = "copper"',
            'name = "cop\\u001bper"',
            (
                "uplink[1].name = 'cop\\x1bper': it holds a character that cannot be printed; "
                "write it without control characters"
            ),
        ),
        (
            '{ interface = "eth2" }',
            '{ source = "10.20.0.11" }',
            (
                "uplink[1].pin: the pin of 'fibre' is the same one, so their probes could not be told apart; "
                "pin each uplink its own way"
            ),
        ),
        (
            '{ interface = "eth2" }',
            "{}",
            "uplink[1].pin: it pins nothing; write one of interface, source, mark, dscp, targets",
        ),
        (
            '{ interface = "eth2" }',
            '{ interface = "eth2", targets = true }',
            "uplink[1].pin: targets = true stands alone: the gateway does the pinning; keep one kind of pin",
        ),
        (
            '{ interface = "eth2" }',
            "{ dscp = 64 }",
            "uplink[1].pin.dscp = 64: too large; write at most 63",
        ),
        (
            "mtu = 1492",
            "mtu = 1501",
            (
                "uplink[0].handoff.mtu = 1501: PPPoE carries at most 1500 bytes; "
                "write 1492, or 1500 where the provider allows it"
            ),
        ),
        (
            '"pppoe"',
            '"ppp"',
            "uplink[0].handoff.encapsulation = 'ppp': not one of the words for this; write 'ethernet' or 'pppoe'",
        ),
        (
            'gateway = "10.20.0.1"',
            'gateway = "2001:db8::1"',
            (
                "uplink[0].gateway = '2001:db8::1': the pin of 'fibre' has no IPv6 source to ask it from; "
                "write an address of the same family, or give the pin a second source"
            ),
        ),
        (
            'every = "1s"',
            "metered = true",
            (
                "target[0].metered: there is no such key; "
                "write one of: name, echo, stamp, stamp_key_file, tcp, http, https, dns, ask, expect, family, every, "
                "timeout, uplinks"
            ),
        ),
        (
            "starts = 2026-11-03",
            "starts = 2026-11-03\nends = 2026-11-02",
            "uplink[0].contract.ends = 2026-11-02: the contract would end before it starts; write a later day",
        ),
        (
            "starts = 2026-11-03",
            'starts = "2026-11-03"',
            "uplink[0].contract.starts = '2026-11-03': not a date; write it without quotes, such as 2026-11-03",
        ),
    ],
)
def test_a_mistake_is_told_whole(mistakes: Mistakes, right: str, tmp_path: Path, old: str, new: str, line: str) -> None:
    """Path, value, reason and mend stand in one line, and nothing is told beside it."""
    assert mistakes(spoil(right, old, new)) == [line.replace("{folder}", str(tmp_path))]


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (
            '[listen]\naddress = "192.0.2.200:9470"',
            (
                "listen.address = '192.0.2.200:9470': others can reach it there, and nothing is asked of them; "
                "write password_file or token_file as well, or an address such as 127.0.0.1:9470"
            ),
        ),
        (
            '[listen]\naddress = "0.0.0.0:9470"',
            (
                "listen.address = '0.0.0.0:9470': others can reach it there, and nothing is asked of them; "
                "write password_file or token_file as well, or an address such as 127.0.0.1:9470"
            ),
        ),
        (
            '[listen]\naddress = "localhost:9470"',
            ('listen.address = \'localhost:9470\': a name, not an address; write "127.0.0.1:9470" or "[::1]:9470"'),
        ),
        (
            '[carrying]\nevery = "5s"\npulse = "6s"',
            "carrying.pulse = '6s': the quick pulse is slower than every (5s); write at most \"5s\"",
        ),
        (
            '[carrying]\naddress_url = "http://www.example.com/address"',
            (
                "carrying.address_url = 'http://www.example.com/address': a host name stands in it; "
                'write one such as "http://192.0.2.80:9471/address"'
            ),
        ),
        (
            '[carrying]\naddress_url = "ftp://192.0.2.80/"',
            (
                "carrying.address_url = 'ftp://192.0.2.80/': not a URL with http or https; "
                'write one such as "http://192.0.2.80:9471/address"'
            ),
        ),
        (
            '[[notice]]\nto = "mailto:ops@example.net"',
            "notice[0].to = 'mailto:ops@example.net': there is no mail server to send it by; write a [smtp] table",
        ),
        (
            '[speed]\nserver = "http://192.0.2.80/"\ndown = "http://192.0.2.80/d"',
            "speed: it says server as well as down or up; keep the server, or the pair of URLs",
        ),
        ("[names]\nask = []", "names.ask: it is empty; write at least one"),
        ('names = "x"', "target[1].names: there is no such key; did you mean 'name'?"),
        (
            '[[target]]\nname = "page"\nhttp = "http://www.example.com/"\nuplinks = ["copper"]\n[site2]',
            "site2: there is no such key; did you mean 'site'?",
        ),
        (
            '[[target]]\nname = "six"\necho = "2001:db8::1"\nuplinks = ["fibre"]',
            (
                "target[2].uplinks[0] = 'fibre': the pin of 'fibre' has no IPv6 source to ask it from; "
                "leave it out, or give the pin a second source"
            ),
        ),
        (
            '[[uplink]]\nname = "radio"\npin = { source = "2001:db8::11" }',
            (
                "uplink[2].name = 'radio': no target is asked through this uplink, so nothing would be known of it; "
                "add a [[target]] that it can reach, or name it in a target's uplinks"
            ),
        ),
        (
            '[[uplink]]\nname = "radio"\npin = { source = ["10.9.0.1", "10.9.0.2"] }',
            (
                "uplink[2].pin.source: two source addresses of one family; "
                "write one address, or one of IPv4 and one of IPv6"
            ),
        ),
    ],
)
def test_a_mistake_in_another_table_is_told_whole(mistakes: Mistakes, right: str, more: str, line: str) -> None:
    """Likewise for tables that the right file does without."""
    assert mistakes(f"{right}\n{more}\n") == [line]


def test_a_target_that_the_gateway_routes_belongs_to_one_uplink(mistakes: Mistakes, right: str) -> None:
    """What the gateway routes one way only says nothing of any other uplink."""
    assert mistakes(spoil(right, '{ interface = "eth2" }', "{ targets = true }")) == [
        f"target[{index}]: the gateway routes targets of 'copper' through that uplink only; "
        "write the one uplink in this target's uplinks"
        for index in (0, 1)
    ]


def test_a_page_by_name_needs_resolvers(mistakes: Mistakes, right: str) -> None:
    """A host name in a URL is resolved through the same uplink, so that uplink needs resolvers."""
    text = spoil(right, 'resolvers = ["203.0.113.53"]', "")
    text += '\n[[target]]\nname = "page"\nhttp = "http://www.example.com/"\n'
    assert mistakes(text) == [
        (
            "target[2].http = 'http://www.example.com/': "
            "uplink 'copper' has no resolvers to find 'www.example.com' with; "
            "write that uplink's resolvers, or an address in the URL"
        )
    ]


def test_a_target_of_one_family_goes_through_the_uplinks_that_have_it(read: Read, right: str) -> None:
    """By default a target is asked through all uplinks whose pin has an address of its family."""
    config = read(right + '\n[[target]]\nname = "six"\necho = "2001:db8::1"\n')
    assert config.targets[2].uplinks == ("copper",)


PLANTED = [
    ('name = "harbour-lane"', 'name = ""'),
    ("Europe/London", "Europe/Lundon"),
    ('source = "10.20.0.11"', 'source = "fibre.example.com"'),
    ("mtu = 1492", 'mtu = "1492"'),
    ("starts =", "start ="),
    ('at_least = "99.9%"', "at_least = 99.9"),
    ('target = "near"', 'target = "neer"'),
    ('hours = "20:00-22:00"', 'hours = "22:00-22:00"'),
    ('name = "copper"', 'name = "fibre"'),
    ('tcp = "192.0.2.129:443"', 'tcp = "192.0.2.129"\nevery = 5'),
]


def test_of_ten_planted_mistakes_and_one_more_all_are_named(mistakes: Mistakes, right: str) -> None:
    """No mistake hides another; they come in the order of the file."""
    text = right
    for old, new in PLANTED:
        text = spoil(text, old, new)
    assert [line.partition(":")[0].partition(" = ")[0] for line in mistakes(text)] == [
        "site.name",
        "site.timezone",
        "uplink[0].pin.source",
        "uplink[0].handoff.mtu",
        "uplink[0].contract.start",
        "uplink[0].contract.clause[0].at_least",
        "uplink[0].contract.clause[1].target",
        "uplink[0].contract.clause[1].hours",
        "uplink[1].name",
        "target[1].tcp",
        "target[1].every",
    ]


def test_checks_across_tables_go_on_beside_a_spoilt_value(mistakes: Mistakes, right: str) -> None:
    """A file is judged as far as its parts can be read, and rows keep their numbers."""
    text = spoil(spoil(right, "2026-11-03", '"soon"'), 'measure = "availability"', 'measure = "uptime"')
    text = spoil(text, "mtu = 1492", "mtu = 1501") + '\n[carrying]\npulse = "10s"\n[[target]]\nname = "x"\necho = 5\n'
    assert [line.partition(" = ")[0] for line in mistakes(text)] == [
        "uplink[0].handoff.mtu",
        "uplink[0].contract.starts",
        "uplink[0].contract.clause[0].measure",
        (
            "uplink[0].contract.credit: credit is owed for availability, and no clause promises any; "
            "write that clause, or leave credit out"
        ),
        "target[2].echo",
        "carrying.pulse",
    ]


def test_an_empty_file_says_what_every_file_needs(mistakes: Mistakes) -> None:
    """Missing tables are mistakes like any other."""
    assert mistakes("") == [
        "site: this key is missing; write it",
        "uplink: this key is missing; write it",
        "target: this key is missing; write it",
    ]


def test_broken_toml_is_told_by_line_and_column(mistakes: Mistakes, tmp_path: Path) -> None:
    """The parser's own place is passed on."""
    (line,) = mistakes("[site]\nname = harbour\n")
    assert line == f"{tmp_path}/wanwatch.toml: not TOML: Invalid value (at line 2, column 8); mend the line named"


def test_a_file_that_is_not_there_says_how_to_name_one(tmp_path: Path) -> None:
    """The mend names both ways out."""
    with pytest.raises(ConfigError) as caught:
        load(tmp_path / "none.toml", {})
    assert str(caught.value) == (
        f"{tmp_path}/none.toml: cannot be read: No such file or directory; "
        "name another file with --config, or make one with 'wanwatch init'"
    )


@pytest.mark.parametrize("content", [b"\xff\xfe", b"x = " + b"[" * 5000, b"x = " + b"9" * 5000])
def test_bytes_that_no_person_wrote_are_a_mistake_too(tmp_path: Path, content: bytes) -> None:
    """Not UTF-8, nesting without end, numbers without end: told, never a trace."""
    file = tmp_path / "odd.toml"
    file.write_bytes(content)
    with pytest.raises(ConfigError):
        load(file, {})


LEAVES = st.one_of(st.text(max_size=12), st.integers(), st.floats(allow_nan=True), st.booleans(), st.dates())
KEYS = st.sampled_from(
    ["site", "uplink", "target", "names", "judge", "carrying", "speed", "listen", "notice", "smtp", "name", "pin",
     "source", "contract", "clause", "credit", "measure", "at_most", "echo", "dns", "every", "handoff", "x"]
)  # fmt: skip
TREES = st.recursive(
    st.one_of(LEAVES, st.sampled_from(["availability", "delay", "5s", "99.9%", "192.0.2.1", "fibre"])),
    lambda below: st.one_of(st.lists(below, max_size=3), st.dictionaries(KEYS, below, max_size=6)),
    max_leaves=25,
)


@given(st.dictionaries(KEYS, TREES, max_size=8))
def test_no_document_raises_anything_but_a_config_error(document: dict[str, Any]) -> None:
    """Whatever shape a file has, the answer is a Config or its mistakes."""
    try:
        config = read_document(document, Around(Path("/tmp"), {}))  # noqa: S108 - nothing is written
    except ConfigError as error:
        assert error.mistakes  # noqa: PT017 - a document by chance is hardly ever right
    else:
        assert isinstance(config, Config)


def _places(part: Any, loc: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    below = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    for step, value in below:
        yield (*loc, step)
        yield from _places(value, (*loc, step))


RIGHT_PLACES = list(_places(tomllib.loads(RIGHT)))


@given(st.sampled_from(RIGHT_PLACES), TREES)
def test_no_value_anywhere_raises_anything_but_a_config_error(loc: tuple[str | int, ...], value: Any) -> None:
    """One part of a right file becomes anything at all: the answer is a Config or its mistakes."""
    document: Any = tomllib.loads(RIGHT)
    part = document
    for step in loc[:-1]:
        part = part[step]
    part[loc[-1]] = value
    try:
        read_document(document, Around(Path("/tmp"), {}))  # noqa: S108 - nothing is written
    except ConfigError as error:
        assert error.mistakes  # noqa: PT017 - some values are right


@pytest.mark.usefixtures("nobody")
@pytest.mark.parametrize("folder", ["/usr/wanwatch/data", "/root/wanwatch/data", "/proc/wanwatch"])
def test_a_data_dir_that_cannot_be_made_is_a_mistake(folder: str) -> None:
    """Better told now than in the night of the first outage; a closed folder above is no crash."""
    document = tomllib.loads(RIGHT.replace('data_dir = "data"', f'data_dir = "{folder}"'))
    nearest = str(Path(folder).parents[1 if folder.endswith("data") else 0])
    with pytest.raises(ConfigError) as caught:
        read_document(document, Around(Path("/tmp"), {}))  # noqa: S108 - nothing is written
    assert str(caught.value) == (
        f"site.data_dir = '{folder}': this folder cannot be made by the user who asks ('{nearest}' is not theirs to "
        "write); write another folder, or give that one to the user whom the daemon runs as"
    )


def test_the_file_is_found_in_the_usual_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Named, else the environment's, else the usual places."""
    monkeypatch.chdir(tmp_path)
    assert find(Path("a.toml"), {"WANWATCH_CONFIG": "b.toml"}) == Path("a.toml")
    assert find(None, {"WANWATCH_CONFIG": "b.toml"}) == Path("b.toml")
    (tmp_path / "wanwatch.toml").touch()
    assert find(None, {}) == Path("wanwatch.toml")


def test_where_no_file_is_found_the_usual_places_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The mend names every way to give one."""
    monkeypatch.setattr("wanwatch.config.reader.USUAL_PLACES", (Path("wanwatch.toml"), tmp_path / "none.toml"))
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ConfigError) as caught:
        find(None, {})
    assert str(caught.value) == (
        f"configuration: there is neither wanwatch.toml nor {tmp_path}/none.toml; "
        "name it with --config or in $WANWATCH_CONFIG, or make one with 'wanwatch init'"
    )
