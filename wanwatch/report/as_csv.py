"""The report as a set of CSV tables in one ZIP archive: the same bytes for the same report.

Sources:     RFC 4180 (CSV). Instants are RFC 3339 in UTC, times in seconds, ratios in [0, 1], speeds in bits a second.
Departures:  a text that a spreadsheet would take for a formula gets an apostrophe before it (common practice, no
             published source).
"""

import csv
import io
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from wanwatch.core.event_json import event_to_json
from wanwatch.core.instants import instant_text
from wanwatch.core.model import Event
from wanwatch.report.as_json import to_json
from wanwatch.report.figures_json import US_PER_S, number
from wanwatch.report.values import MonthReport

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
_EVENT: Final = (
    "id", "kind", "uplink", "start", "end", "start_earliest", "start_latest", "end_earliest", "end_latest", "domain",
    "from", "to", "interruption_s", "planned", "drill",
)  # fmt: skip
_BEGAN: Final = (1980, 1, 1, 0, 0, 0)
"""The first instant that a ZIP archive can hold."""
Row = Mapping[str, Any]


def render_csv(report: MonthReport) -> bytes:
    """Return the tables of a report as one archive."""
    held = io.BytesIO()
    told = to_json(report)
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, (columns, rows) in _TABLES.items():
            entry = zipfile.ZipInfo(f"{report.of.name.replace('/', '-')}/{name}.csv", _BEGAN)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(entry, _table(columns, rows(report, told)))
    return held.getvalue()


def _table(columns: Sequence[str], rows: Iterable[Row]) -> str:
    held = io.StringIO()
    writer = csv.writer(held)
    writer.writerow(columns)
    writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
    return held.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return " ".join(value)
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _lines(_: MonthReport, told: Row) -> Iterator[Row]:
    for line in told["uplinks"]:
        account = told["accounts"]["lines"][line["name"]]
        always, working = account["states"]["always"], account["states"]["working_hours"] or {}
        yield {
            **line, **always, "uplink": line["name"],
            **{column: line["availability"][column] for column in ("value", "low", "high")},
            "working_availability": (working.get("availability") or {}).get("value"),
            "working_down_s": working.get("down_s"),
            "y1540_availability": account["y1540"]["availability"],
        }  # fmt: skip


def _events(report: MonthReport, _: Row) -> Iterator[Row]:
    of_lines = [event for line in report.uplinks for event in (*line.outages, *line.others)]
    every: list[Event] = [*of_lines, *report.switches, *report.site_events, *report.drills]
    found = {event.id: event for event in every}
    yield from (event_to_json(e) for e in sorted(found.values(), key=lambda e: (e.start.estimate_unix_ns, e.id)))


def _targets(_: MonthReport, told: Row) -> Iterator[Row]:
    for line in told["uplinks"]:
        for target, delay in line["delay"].items():
            yield {"uplink": line["name"], "target": target, **delay, "loss": line["loss"][target],
                   **line["variation"].get(target, {}), **line["voice"].get(target, {})}  # fmt: skip


def _hours(report: MonthReport, _: Row) -> Iterator[Row]:
    for line in report.uplinks:
        for target in line.targets:
            for hour in target.hours:
                yield {
                    "uplink": line.name, "target": target.target, "hour": instant_text(hour.start_unix_ns),
                    "p5_s": number(hour.p5_us, US_PER_S), "p50_s": number(hour.p50_us, US_PER_S),
                    "p95_s": number(hour.p95_us, US_PER_S), "loss": number(hour.loss),
                }  # fmt: skip


def _clauses(_: MonthReport, told: Row) -> Iterator[Row]:
    for line in told["uplinks"]:
        for part in (line, *line["months"]):
            for clause in part["clauses"]:
                yield {"uplink": line["name"], "month": part.get("month"), **clause}


def _credits(report: MonthReport, told: Row) -> Iterator[Row]:
    """Each line of what is owed, and a line for each total; of a month itself, or of each month of a longer time."""
    for line in told["uplinks"]:
        for part in (line, *line["months"]):
            month = part.get("month", report.of.name)
            for owed in part["credit"].get("contracts", ()):
                named = {"month": month, "uplink": line["name"], "contract": owed["reference"], **owed}
                for bound in ("sure", "perhaps"):
                    total = {"why": "total", "amount": owed[bound]["total"]}
                    for one in (*owed[bound]["lines"], total):
                        # A number and no text: what is taken off for a cap begins with a minus, and is no formula.
                        yield {**named, "bound": bound, **one, "amount": Decimal(one["amount"])}


def _tests(report: MonthReport, _: Row) -> Iterator[Row]:
    for line in report.uplinks:
        for found in line.speed.values():
            for test in sorted((*found.counted, *found.apart), key=lambda test: test.at_unix_ns):
                at = instant_text(test.at_unix_ns)
                yield {"uplink": line.name, "at": at, "direction": test.direction, "bps": test.bps, "apart": test.apart}


def _months(report: MonthReport, _: Row) -> Iterator[Row]:
    for month in report.months:
        for line in month.lines:
            figures = {column: getattr(line, column) for column in _MONTH_COLUMNS[2:-2]}
            speeds = {f"{way}_bps": line.bps.get(way) for way in ("down", "up")}
            yield {"month": month.name, "uplink": line.name, **figures, **speeds}


_MONTH_COLUMNS: Final = (
    "month", "uplink", "availability", "low", "high", "down_s", "unobserved_s", "outages", "verdict",
    "down_bps", "up_bps",
)  # fmt: skip
_TABLES: Final[Mapping[str, tuple[Sequence[str], Callable[[MonthReport, Row], Iterator[Row]]]]] = {
    "lines": (
        ("uplink", "observed_s", "unobserved_s", "up_s", "impaired_s", "down_s", "value", "low", "high", "outages",
         "longest_s", "between_failures_s", "to_restoration_s", "working_availability", "working_down_s",
         "y1540_availability"),
        _lines,
    ),
    "events": (_EVENT, _events),
    "targets": (
        ("uplink", "target", "p50_s", "p95_s", "p99_s", "samples", "loss", "pdv_p95_s", "pdv_p99_s", "ipdv_mean_abs_s",
         "jitter_s", "r", "mos"),
        _targets,
    ),
    "hours": (("uplink", "target", "hour", "p5_s", "p50_s", "p95_s", "loss"), _hours),
    "clauses": (
        ("uplink", "month", "contract", "measure", "target", "statistic", "speed_bps", "promised", "counts_out", "per",
         "limit", "value", "low", "high", "samples", "verdict", "reason"),
        _clauses,
    ),
    "credits": (
        ("month", "uplink", "provider", "contract", "currency", "bound", "why", "reckoning", "amount"), _credits,
    ),
    "speed": (("uplink", "at", "direction", "bps", "apart"), _tests),
    "months": (_MONTH_COLUMNS, _months),
}  # fmt: skip
