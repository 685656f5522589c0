"""The dossier as data: JSON for programs, and every single probe as CSV for whoever wants to reckon it anew.

Sources:     RFC 8259 (JSON), RFC 4180 (CSV), RFC 3339 (instants, in UTC).
Departures:  lines of CSV end in LF, as RFC 4180's readers accept and Unix tools expect.
"""

import csv
import io
import json
from collections.abc import Iterator

from wanwatch.core.event_json import event_to_json
from wanwatch.core.incident import incident_to_json
from wanwatch.core.instants import instant_text
from wanwatch.core.model import NS_PER_S, Json
from wanwatch.core.ports import RTT_LIMIT
from wanwatch.core.traced import routes_of
from wanwatch.report.dossier import missing, routes, story
from wanwatch.report.dossier.values import OUTCOMES, Dossier, Lane, Tally, Trace

COLUMNS = ("uplink", "target", "kind", "role", "sent", "outcome", "rtt_us")


def render_csv(dossier: Dossier) -> str:
    """Return every probe around the outage, series by series, in order of sending; then the hops of the two routes."""
    held = io.StringIO()
    rows = csv.writer(held, lineterminator="\n")
    rows.writerow(COLUMNS)
    for lane in dossier.lanes:
        for trace in lane.traces:
            rows.writerows((*map(str, trace.series), *probe) for probe in _probes(trace))
    rows.writerows(_hops(dossier))
    return held.getvalue()


def render_json(dossier: Dossier) -> str:
    """Return the dossier as JSON text; times in seconds unless a name says otherwise."""
    return json.dumps(to_json(dossier), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def to_json(dossier: Dossier) -> dict[str, Json]:
    """Return the dossier as JSON values."""
    contract, length = dossier.contract, dossier.length_bounds_ns
    return {
        "site": dossier.site,
        "timezone": dossier.timezone,
        "uplink": dossier.outage.uplink,
        "provider": contract.provider if contract else None,
        "reference": contract.reference if contract else None,
        "event": event_to_json(dossier.outage),
        "lasted_s": dossier.down.length_ns / NS_PER_S,
        "lasted_least_s": None if length is None else length[0] / NS_PER_S,
        "lasted_most_s": None if length is None else length[1] / NS_PER_S,
        "words": [story.headline(dossier).striptags(), story.where(dossier).striptags()],
        "checks": [
            {"check": check.name, "holds": check.holds, "words": check.words.striptags()}
            for check in story.checks(dossier)
        ],
        "routes": _routes(dossier),
        "missing": [what.striptags() for what in missing.missing(dossier)],
        "around": [event_to_json(event) for event in dossier.around],
        "incident": incident_to_json(dossier.incident),
        "clock_error_now_us": dossier.clock_error_us,
        "made": instant_text(dossier.now_unix_ns),
        "window": {
            "from": instant_text(dossier.window.start_unix_ns),
            "to": instant_text(dossier.window.end_unix_ns),
        },
        "raw_complete": not dossier.raw_gone,
        "series": [_series(dossier, lane, trace) for lane in dossier.lanes for trace in lane.traces],
    }


def _routes(dossier: Dossier) -> Json:
    before, during = (None if route is None else route.to_json() for route in routes_of(dossier.outage))
    return {"before": before, "during": during, "words": routes.words(dossier).striptags()}


def _hops(dossier: Dossier) -> Iterator[tuple[str | int | None, ...]]:
    """Yield each hop as the probe that it is: who answered it, at which distance, in the trace of which instant."""
    for route in routes_of(dossier.outage):
        for distance, (address, rtt_us) in enumerate(() if route is None else route.hops, 1):
            sent = instant_text(route.at_unix_ns) if route else None
            outcome = "lost" if address is None else "answered"
            yield dossier.outage.uplink, address, "trace", f"hop-{distance}", sent, outcome, rtt_us


def _series(dossier: Dossier, lane: Lane, trace: Trace) -> Json:
    before, during, after = (_tally(trace.tally(part)) for part in dossier.parts())
    return {
        "uplink": lane.name,
        "target": trace.series.target,
        "kind": trace.series.kind.value,
        "role": trace.series.role.value,
        "before": before,
        "during": during,
        "after": after,
        "samples": [list(probe) for probe in _probes(trace)],
    }


def _tally(tally: Tally) -> Json:
    return {
        "asked": tally.asked,
        "answered": tally.answered,
        "refused": tally.refused,
        "median_us": tally.median_us,
    }


def _probes(trace: Trace) -> Iterator[tuple[str, str, int | None]]:
    """Yield each probe: when it was sent, what came of it, its round-trip time in microseconds."""
    for sent_us, word in zip(trace.sent_us.tolist(), trace.words.tolist(), strict=True):
        answered = word < RTT_LIMIT
        yield instant_text(sent_us * 1000), "answered" if answered else OUTCOMES[word], word if answered else None
