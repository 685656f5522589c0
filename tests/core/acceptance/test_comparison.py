"""A later test beside the first one; how far figures may lie apart is common practice, no published source."""

from dataclasses import replace

import pytest

from wanwatch.core.acceptance import About, Item, Verdict, compare

LIGHT = Item(about=About.LIGHT, verdict=Verdict.PASS, value="-18 dBm", figure=-18.0)


def worse(before: Item, now: Item) -> bool:
    """Whether the later item is called worse."""
    ((_, _),) = found = compare([before], [now])
    return found[0].worse


@pytest.mark.parametrize(
    ("about", "first", "now", "expected"),
    [
        (About.LIGHT, -18.0, -19.0, False),
        (About.LIGHT, -18.0, -19.1, True),
        (About.LIGHT, -19.0, -17.0, False),
        (About.MTU, 1500.0, 1492.0, True),
        (About.DELAY, 0.010, 0.0124, False),
        (About.DELAY, 0.010, 0.0126, True),
        (About.DELAY, 0.001, 0.0019, False),
        (About.SPEED_DOWN, 900e6, 811e6, False),
        (About.SPEED_DOWN, 900e6, 809e6, True),
        (About.LOSS, 0.0, 0.0009, False),
        (About.LOSS, 0.0, 0.0011, True),
    ],
)
def test_a_figure_is_worse_beyond_its_slack_and_in_its_own_direction(
    about: About, first: float, now: float, *, expected: bool
) -> None:
    """Less light and speed are worse, and so are more delay and loss."""
    item = replace(LIGHT, about=about)
    assert worse(replace(item, figure=first), replace(item, figure=now)) is expected


def test_what_has_come_to_fail_is_worse_whatever_its_figure() -> None:
    """What failed before as well is not called worse for that."""
    failed = replace(LIGHT, verdict=Verdict.FAIL)
    assert worse(LIGHT, failed)
    assert not worse(failed, failed)
    assert not worse(LIGHT, replace(LIGHT, verdict=Verdict.NOT_DECIDED, figure=None))


def test_items_are_paired_by_what_they_are_about_and_of() -> None:
    """One that only one test looked at stands alone, and nothing is said of it."""
    near, far = (replace(LIGHT, about=About.DELAY, of=target) for target in ("near", "far"))
    found = compare([near, LIGHT], [far, near])
    assert [(pair.first, pair.now) for pair in found] == [(None, far), (near, near), (LIGHT, None)]
    assert not any(pair.worse for pair in found)
