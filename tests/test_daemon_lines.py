"""By which lines the daemon sends what it has to send itself."""

from types import SimpleNamespace
from typing import Any, cast

from tests.fakes.clock import FakeClock
from wanwatch.core.databudget import Purpose
from wanwatch.core.model import Pin, State
from wanwatch.daemon.lines import Lines
from wanwatch.publish.ways import Line

NAMES = ("fibre", "copper")
FOR = Purpose.NOTICES


def lines(states: dict[str, State], carriers: tuple[str, ...] = ()) -> Lines:
    standing = {name: SimpleNamespace(state=state) for name, state in states.items()}
    judge = SimpleNamespace(states=standing, carrying=SimpleNamespace(carriers=carriers))
    made = Lines(FakeClock(), lambda: cast("Any", judge), lambda *_: None)
    uplinks = [SimpleNamespace(name=name, pin=Pin(interface=name), resolvers=()) for name in NAMES]
    made.follow(cast("Any", SimpleNamespace(uplinks=uplinks, site=SimpleNamespace(authorities=None))))
    return made


def named(found: list[Line]) -> list[str]:
    return [line.name for line in found]


def test_the_line_that_carries_is_tried_first_if_it_works() -> None:
    """People chose it, or the gateway did; it is the one that is paid for."""
    assert named(lines({"fibre": State.UP, "copper": State.UP}, ("copper",)).working(FOR)) == [
        "copper",
        "fibre",
    ]
    assert named(lines({"fibre": State.DOWN, "copper": State.UP}, ("fibre",)).working(FOR)) == ["copper"]


def test_otherwise_they_are_tried_in_order_of_preference_rather_up_than_impaired() -> None:
    """An impaired line that carries comes after one that is up."""
    assert named(lines({"fibre": State.UP, "copper": State.UP}).working(FOR)) == ["fibre", "copper"]
    assert named(lines({"fibre": State.IMPAIRED, "copper": State.UP}, ("fibre",)).working(FOR)) == [
        "copper",
        "fibre",
    ]
    assert named(lines({"fibre": State.IMPAIRED, "copper": State.UNOBSERVED}).working(FOR)) == ["fibre"]


def test_without_a_line_that_works_there_is_no_way() -> None:
    """Nothing is tried over a line that is down, or that nobody sees; nor before there is a judge."""
    assert lines({"fibre": State.DOWN, "copper": State.UNOBSERVED}).best(FOR) is None
    assert Lines(FakeClock(), lambda: None, lambda *_: None).best(FOR) is None


def test_what_has_to_be_told_is_tried_over_a_line_that_nobody_sees_as_well() -> None:
    """After those that work; never over one that is down."""
    standing = lines({"fibre": State.UNOBSERVED, "copper": State.IMPAIRED}, ("fibre",))
    assert named(standing.not_down(FOR)) == ["copper", "fibre"]
    assert lines({"fibre": State.DOWN, "copper": State.DOWN}).not_down(FOR) == []


def test_the_best_line_is_by_the_pin_of_the_first_that_works() -> None:
    """The socket leaves by that line and no other."""
    line = lines({"fibre": State.DOWN, "copper": State.UP}).best(FOR)
    assert line is not None
    assert Pin(interface="copper") in [cell.cell_contents for cell in cast("Any", line.opened).__closure__]
