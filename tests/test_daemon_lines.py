"""By which lines the daemon sends what it has to send itself."""

from types import SimpleNamespace
from typing import Any, cast

from wanwatch.core.model import Pin, State
from wanwatch.daemon.lines import Lines


def lines(states: dict[str, State], carriers: tuple[str, ...] = ()) -> Lines:
    standing = {name: SimpleNamespace(state=state) for name, state in states.items()}
    judge = SimpleNamespace(states=standing, carrying=SimpleNamespace(carriers=carriers))
    made = Lines(lambda: cast("Any", judge))
    uplinks = [SimpleNamespace(name=name, pin=Pin(interface=name)) for name in ("fibre", "copper")]
    made.follow(cast("Any", SimpleNamespace(uplinks=uplinks)))
    return made


def test_the_line_that_carries_is_tried_first_if_it_works() -> None:
    """People chose it, or the gateway did; it is the one that is paid for."""
    assert lines({"fibre": State.UP, "copper": State.UP}, ("copper",)).working() == ["copper", "fibre"]
    assert lines({"fibre": State.DOWN, "copper": State.UP}, ("fibre",)).working() == ["copper"]


def test_otherwise_they_are_tried_in_order_of_preference_rather_up_than_impaired() -> None:
    """An impaired line that carries comes after one that is up."""
    assert lines({"fibre": State.UP, "copper": State.UP}).working() == ["fibre", "copper"]
    assert lines({"fibre": State.IMPAIRED, "copper": State.UP}, ("fibre",)).working() == ["copper", "fibre"]
    assert lines({"fibre": State.IMPAIRED, "copper": State.UNOBSERVED}).working() == ["fibre"]


def test_without_a_line_that_works_there_is_no_way() -> None:
    """Nothing is tried over a line that is down, or that nobody sees; nor before there is a judge."""
    assert lines({"fibre": State.DOWN, "copper": State.UNOBSERVED}).best() is None
    assert Lines(lambda: None).best() is None


def test_the_best_way_is_by_the_pin_of_the_first_that_works() -> None:
    """The socket leaves by that line and no other."""
    way = lines({"fibre": State.DOWN, "copper": State.UP}).best()
    assert cast("Any", way).__closure__[0].cell_contents == Pin(interface="copper")
