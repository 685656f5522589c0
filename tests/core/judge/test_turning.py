"""Where a spell began and ended, by cumulative sums."""

from random import Random

from wanwatch.core.judge.turning import Stretch, spell

# NIST/SEMATECH e-Handbook 6.3.2.3, the worked example (from memory): target 325, reference value 0.3175, and a mean
# that has shifted upwards from the thirteenth value on.
HANDBOOK = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip


def marks(*runs: tuple[int, bool]) -> list[float]:
    """Scores at a limit of 3 % of so many good or bad sends, run by run."""
    return [bad - 0.03 for length, bad in runs for _ in range(length)]


def test_the_handbooks_shift_begins_where_the_handbook_sees_it() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3 (from memory): twelve values around the target, then a higher mean."""
    assert spell(value - 325 - 0.3175 for value in HANDBOOK) == Stretch(12, 19)


def test_no_bad_value_is_no_spell() -> None:
    """Nothing to find in good sends, nor in none."""
    assert spell([]) is None
    assert spell(marks((50, False))) is None


def test_a_stray_loss_long_before_the_trouble_is_not_its_beginning() -> None:
    """One loss pays for 32 good sends at a limit of 3 %: 0.97 / 0.03."""
    assert spell(marks((1, True), (40, False), (5, True))) == Stretch(41, 45)
    assert spell(marks((1, True), (20, False), (5, True))) == Stretch(0, 25)


def test_a_stray_loss_after_the_trouble_is_not_its_end() -> None:
    """The same from the other side."""
    assert spell(marks((5, True), (40, False), (1, True))) == Stretch(0, 4)


def test_the_stretch_found_is_the_best_of_all() -> None:
    """Against trying every stretch: none has a greater sum, for a hundred runs of chance."""
    chance = Random(7)  # noqa: S311 -- a test that must repeat itself
    for _ in range(100):
        scores = [(chance.random() < 0.1) - 0.03 for _ in range(chance.randint(1, 40))]
        found = spell(scores)
        best = max(sum(scores[a : b + 1]) for a in range(len(scores)) for b in range(a, len(scores)))
        assert (sum(scores[found.first : found.last + 1]) if found else 0.0) == max(best, 0.0) or (
            found is not None and abs(sum(scores[found.first : found.last + 1]) - best) < 1e-9
        )
