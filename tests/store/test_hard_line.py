"""Some hours of a hard line through judge and store; the long form is `python -m tests.bench.hard_line`."""

from pathlib import Path

from tests.bench.hard_line import Story, lived, reckoned


async def test_some_hours_of_a_flapping_lossy_line_are_kept_whole(tmp_path: Path) -> None:
    """Ten flaps an hour, 5 % loss, steps of the clock, restarts: each sample is in the record, each flap one outage."""
    drawn = Story.of(0.1, seed=2)
    # Half an hour, with a step and a restart in it.
    story = Story(
        drawn.cuts, drawn.moves, steps=((400.0, -90.0), (1300.0, 600.0)), runs=((0.0, 700.0), (760.0, 1800.0))
    )
    told = reckoned(story, tmp_path, await lived(story, tmp_path))
    assert told["samples_stored"] == told["samples_told"]
    cuts = [(start, end) for start, end in story.cuts if end < 1800]
    events = told["events"]
    assert isinstance(events, dict)
    assert told["outages_of"] == {"fibre access-line": sum(end - start > 7 for start, end in cuts)}
    assert events["clock-step"] == 2
    assert events["unobserved"] == 1
    assert told["incidents"] <= len(cuts) + 1  # type: ignore[operator]
