"""What is known of the routes, and what counts as a change of one."""

from wanwatch.core.model import Json
from wanwatch.core.routes import Routes
from wanwatch.core.way import Way


def way(*hops: str | None) -> Way:
    return Way("10.20.0.11", hops, ours=1)


def test_first_hops_are_learnt_and_kept() -> None:
    """A router that keeps silent this time is still known from the last."""
    routes = Routes()
    assert routes.note({"fibre": way("10.20.0.1", "198.51.100.1")}, 1)
    assert not routes.note({"fibre": way("10.20.0.1", None)}, 2)
    assert routes.first_hops == {"fibre": "198.51.100.1"}
    assert Routes(routes.kept).kept == routes.kept


def test_another_router_in_a_place_is_a_change() -> None:
    """It is kept with its instant and both ways; what stood behind it is not known to stand there still."""
    routes = Routes()
    routes.note({"fibre": way("10.20.0.1", "198.51.100.1", "198.51.100.9")}, 1)
    assert routes.note({"fibre": way("10.20.0.1", "198.51.100.7", None)}, 2)
    assert routes.changes == [
        {
            "at_unix_ns": 2,
            "uplink": "fibre",
            "before": ["10.20.0.1", "198.51.100.1", "198.51.100.9"],
            "after": ["10.20.0.1", "198.51.100.7", None],
        }
    ]
    assert routes.first_hops == {"fibre": "198.51.100.7"}
    routes.note({"fibre": way("10.20.0.1", "198.51.100.7", "198.51.100.8")}, 3)
    assert len(routes.changes) == 1


def test_silence_and_a_trace_of_another_length_are_no_change() -> None:
    """Many routers answer now and then only."""
    routes = Routes()
    for hops in (("10.20.0.1",), ("10.20.0.1", None, "198.51.100.9"), (None, "198.51.100.1"), (), ("10.20.0.1",)):
        routes.note({"fibre": way(*hops)}, 1)
    assert routes.changes == []


def test_changes_are_kept_without_growing_for_ever() -> None:
    """A line that wanders between two routers all day must not fill the disk."""
    routes = Routes()
    for turn in range(300):
        routes.note({"fibre": way("10.20.0.1", f"198.51.100.{turn % 2}")}, turn)
    assert len(routes.changes) == 100
    assert routes.changes[-1] == {
        "at_unix_ns": 299,
        "uplink": "fibre",
        "before": ["10.20.0.1", "198.51.100.0"],
        "after": ["10.20.0.1", "198.51.100.1"],
    }


def test_what_no_run_of_ours_has_kept_is_no_route() -> None:
    """An odd note in the record is as good as none."""
    odd: list[Json] = [None, 3, [], {"hops": 3, "first_hops": {"fibre": 7}, "changes": "many"}]
    for kept in odd:
        assert Routes(kept).kept == Routes().kept
