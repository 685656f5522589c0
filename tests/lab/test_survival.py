"""Stories of a daemon that is killed, and of a clock that is stepped, while a line is down."""

import signal
import struct
import time
from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.lab.bounds import assert_bounds_hold
from tests.lab.office import FIBRE, Truth
from tests.lab.stage import Lab, Outcome, Story, tells, unix_s
from tests.lab.watch import SITE
from wanwatch.core.model import Span
from wanwatch.store import SqliteRecord

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

STEPPED: tuple[str, ...] = (str(Path(__file__).with_name("stepped_daemon.py")),)
STEP_S = 3600
SETTLED_S = 2.0


def killed_while_the_line_is_down(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut, the daemon dies without a word, starts again, and the fibre is mended."""
    time.sleep(15)
    cut = lab.office.cut(FIBRE)
    lab.watch.expect("outage", FIBRE)
    time.sleep(2)
    killed = Truth.now()
    lab.watch.kill()
    time.sleep(6)
    lab.watch.start(until_up=False)
    started = Truth.now()
    time.sleep(8)
    mended = lab.office.mend(FIBRE)
    lab.watch.expect("outage", FIBRE, ended=True)
    return {"cut": cut, "killed": killed, "started": started, "mended": mended}


def clock_stepped_while_the_line_is_down(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut, the wall clock jumps an hour, and the fibre is mended."""
    time.sleep(SETTLED_S)
    cut = lab.office.cut(FIBRE)
    lab.watch.expect("outage", FIBRE)
    lab.watch.process.signal(signal.SIGUSR1)
    stepped = Truth.now()
    lab.watch.expect("clock-step")
    time.sleep(3)
    mended = lab.office.mend(FIBRE)
    lab.watch.expect("outage", FIBRE, ended=True)
    return {"cut": cut, "stepped": stepped, "mended": mended}


KILLED = Story(killed_while_the_line_is_down)
CLOCK = Story(clock_stepped_while_the_line_is_down, program=STEPPED)


@tells(KILLED)
def test_a_killed_daemon_goes_on_with_the_outage_it_left(outcome: Outcome) -> None:
    """One outage, with the start that was told before the kill and the end that was seen after it."""
    assert_bounds_hold(outcome.one("outage"), outcome.marks["cut"], outcome.marks["mended"])


@tells(KILLED)
def test_the_time_without_a_daemon_is_told_as_unobserved(outcome: Outcome) -> None:
    """From at most 10 s before the kill, an alive mark's interval, until the new daemon's first word."""
    gap = next(event for event in outcome.of("unobserved") if event["uplink"] in {None, FIBRE})
    killed, started = outcome.marks["killed"].unix_s, outcome.marks["started"].unix_s
    assert killed - 10.5 <= unix_s(gap["start_earliest"]) <= killed
    assert unix_s(gap["start_latest"]) >= killed - 10.5
    assert unix_s(gap["end_earliest"]) <= started + 3


@tells(KILLED)
def test_a_kill_loses_ten_seconds_of_samples_at_most(outcome: Outcome) -> None:
    """The last kept sample before the kill is no older than the store's interval of writing."""
    killed = outcome.marks["killed"].unix_s
    with SqliteRecord(outcome.folder / "data" / "wanwatch.sqlite") as record:
        everything = Span(0, int((killed + 3600) * 1e9))
        sent = [
            block.minute * 60 + offset / 1e6
            for block in record.blocks(SITE, everything)
            for (offset,) in struct.iter_unpack("<I", block.offsets)
        ]
    before = [at for at in sent if at < killed]
    assert killed - max(before) <= 10.5
    assert len(before) > 30  # it watched two lines for 15 s and more


@tells(CLOCK)
def test_a_stepped_clock_changes_no_duration(outcome: Outcome) -> None:
    """The outage is as long as it was by the monotonic clock; the step itself is an event."""
    outage = outcome.one("outage")
    truth_s = (outcome.marks["mended"].at_ns - outcome.marks["cut"].at_ns) / 1e9
    assert unix_s(outage["end"]) - unix_s(outage["start"]) == pytest.approx(truth_s, abs=1.6)
    assert outcome.one("clock-step")
    assert not outcome.of("unobserved", "failover", "needless-failover")


@tells(CLOCK)
def test_after_a_step_instants_are_those_of_the_new_clock(outcome: Outcome) -> None:
    """The end was seen an hour later by the wall clock than it was by the lab's."""
    outage = outcome.one("outage")
    mended = outcome.marks["mended"].unix_s + STEP_S
    assert unix_s(outage["end_earliest"]) <= mended <= unix_s(outage["end_latest"]) + 0.02
