"""A story of a record that is sent while a line is cut: it takes the other line, and arrives whole."""

import base64
import json
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import cramjam
import pytest

from tests.lab.office import COPPER, FIBRE, PUBLIC, WEB, Truth
from tests.lab.python import PYTHON
from tests.lab.scraped import reconfigure
from tests.lab.stage import Lab, Outcome, Story, tells
from tests.publish.remote_write.decoded import points
from tests.publish.remote_write.hours import EVERY_S, MINUTES

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

PORT: Final = 9090
BESIDE: Final = Path(__file__).parent
BACK_FILLED: Final = (str(BESIDE / "back_filled.py"),)


def received(folder: Path) -> list[dict[str, Any]]:
    """What came to the receiver so far."""
    path = folder / "received.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def sent_past_a_cut(lab: Lab) -> Mapping[str, Truth]:
    """The receiver takes part of an hour, and the rest only once the fibre is cut and known to be down."""
    folder = lab.office.folder
    lab.office.spawn("net", PYTHON, str(BESIDE / "receiver.py"), WEB, str(PORT), str(folder))
    url = f"http://{WEB}:{PORT}/api/v1/write"
    reconfigure(lab, f'{lab.watch.file.read_text()}\n[[remote_write]]\nurl = "{url}"\n')
    lab.watch.until(lambda: any(not one["taken"] for one in received(folder)), "request that is refused", within_s=90)
    cut = lab.office.cut(FIBRE)
    lab.watch.until(lambda: lab.watch.states()[FIBRE] == "down", "line that is down", within_s=90)
    (folder / "ready").touch()
    lab.watch.until(lambda: all_there(folder), "record that arrived", within_s=120)
    return {"cut": cut}


def all_there(folder: Path) -> bool:
    """Whether as many points of probes have been taken as the hour has."""
    return sum(len(of) for of in taken(folder).values()) >= 2 * MINUTES


def taken(folder: Path) -> dict[str, list[tuple[int, str, float]]]:
    """What was taken of the hour's probes, by uplink: when, outcome, how many; points of none are left out."""
    found: dict[str, list[tuple[int, str, float]]] = {}
    for one in received(folder):
        request = bytes(cramjam.snappy.decompress_raw(base64.b64decode(one["body"]))) if one["taken"] else b""
        for labels, sent in points(request).items():
            of = dict(labels)
            if of["__name__"] == "wanwatch_minute_probes":
                kept = found.setdefault(of["uplink"], [])
                kept += [(at_ms, of["outcome"], value) for at_ms, value in sent if value]
    return found


SENT: Final = Story(sent_past_a_cut, program=BACK_FILLED)


@tells(SENT)
def test_the_record_takes_the_line_that_is_up(outcome: Outcome) -> None:
    """The receiver sees the public address of the line that carries, and that of the other one while that is cut."""
    came = [(one["from"], one["taken"]) for one in received(outcome.folder)]
    before, after = (PUBLIC[FIBRE], True), (PUBLIC[COPPER], True)
    assert came[:3] == [before, before, (PUBLIC[FIBRE], False)]
    assert set(came[3:]) == {after}


@tells(SENT)
def test_nothing_is_lost_and_nothing_comes_twice(outcome: Outcome) -> None:
    """Each minute of the hour once, twelve probes each; the fibre's of the outage in it, 150 s, as lost."""
    a_minute = 60 // EVERY_S
    for uplink, lost in (("fibre", 150 // EVERY_S), ("unpinned", 0)):
        told = taken(outcome.folder)[uplink]
        minutes = Counter[int]()
        for at_ms, _, number in told:
            minutes[at_ms // 60_000] += int(number)
        assert set(minutes.values()) == {a_minute}
        assert sorted(minutes) == list(range(min(minutes), min(minutes) + MINUTES))
        assert sum(number for _, word, number in told if word == "lost") == lost
        assert len(told) == len({(at_ms, word) for at_ms, word, _ in told})
