"""The configuration that the demo writes is one that the program takes."""

from pathlib import Path

from wanwatch.config import load
from wanwatch.config.plan import questions
from wanwatch.core.model import Kind
from wanwatch.demo.configuration import SITE, write
from wanwatch.demo.office import LINES
from wanwatch.demo.servers import USUAL


def test_it_is_valid_and_pins_each_line_by_its_source_address(tmp_path: Path) -> None:
    """Every line of the office is an uplink, in the same order, and its name says that this is a demo."""
    folder = tmp_path / 'odd "name" \\ of a folder'
    (folder / "record").mkdir(parents=True)
    config = load(write(folder, USUAL, "127.0.0.1:9470"))
    assert [(uplink.name, uplink.pin.sources) for uplink in config.uplinks] == [(x.name, (x.source,)) for x in LINES]
    assert "demo" in SITE
    assert config.site.name == SITE
    assert config.site.data_dir == folder / "record"


def test_it_asks_every_server_and_never_by_icmp(tmp_path: Path) -> None:
    """On loopback the kernel itself answers ICMP, whatever the story says; nobody there holds a connection open."""
    (tmp_path / "record").mkdir()
    asked = questions(load(write(tmp_path, USUAL, "127.0.0.1:9470")))
    assert {question.series.kind for question in asked} == set(Kind) - {Kind.ECHO, Kind.HELD}
    places = {(q.address, q.port) for q in asked if q.port is not None}
    assert places == {USUAL.near, USUAL.far, USUAL.till, *USUAL.resolvers, *USUAL.stun}
