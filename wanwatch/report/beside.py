"""Beside: what else is known of a line in a report's time: data that watching used, and its acceptance test."""

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from wanwatch.core.acceptance import About, Item
from wanwatch.core.acceptance.programme import Progress, progress_of
from wanwatch.core.account.calendar import Per
from wanwatch.core.account.period import Period
from wanwatch.core.databudget import DataUse, Purpose, data_key
from wanwatch.core.model import MeasurementKind, Span
from wanwatch.core.ports import Record
from wanwatch.report.figures_json import US_PER_S, number
from wanwatch.report.values import Beside, MonthReport, Since, UplinkReport


def beside(record: Record, report: MonthReport) -> dict[str, Beside]:
    """Return what else is known of each line."""
    return {up.name: _line(record, report, up) for up in report.uplinks}


def _line(record: Record, report: MonthReport, uplink: UplinkReport) -> Beside:
    test = accepted(record, report.site, report.now_unix_ns, uplink.name)
    return Beside(
        data=data_used(record, report.site, report.of).get(uplink.name, {}),
        tested_unix_ns=test.started_unix_ns if test else None,
        since=tuple(since(test, uplink)) if test else (),
    )


def data_used(record: Record, site: str, of: Period) -> Mapping[str, Mapping[Purpose, int]]:
    """Return the bytes that watching used of each line; they are counted by the month, and of other times not known."""
    return DataUse.from_json(record.recall(data_key(of.year, of.month), site)) if of.per is Per.MONTH else {}


def accepted(record: Record, site: str, until_unix_ns: int, uplink: str) -> Progress | None:
    """Return the first acceptance test of a line that was finished before an instant; None without one."""
    kept = record.measurements(site, Span(0, until_unix_ns), MeasurementKind.ACCEPTANCE, uplink)
    found = (progress_of(one) for one in kept)
    return next((one for one in found if one is not None and one.finished), None)


def since(test: Progress, uplink: UplinkReport) -> Iterator[Since]:
    """Yield what the report can hold against the test: delay and loss of each target, and the speed."""
    for item in test.items:
        if item.about in _NOW and item.figure is not None:
            yield Since(item, _NOW[item.about](uplink, item))


def _delay(uplink: UplinkReport, item: Item) -> float | None:
    """By the very statistic of the test; what the report does not reckon is not put beside it."""
    one = next((one for one in uplink.targets if one.target == item.of), None)
    if one is None:
        return None
    found = {"p50": one.p50_us, "p95": one.p95_us, "p99": one.p99_us}.get(str(item.values.get("statistic")))
    return number(found, US_PER_S)


def _loss(uplink: UplinkReport, item: Item) -> float | None:
    return number(next((one.loss for one in uplink.targets if one.target == item.of), None))


def _speed(way: str, uplink: UplinkReport) -> float | None:
    return uplink.speed[way].median_bps if way in uplink.speed else None


_NOW: Final[Mapping[About, Callable[[UplinkReport, Item], float | None]]] = {
    About.DELAY: _delay,
    About.LOSS: _loss,
    About.SPEED_DOWN: lambda uplink, _: _speed("down", uplink),
    About.SPEED_UP: lambda uplink, _: _speed("up", uplink),
}
