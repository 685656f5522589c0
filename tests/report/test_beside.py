"""What else is known of a line: its acceptance test beside the month, and the data that watching used."""

import json

from tests.fakes.month import EVENTS, PERIOD, SITE, SUBJECT, WATCHED, at, record
from tests.fakes.record import FakeRecord
from wanwatch.core.acceptance import PROGRAMME, About, Item, Progress, Verdict
from wanwatch.core.account.period import month_of, quarter_of
from wanwatch.core.databudget import DataUse, Purpose, data_key
from wanwatch.core.model import Measurement, MeasurementKind
from wanwatch.report.as_json import render_json
from wanwatch.report.command import make
from wanwatch.report.html import render_html
from wanwatch.report.values import MonthReport

OCTOBER = month_of(2026, 10, SUBJECT.zone)


def item(about: About, figure: float | None, of: str = "", **values: str) -> Item:
    return Item(about=about, of=of, verdict=Verdict.PASS, value="", figure=figure, values=dict(values))


def acceptance(*items: Item, day: int = 2, steps: int = len(PROGRAMME)) -> Measurement:
    """An acceptance test of so many steps, with all of its items in the first."""
    begun = at(f"{day:02d} 09:00:00")
    progress = Progress(started_unix_ns=begun, kept_unix_ns=begun)
    for number, step in enumerate(list(PROGRAMME)[:steps]):
        progress = progress.after(step, items if number == 0 else (), begun)
    return Measurement(begun, "fibre", MeasurementKind.ACCEPTANCE, progress.to_json())


def report(*measured: Measurement) -> MonthReport:
    """The invented month with measurements and 3 MB of probing."""
    held = FakeRecord(SITE, EVENTS, WATCHED, list(record().blocks(SITE, PERIOD)))
    held.measured = list(measured)
    use = DataUse()
    use.count("fibre", Purpose.LINE, 2_900_000)
    use.count("fibre", Purpose.NAMES, 100_000)
    held.notes[data_key(2026, 10)] = use.to_json({})
    return make(held, SUBJECT, OCTOBER, now_unix_ns=PERIOD.end_unix_ns)


def test_the_month_stands_beside_the_first_test_that_was_finished() -> None:
    """By the test's own statistic; a mean, which the report does not reckon, has nothing beside it."""
    first = acceptance(
        item(About.DELAY, 0.0091, "near", statistic="p95"),
        item(About.DELAY, 0.0190, "far", statistic="mean"),
        item(About.LOSS, 0.0, "near"),
        item(About.SPEED_DOWN, 9.3e8),
        item(About.MTU, 1500.0),
    )
    found = report(acceptance(day=1, steps=1), first, acceptance(day=3)).beside["fibre"]
    assert found.tested_unix_ns == at("02 09:00:00")
    now = {(one.item.about, one.item.of): one.now for one in found.since}
    near = report().uplinks[0].targets[0]
    assert now == {
        (About.DELAY, "near"): float(near.p95_us or 0) / 1e6,
        (About.DELAY, "far"): None,
        (About.LOSS, "near"): float(near.loss or 0),
        (About.SPEED_DOWN, ""): None,
    }


def test_without_a_finished_test_there_is_nothing_beside() -> None:
    """One that was left in the middle is no test to hold a line against."""
    found = report(acceptance(steps=2)).beside["fibre"]
    assert (found.tested_unix_ns, found.since) == (None, ())


def test_page_and_json_show_both() -> None:
    """Then and now, and the data by purpose."""
    made = report(acceptance(item(About.DELAY, 0.0091, "<near>", statistic="p95"), item(About.SPEED_DOWN, 9.3e8)))
    page = render_html(made)
    assert "Against the acceptance test" in page
    assert "&lt;near&gt;" in page
    assert "930 Mbit/s" in page
    assert "3.0 MB in all: line 2.9 MB, names 0.1 MB." in page
    told = json.loads(render_json(made))["beside"]["fibre"]
    assert told["data_bytes"] == {"line": 2_900_000, "names": 100_000}
    assert told["acceptance"] == "2026-10-02T09:00:00.000000Z"
    assert told["since"][0] == {"about": About.DELAY.value, "of": "<near>", "then": 0.0091, "now": None}


def test_data_is_counted_by_the_month_only() -> None:
    """A quarter's is not known, and none is claimed."""
    held = FakeRecord(SITE, [], WATCHED, [])
    use = DataUse()
    use.count("fibre", Purpose.LINE, 5)
    held.notes[data_key(2026, 12)] = use.to_json({})
    made = make(held, SUBJECT, quarter_of(2026, 4, SUBJECT.zone), now_unix_ns=PERIOD.end_unix_ns)
    assert made.beside["fibre"].data == {}
