"""The conductor, with steps that measure nothing: what is kept, taken up again, and refused."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from wanwatch.accept import Conductor, Person, PinError, Screen, UnderWayError, Wishes, conductor
from wanwatch.accept.steps import Amount
from wanwatch.clock import RealClock
from wanwatch.config import load
from wanwatch.config.named import NoUplinkError
from wanwatch.config.plan import store_path
from wanwatch.core.acceptance import About, Handover, Item, Progress, Step, Verdict
from wanwatch.core.model import MeasurementKind
from wanwatch.store import SqliteRecord, the_only_acceptance

EXAMPLES = Path(__file__).parents[2] / "examples"
AMOUNT = Amount(soak_ns=10**9, tests=1)


@dataclass
class Line:
    """What stands in for the network: what each step finds, and where the cable is cut.

    Attributes:
        pin: The verdict on the pin.
        cut_at: The step at which the command is stopped.
        asked: Every step that was measured.
    """

    pin: Verdict = Verdict.PASS
    cut_at: Step | None = None
    asked: list[Step] = field(default_factory=list)

    def steps(self, *_: Any) -> "Line":
        """Stand in for `Steps`."""
        return self

    async def items(self, step: Step, _given: Handover) -> tuple[Item, ...]:
        """Return one item for a step, or be stopped."""
        self.asked.append(step)
        if step is self.cut_at:
            raise KeyboardInterrupt
        verdict = self.pin if step is Step.PIN else Verdict.PASS
        return (Item(about=About.PIN, verdict=verdict, value=step.value, reason="Its probes leave by copper."),)


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> Line:
    """A line without a network."""
    found = Line()
    monkeypatch.setattr(conductor, "Steps", found.steps)
    return found


def conduct(folder: Path, *, uplink: str = "fibre", example: str = "one-line.toml", **wishes: Any) -> Progress:
    """Run the command's own work once, with nobody at a terminal."""
    file = folder / "wanwatch.toml"
    file.write_text((EXAMPLES / example).read_text("utf-8"))
    asked = Wishes(amount=AMOUNT, **wishes)
    return Conductor(load(file), uplink, asked, Person(None, print), Screen(None, 100), RealClock()).conduct()


def kept(folder: Path) -> list[dict[str, Any]]:
    """Every acceptance test of the record."""
    with SqliteRecord(store_path(load(folder / "wanwatch.toml"))) as record:
        found = record.measurements(record.sites()[0], None, MeasurementKind.ACCEPTANCE)
    return [dict(one.result) for one in found]


def names(folder: Path) -> str:
    """The name of the example's only uplink."""
    file = folder / "wanwatch.toml"
    file.write_text((EXAMPLES / "one-line.toml").read_text("utf-8"))
    return load(file).uplinks[0].name


def test_a_stopped_test_goes_on_with_the_step_that_was_stopped(tmp_path: Path, line: Line) -> None:
    """Only the pin is proved again: what it showed before may hold no longer. One test is kept, not two."""
    name = names(tmp_path)
    line.cut_at = Step.DELAY
    with pytest.raises(KeyboardInterrupt):
        conduct(tmp_path, uplink=name)
    (left,) = kept(tmp_path)
    assert (left["finished"], [step["step"] for step in left["steps"]]) == (False, list(Step)[:6])
    line.cut_at, line.asked = None, []
    again = conduct(tmp_path, uplink=name)
    assert line.asked == [Step.PIN, Step.DELAY, Step.LOSS, Step.SPEED]
    assert [left.after for left in again.breaks] == [Step.RESOLVERS]
    (whole,) = kept(tmp_path)
    assert whole["finished"] is True
    assert whole["verdict"] == "not-decided"  # nothing was handed over
    assert whole["amount"] == {"soak_s": 1.0, "tests": 1}
    assert set(whole["clock"]) == {"synchronised", "max_error_s"}


def test_a_finished_test_is_followed_by_a_new_one_and_so_is_one_that_is_not_wanted(tmp_path: Path, line: Line) -> None:
    """A certificate that was signed stays as it is."""
    name = names(tmp_path)
    conduct(tmp_path, uplink=name)
    line.cut_at = Step.MTU
    for fresh in (False, True):
        with pytest.raises(KeyboardInterrupt):
            conduct(tmp_path, uplink=name, fresh=fresh)
    assert [len(one["steps"]) for one in kept(tmp_path)] == [len(Step), 4, 4]


def test_a_pin_that_leaves_by_another_line_ends_the_test_with_nothing_kept_of_it(tmp_path: Path, line: Line) -> None:
    """Whatever came next would be of that other line."""
    name = names(tmp_path)
    line.pin = Verdict.FAIL
    with pytest.raises(PinError, match=r"Its probes leave by copper\. Nothing would be measured of this line"):
        conduct(tmp_path, uplink=name)
    assert line.asked == [Step.PIN]
    assert [one["steps"] for one in kept(tmp_path)] == [[]]


def test_what_is_handed_over_is_kept_with_the_test_and_may_come_later(tmp_path: Path, line: Line) -> None:
    """A file that is named when a test is taken up takes the place of what was there."""
    name = names(tmp_path)
    (tmp_path / "one.toml").write_text('circuit = "EX-1"')
    (tmp_path / "two.toml").write_text('circuit = "EX-2"')
    line.cut_at = Step.LOSS
    with pytest.raises(KeyboardInterrupt):
        conduct(tmp_path, uplink=name, handover=tmp_path / "one.toml")
    line.cut_at = Step.SPEED
    with pytest.raises(KeyboardInterrupt):
        conduct(tmp_path, uplink=name)
    assert kept(tmp_path)[0]["handover"]["circuit"] == "EX-1"
    line.cut_at = None
    assert conduct(tmp_path, uplink=name, handover=tmp_path / "two.toml").handover.circuit == "EX-2"


def test_a_lone_line_has_no_failover_and_of_two_nobody_rehearses_unasked(tmp_path: Path, line: Line) -> None:
    """A script is never taken for a yes, not even with --drill."""
    assert About.FAILOVER not in {item.about for item in conduct(tmp_path, uplink=names(tmp_path)).items}
    for wanted in (None, True, False):
        found = conduct(tmp_path, example="two-lines.toml", rehearse=wanted, fresh=True)
        (item,) = (item for item in found.items if item.about is About.FAILOVER)
        assert (item.verdict, item.reason) == (Verdict.NOT_DECIDED, "Nobody was there to be asked.")
    assert line.asked


def test_two_tests_of_one_site_at_once_cannot_be(tmp_path: Path, line: Line) -> None:
    """They would load each other's line."""
    name = names(tmp_path)
    with (
        the_only_acceptance(store_path(load(tmp_path / "wanwatch.toml"))),
        pytest.raises(UnderWayError, match=r"an acceptance test is under way already: process \d+ is at it"),
    ):
        conduct(tmp_path, uplink=name)
    assert line.asked == []


def test_an_uplink_that_is_not_there_is_told_with_those_that_are(tmp_path: Path, line: Line) -> None:
    """Before anything is measured."""
    with pytest.raises(NoUplinkError, match="uplink 'nowhere': there is no such uplink; write one of "):
        conduct(tmp_path, uplink="nowhere")
    assert line.asked == []
