"""A drill as a person does it: a plug is pulled and put back while `wanwatch drill` runs on a terminal."""

import json
import time
from collections.abc import Mapping

import pytest

from tests.fakes.person import Person
from tests.lab.office import COPPER, FIBRE, Truth
from tests.lab.python import PYTHON, environment
from tests.lab.stage import Lab, Outcome, Story, tells

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

GATEWAY_TAKES_S = 2.0
CLOSE_S = 0.3
TIMES = ("--steady", "2s", "--stay", "6s", "--move-within", "30s", "--back-within", "30s")


def plug(lab: Lab, way: str) -> Truth:
    """Pull the fibre's plug (`down`), or put it back (`up`): the gateway's port loses its carrier."""
    lab.office.world.script(f"ip -n wire link set {FIBRE}-a {way}")
    return Truth.now()


def a_drill_with_its_plug_pulled(lab: Lab) -> Mapping[str, Truth]:
    """The person pulls and puts back as they are told; the gateway follows."""
    words = (PYTHON, "-m", "wanwatch", "drill", FIBRE, *TIMES, "--config", str(lab.watch.file))
    with Person(lab.office.world.command("pc", *words), environment()) as person:
        person.expect('Type "yes" to begin')
        person.type("yes")
        person.expect(f"Pull the plug of {FIBRE} now")
        pulling, pulled = Truth.now(), plug(lab, "down")
        time.sleep(GATEWAY_TAKES_S)
        moving, moved = Truth.now(), lab.office.move(COPPER)
        person.expect(f"Plug {FIBRE} back in now")
        plugged = plug(lab, "up")
        person.expect(f"{FIBRE} is up again")
        back = lab.office.move(FIBRE)
        code = person.ended(90)
    (lab.office.folder / "drill.txt").write_text(f"{code}\n{person.read}")
    return {"pulling": pulling, "pulled": pulled, "moving": moving, "moved": moved, "plugged": plugged, "back": back}


DRILL = Story(a_drill_with_its_plug_pulled)


@tells(DRILL)
def test_a_pulled_plug_is_a_drill_with_every_answer_that_the_lab_can_give(outcome: Outcome) -> None:
    """Traffic moved when it truly did, names and connections worked on the second line, and it came back."""
    said = (outcome.folder / "drill.txt").read_text()
    assert said.startswith("0\n"), said
    drill = outcome.one("drill", FIBRE)
    assert drill["detail"]["outcome"] == "done"
    answers = {answer["about"]: answer for answer in drill["detail"]["answers"]}
    given = {about: answer["answer"] for about, answer in answers.items()}
    asked = ("moved", "names", "connections", "back")
    assert [given[about] for about in asked] == ["yes"] * 4, json.dumps(answers, indent=1)
    assert all(answers[about]["values"]["ordinary"] for about in ("names", "connections"))
    # The lab's own commands take a while on a busy machine: what they did, they did between two instants.
    at_s = {name: mark.at_ns / 1e9 for name, mark in outcome.marks.items()}
    least_s, most_s = at_s["moving"] - at_s["pulled"], at_s["moved"] - at_s["pulling"]
    for found in (answers["cut-off"]["values"]["interruption_s"], answers["moved"]["values"]["after_s"]):
        assert least_s - CLOSE_S <= found <= most_s + CLOSE_S


@tells(DRILL)
def test_what_a_drill_did_to_the_lines_is_marked_as_its_own(outcome: Outcome) -> None:
    """In the events and in the report."""
    own = outcome.of("outage", "failover", "failback")
    assert {event["kind"] for event in own} == {"outage", "failover", "failback"}
    assert all(event["drill"] for event in own)
    assert [drill["uplink"] for drill in outcome.report["drills"]] == [FIBRE]
