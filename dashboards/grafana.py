"""Grafana's side of the dashboards: panels and rows as values, and the JSON that Grafana imports.

Colours are those of Okabe and Ito, "Color Universal Design" (2008), which most people with a colour vision deficiency
can tell apart.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

Json = dict[str, Any]
Words = Sequence[tuple[int, str, str]]

GREEN, ORANGE, VERMILION, GREY = "#009E73", "#E69F00", "#D55E00", "#999999"
BLUE, SKY, PURPLE, YELLOW = "#0072B2", "#56B4E9", "#CC79A7", "#F0E442"
QUERIES: Final = (BLUE, ORANGE, GREEN, PURPLE, SKY, VERMILION, YELLOW)
"""For the queries of a panel of curves, in this order."""
WIDTH: Final = 24


@dataclass(frozen=True)
class Panel:
    """One panel.

    Attributes:
        title: Its title; dashboards/README.md tells the same titles.
        says: What it shows, in a sentence.
        kind: Grafana's word for its type.
        queries: PromQL, each with the words of its legend.
        unit: Grafana's word for the unit; None for a plain number.
        words: Numbers that stand for words, with their colours.
        width: Of 24 columns.
        height: In rows of the grid.
        bad_from: From where on a number is coloured as bad.
        bad_below: Below what it is.
    """

    title: str
    says: str
    kind: str
    queries: Sequence[tuple[str, str]]
    unit: str | None = None
    words: Words = ()
    width: int = 12
    height: int = 8
    bad_from: float | None = None
    bad_below: float | None = None


@dataclass(frozen=True)
class Row:
    """Panels under a heading; with *repeat* once for each value of that variable."""

    title: str
    panels: Sequence[Panel]
    repeat: str | None = None


@dataclass(frozen=True)
class Dashboard:
    """A whole dashboard: rows from the top down, and what can be chosen."""

    name: str
    title: str
    rows: Sequence[Row]
    variables: Sequence[tuple[str, str, str]] = field(default=())


def built(board: Dashboard) -> Json:
    """Return a dashboard as Grafana imports it."""
    return {
        "uid": f"wanwatch-{board.name}",
        "title": board.title,
        "tags": ["wanwatch"],
        "schemaVersion": 39,
        "editable": True,
        "refresh": "30s",
        "time": {"from": "now-24h", "to": "now"},
        "timezone": "browser",
        "templating": {"list": [_source(), *(_variable(*variable) for variable in board.variables)]},
        "panels": list(_placed(board.rows)),
    }


def _source() -> Json:
    return {"name": "source", "label": "Data source", "type": "datasource", "query": "prometheus", "current": {}}


def _variable(name: str, query: str, how_many: str) -> Json:
    many = how_many == "many"
    return {
        "name": name,
        "label": name.capitalize(),
        "type": "query",
        "datasource": _DATA,
        "query": {"query": query, "refId": name},
        "refresh": 2,
        "sort": 1,
        "multi": many,
        "includeAll": many,
        "allValue": ".*" if many else None,
        "current": {"text": "All", "value": "$__all"} if many else {},
    }


_DATA: Final = {"type": "prometheus", "uid": "${source}"}


def _placed(rows: Sequence[Row]) -> Iterator[Json]:
    top, number = 0, 0
    for row in rows:
        number += 1
        heading = {"id": number, "type": "row", "title": row.title, "collapsed": False, "panels": []}
        yield heading | _at(0, top, WIDTH, 1) | ({"repeat": row.repeat} if row.repeat else {})
        top, left, tallest = top + 1, 0, 0
        for panel in row.panels:
            number += 1
            if left + panel.width > WIDTH:
                top, left, tallest = top + tallest, 0, 0
            yield {"id": number} | _panel(panel) | _at(left, top, panel.width, panel.height)
            left, tallest = left + panel.width, max(tallest, panel.height)
        top += tallest


def _at(left: int, top: int, width: int, height: int) -> Json:
    return {"gridPos": {"x": left, "y": top, "w": width, "h": height}}


def _panel(panel: Panel) -> Json:
    now = panel.kind in {"stat", "bargauge", "table"}
    return {
        "type": panel.kind,
        "title": panel.title,
        "description": panel.says,
        "datasource": _DATA,
        "targets": [_target(index, *query, now=now, panel=panel) for index, query in enumerate(panel.queries)],
        "fieldConfig": {"defaults": _defaults(panel), "overrides": list(_colours(panel))},
        "options": _OPTIONS.get(panel.kind, {}),
    }


_OPTIONS: Final[dict[str, Json]] = {
    "stat": {"colorMode": "value", "graphMode": "none", "textMode": "value_and_name",
             "reduceOptions": {"calcs": ["lastNotNull"]}},
    "bargauge": {"displayMode": "basic", "orientation": "horizontal", "reduceOptions": {"calcs": ["lastNotNull"]}},
    "timeseries": {"legend": {"displayMode": "list", "placement": "bottom"}, "tooltip": {"mode": "multi"}},
    "state-timeline": {"showValue": "never", "mergeValues": True},
}  # fmt: skip


def _target(index: int, query: str, legend: str, *, now: bool, panel: Panel) -> Json:
    return {
        "refId": chr(ord("A") + index),
        "expr": query,
        "legendFormat": legend or "__auto",
        "instant": now,
        "range": not now,
        "format": "table" if panel.kind == "table" else "time_series",
    }


def _defaults(panel: Panel) -> Json:
    said: Json = {"noValue": "nothing to show", "color": {"mode": "thresholds"}}
    if panel.unit:
        said["unit"] = panel.unit
    if panel.kind == "timeseries":
        said |= {"color": {"mode": "fixed"}, "min": 0, "custom": {"fillOpacity": 8, "spanNulls": False}}
    words = {str(number): {"text": word, "color": colour, "index": at} for at, (number, word, colour) in
             enumerate(panel.words)}  # fmt: skip
    if words:
        said["mappings"] = [{"type": "value", "options": words}]
    bad = [{"value": panel.bad_from, "color": VERMILION}] if panel.bad_from is not None else []
    well = [{"value": None, "color": BLUE}]
    if panel.bad_below is not None:
        well = [{"value": None, "color": VERMILION}, {"value": panel.bad_below, "color": BLUE}]
    said["thresholds"] = {"mode": "absolute", "steps": [*well, *bad]}
    return said


def _colours(panel: Panel) -> Iterator[Json]:
    """One hue for each query of a panel of curves, in shades where a query has several curves."""
    if panel.kind != "timeseries":
        return
    for index, colour in enumerate(QUERIES[: len(panel.queries)]):
        how = {"id": "color", "value": {"mode": "shades", "fixedColor": colour}}
        yield {"matcher": {"id": "byFrameRefID", "options": chr(ord("A") + index)}, "properties": [how]}


def text(board: Dashboard) -> str:
    """Return the file of a dashboard."""
    return json.dumps(built(board), indent=1) + "\n"
