"""An acceptance test as an installer runs it: killed half way, taken up again, beside the running daemon."""

import json
import signal
import time
from collections.abc import Mapping
from typing import Any

import pytest

from tests.lab.office import FIBRE, ONE_WAY_S, PUBLIC, WEB, Truth
from tests.lab.python import PYTHON, environment
from tests.lab.stage import Lab, Outcome, Story, tells
from wanwatch.core.acceptance import Step
from wanwatch.core.model import MeasurementKind
from wanwatch.store import SqliteRecord

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

HANDOVER = """
medium = "fibre"
circuit = "EX-0001-DROP"
public_address = true
port_rate = "1Gbps"
duplex = "full"
light_level = "-18.4dBm"
wavelength = "1490nm"
level_before = "-17.1dBm"
length = "350m"
splices = 2
connectors = 2
cable = "G.657.A2"
bend_radius = "15mm"
photographs = ["terminal.jpg"]
"""
SPEED = """
[speed]
server = "http://{web}:9471/"
token_file = "token"
seconds = 1
"""
LINE = """handoff = { link_mbps = 1000 }
contract = { provider = "Example Fibre", reference = "EX-0001", down_mbps = 20, up_mbps = 20 }
"""
SHAPED_BPS = 20e6
SOURCE = "10.20.0.11"
QUICKLY = ("accept", FIBRE, "--soak", "2s", "--tests", "1", "--no-drill", "--json")
KILLED_AFTER = "resolvers"


def written(lab: Lab) -> list[str]:
    """Write what the test needs beside the daemon's files, and return the options that name it."""
    folder = lab.office.folder
    (folder / "token").write_text("a-token-for-tests")
    (folder / "token").chmod(0o600)
    (folder / "terminal.jpg").write_bytes(b"a picture")
    (folder / "handover.toml").write_text(HANDOVER)
    text = lab.watch.file.read_text().replace(f'name = "{FIBRE}"\n', f'name = "{FIBRE}"\n{LINE}')
    (folder / "accept.toml").write_text(text + SPEED.format(web=WEB))
    return ["--handover", str(folder / "handover.toml"), "--config", str(folder / "accept.toml")]


def steps_kept(lab: Lab) -> list[str]:
    """The steps of the latest test that the record holds."""
    with SqliteRecord(lab.office.folder / "data" / "wanwatch.sqlite") as record:
        kept: list[Any] = record.measurements("harbour-lane", None, MeasurementKind.ACCEPTANCE, FIBRE)
    return [step["step"] for step in kept[-1].result["steps"]] if kept else []


def a_test_that_is_killed_and_taken_up_again(lab: Lab) -> Mapping[str, Truth]:
    """The speed far end stands where the web server does."""
    options, folder = written(lab), lab.office.folder
    lab.office.change(FIBRE, {"rate_bps": SHAPED_BPS})
    far_end = ("--stamp-port", "1862", "--stun-port", "3481", "--token-file", str(folder / "token"))
    lab.office.spawn("net", PYTHON, "-m", "wanwatch", "reflector", *far_end)
    command = (PYTHON, "-m", "wanwatch", *QUICKLY, *options)
    killed = lab.office.world.spawn("pc", *command, log=folder / "killed.log", env=environment())
    while KILLED_AFTER not in steps_kept(lab) and killed.alive():
        time.sleep(0.1)
    killed.signal(signal.SIGKILL)
    at = Truth.now()
    done = lab.office.world.run("pc", *command, env=environment(), timeout_s=150)
    (folder / "accept.json").write_text(done.stdout)
    (folder / "accept.log").write_text(f"{done.returncode}\n{done.stderr}")
    show = (PYTHON, "-m", "wanwatch", "accept", FIBRE, "--show", "--format", "html", *options[2:])
    page = lab.office.world.run("pc", *show, env=environment())
    (folder / "accept.html").write_text(page.stdout)
    return {"killed": at}


ACCEPTANCE = Story(a_test_that_is_killed_and_taken_up_again)


@tells(ACCEPTANCE)
def test_a_killed_test_goes_on_after_the_last_step_that_was_kept(outcome: Outcome) -> None:
    """What was done is not done again, and the certificate says when it was left."""
    told = json.loads((outcome.folder / "accept.json").read_text())
    assert told["finished"] is True
    (left,) = told["interruptions"]
    assert left["after"] == KILLED_AFTER
    assert [step["step"] for step in steps_of(outcome)] == list(Step)


def steps_of(outcome: Outcome) -> list[dict[str, Any]]:
    """The steps as the record holds them."""
    with SqliteRecord(outcome.folder / "data" / "wanwatch.sqlite") as record:
        (kept,) = record.measurements("harbour-lane", None, MeasurementKind.ACCEPTANCE, FIBRE)
    steps: Any = kept.result["steps"]
    return steps  # type: ignore[no-any-return]


@tells(ACCEPTANCE)
def test_every_item_that_the_lab_can_show_is_what_the_lab_is(outcome: Outcome) -> None:
    """The pin's own address, one translation, the gateway, 1500 bytes, and a line shaped to 20 Mbit/s each way."""
    told = json.loads((outcome.folder / "accept.json").read_text())
    items = {(item["about"], item["of"]): item for item in told["items"]}
    undecided = {about for (about, _), item in items.items() if item["verdict"] != "pass"}
    # The lab's resolvers refuse what they do not know, two seconds cannot show a loss of one in a thousand, and nobody
    # is at a terminal to agree to a drill.
    assert undecided == {"resolver-rewriting", "resolver-validation", "loss", "failover"}, json.dumps(told, indent=1)
    assert items["address", ""]["values"] == {
        "source": SOURCE, "public": PUBLIC[FIBRE], "translation": "once",
    }  # fmt: skip
    assert items["mtu", "IPv4"]["figure"] == 1500
    assert items["delay", "near"]["figure"] > 2 * ONE_WAY_S[FIBRE]
    for way in ("down", "up"):
        assert 0.9 * SHAPED_BPS < items[f"speed-{way}", ""]["figure"] < SHAPED_BPS
        assert items[f"load-{way}", ""]["figure"] > items["delay", "near"]["figure"]


@tells(ACCEPTANCE)
def test_the_certificate_of_a_killed_test_is_whole_and_its_verdict_is_the_exit_code(outcome: Outcome) -> None:
    """Not decided is exit code 3, and standard error is quiet where nobody watches."""
    assert (outcome.folder / "accept.log").read_text() == "3\n"
    page = (outcome.folder / "accept.html").read_text()
    for words in ("has not passed yet", "taken up again", "EX-0001-DROP", "terminal.jpg", "never look"):
        assert words.lower() in page.lower()
