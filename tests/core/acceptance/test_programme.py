"""The programme, and the progress of one test."""

import json
from dataclasses import replace

import pytest

from wanwatch.core.acceptance import (
    PROGRAMME,
    About,
    Break,
    Handover,
    Item,
    Photograph,
    Progress,
    Step,
    Verdict,
    overall,
    resumed,
)
from wanwatch.core.acceptance.items import METHODS, TITLES
from wanwatch.core.acceptance.programme import progress_of
from wanwatch.core.model import NS_PER_S, Json, Measurement, MeasurementKind

NOW = 1_793_491_200 * NS_PER_S
DAY = 86_400 * NS_PER_S
PASSED = Item(about=About.PIN, verdict=Verdict.PASS, value="seen as 198.51.100.10", values={"bps": 1.5})
BEGUN = Progress(started_unix_ns=NOW, kept_unix_ns=NOW)


def kept(progress: Progress) -> Measurement:
    """As the record gives it back."""
    result = json.loads(json.dumps(progress.to_json()))
    return Measurement(progress.started_unix_ns, "fibre", MeasurementKind.ACCEPTANCE, result)


def done(*steps: Step) -> Progress:
    """A test with these steps done."""
    progress = BEGUN
    for number, step in enumerate(steps, 1):
        progress = progress.after(step, (PASSED,), NOW + number * NS_PER_S)
    return progress


def test_every_item_belongs_to_one_step_and_has_its_title_and_its_method() -> None:
    """The programme is fixed: nothing is in it twice, and nothing without words."""
    abouts = [about for _, found in PROGRAMME.values() for about in found]
    assert abouts == list(About)
    assert list(PROGRAMME) == list(Step)
    assert set(TITLES) == set(METHODS) == set(About)


def test_steps_follow_in_the_order_of_the_programme_until_none_is_left() -> None:
    """An interrupted step is not done, and is the next one."""
    progress = BEGUN
    for step in Step:
        assert (progress.following, progress.finished) == (step, False)
        progress = progress.after(step, (), NOW)
    assert (progress.following, progress.finished) == (None, True)


def test_progress_comes_back_from_the_record_as_it_was() -> None:
    """Whatever was kept before a kill is there after it, handover and all."""
    given = Handover(medium="fibre", light_dbm=-17.5, photographs=(Photograph("a.jpg", 3, "00" * 32),))
    left = Break(Step.PIN, NOW, NOW + NS_PER_S)
    progress = replace(done(Step.PIN, Step.ADDRESS), handover=given, breaks=(left, replace(left, after=None)))
    assert progress_of(kept(progress)) == progress


@pytest.mark.parametrize(
    "spoilt", [{"steps": [{"step": "dance", "items": []}]}, {"kept": "yesterday"}, {"steps": [{}]}]
)
def test_what_no_test_can_have_kept_is_no_test(spoilt: dict[str, Json]) -> None:
    """A record of another version makes no trouble: a new test begins."""
    made = kept(done(Step.PIN))
    assert progress_of(replace(made, result={**made.result, **spoilt})) is None
    assert progress_of(replace(made, result={})) is None


def test_a_test_that_was_left_is_taken_up_within_a_day_and_says_when_it_was_left() -> None:
    """After a day it would mix the line of two days; finished ones are never gone on with."""
    left = done(Step.PIN, Step.ADDRESS)
    later = left.kept_unix_ns + DAY
    again = resumed(left, later)
    assert again is not None
    assert again.breaks == (Break(Step.ADDRESS, left.kept_unix_ns, later),)
    assert (again.following, again.items) == (Step.GATEWAY, left.items)
    assert resumed(left, later + 1) is None
    assert resumed(left, left.kept_unix_ns - 1) is None  # the clock was stepped back
    assert resumed(done(*Step), NOW + 60 * NS_PER_S) is None
    assert resumed(None, NOW) is None


def test_one_failed_item_fails_the_whole_and_one_undecided_keeps_it_from_passing() -> None:
    """Nothing is claimed of a line of which nothing was looked at."""
    failed, undecided = (replace(PASSED, verdict=verdict) for verdict in (Verdict.FAIL, Verdict.NOT_DECIDED))
    assert overall([PASSED, PASSED]) is Verdict.PASS
    assert overall([PASSED, undecided]) is Verdict.NOT_DECIDED
    assert overall([failed, undecided]) is Verdict.FAIL
    assert overall([]) is Verdict.NOT_DECIDED
