"""Windows of impairment: shares, percentiles, and what does not count."""

import pytest

from tests.fakes.office import line_questions
from wanwatch.core.judge.evidence import Voice
from wanwatch.core.judge.window import Look, Windows
from wanwatch.core.model import NS_PER_S, JudgeSettings


def look(losses: dict[str, set[int]], every_s: int = 1, pulse: range = range(0)) -> Look:
    """One window of 60 s over these targets; each second named is lost, each tenth in *pulse* a quick extra send."""
    voices = [Voice(question) for question in line_questions("fibre", tuple(losses), every_s=float(every_s))]
    windows = Windows()
    windows.reconfigure(voices, JudgeSettings())
    windows.restart(0)
    for target, lost in losses.items():
        for second in range(0, 60, every_s):
            windows.add(target, second * NS_PER_S, -1 if second in lost else 10_000_000)
        for tenth in pulse:
            windows.add(target, tenth * NS_PER_S // 10, -1)
    return windows.look(0, 60 * NS_PER_S, 0)


def test_one_lost_probe_does_not_impair_a_line() -> None:
    """A window that is asked rarely, and loses one: chance, though more than 3 %."""
    assert not look({"near": {4}}, every_s=4).bad


def test_two_lost_probes_of_sixty_are_more_than_three_percent() -> None:
    """2 / 60 = 3.33 %."""
    seen = look({"near": {4, 30}})
    assert seen.bad
    assert seen.detail["loss_ratio"] == pytest.approx(2 / 60, abs=1e-6)
    assert (seen.began_ns, seen.last_bad_ns) == (4 * NS_PER_S, 30 * NS_PER_S)


def test_a_dead_target_does_not_impair_a_line_whose_others_answer() -> None:
    """The better half of the targets decides."""
    assert not look({"near": set(range(60)), "mid": set(), "far": {7}}).bad
    assert not look({"near": set(range(60)), "mid": set()}).bad
    assert look({"near": set(range(60)), "mid": {1, 2, 3}, "far": {7, 8}}).bad


def test_quick_probing_in_a_short_silence_counts_no_more_than_slow_probing_would() -> None:
    """Four seconds of silence are 4 / 60 of a window, however often they were asked."""
    lost = {10, 11, 12, 13}
    slow, quick = look({"near": lost}), look({"near": lost}, pulse=range(120, 140, 2))
    assert quick.detail["loss_ratio"] == slow.detail["loss_ratio"]


def test_a_window_with_few_probes_is_neither_bad_nor_clean() -> None:
    """Too few probes decide nothing."""
    seen = look({"near": set()}, every_s=10)
    assert (seen.bad, seen.clean) == (False, False)


def test_a_line_at_the_limit_does_not_flip() -> None:
    """Between half the limit and the limit a window is neither bad nor clean."""
    seen = look({"near": {5}})
    assert (seen.bad, seen.clean) == (False, False)
    assert look({"near": set()}).clean
