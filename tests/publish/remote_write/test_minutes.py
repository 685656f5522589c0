"""What the record says of some minutes, as series."""

from pathlib import Path

from tests.publish.remote_write.hours import MINUTES, NEAR, SITE, an_hour
from wanwatch.core.model import NS_PER_S
from wanwatch.publish.remote_write.minutes import INTERRUPTION, NAMES, PROBES, RTT, SPEED, STATE, SWITCH, series_of
from wanwatch.publish.remote_write.wire import Labels, Points, labels
from wanwatch.store import SqliteRecord

BEGUN = 29_454_000
"""A minute: Unix seconds // 60."""
GUIDE = Path(__file__).parents[3] / "deploy" / "prometheus" / "README.md"
LINE = {"site": SITE, "uplink": "fibre"}
SERIES = LINE | {"target": "near", "kind": "echo", "role": "line"}


async def hour(folder: Path) -> dict[Labels, Points]:
    await an_hour(folder / "record.sqlite", BEGUN * 60 * NS_PER_S)
    with SqliteRecord(folder / "record.sqlite") as record:
        return series_of(record, SITE, BEGUN, BEGUN + MINUTES)


async def test_each_minute_gives_its_counts_and_figures(tmp_path: Path) -> None:
    """Of the minutes 30 and 31 all 12 probes were lost, of minute 32 the half; no answer has no round-trip time."""
    series = await hour(tmp_path)
    lost = dict(series[labels(PROBES, SERIES | {"outcome": "lost"})])
    answered = dict(series[labels(PROBES, SERIES | {"outcome": "answered"})])
    ends = [(BEGUN + minute + 1) * 60_000 for minute in range(MINUTES)]
    assert list(lost) == list(answered) == ends
    assert [lost[ends[minute]] for minute in (29, 30, 31, 32, 33)] == [0, 12, 12, 6, 0]
    assert {lost[end] + answered[end] for end in ends} == {12}
    least = dict(series[labels(RTT, SERIES | {"statistic": "min"})])
    assert set(ends) - set(least) == {ends[30], ends[31]}
    assert least[ends[0]] == 0.008
    assert NEAR.uplink == "fibre"


async def test_states_of_a_minute_add_up_to_its_length(tmp_path: Path) -> None:
    """Each second is in one state; the outage lasted 150 s."""
    series = await hour(tmp_path)
    states = {word: dict(series[labels(STATE, LINE | {"state": word})]) for word in
              ("up", "impaired", "down", "unobserved")}  # fmt: skip
    for end_ms in states["up"]:
        assert sum(of[end_ms] for of in states.values()) == 60
    assert sum(states["down"].values()) == 150
    assert not [of for of in series if ("uplink", "unpinned") in of and of[0] == ("__name__", STATE)]


async def test_switches_and_speed_tests_stand_at_their_minute(tmp_path: Path) -> None:
    """Once each; the second test of one minute is not added to the first."""
    series = await hour(tmp_path)
    way = {"site": SITE, "kind": "failover", "from": "fibre", "to": "copper"}
    end_ms = (BEGUN + 31) * 60_000
    assert series[labels(SWITCH, way)] == [(end_ms, 1)]
    assert series[labels(INTERRUPTION, way)] == [(end_ms, 4.2)]
    assert series[labels(SPEED, LINE | {"direction": "down"})] == [(end_ms + 600_000, 9e8)]
    assert {dict(of)["__name__"] for of in series} == set(NAMES)


def test_every_name_that_is_sent_is_described() -> None:
    """And no other: they are not those of a scrape."""
    text = GUIDE.read_text("utf-8").partition("\n## Remote write\n")[2]
    rows = [line.split("|")[1].strip(" `") for line in text.splitlines() if line.startswith("| `wanwatch_minute")]
    assert sorted(rows) == sorted(NAMES)
