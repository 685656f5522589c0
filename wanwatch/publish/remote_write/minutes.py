"""What the record says of some minutes, as series: a point a minute, at the minute's end.

Departures:  a minute is sent as it is known two minutes after its end, and never again; what is told later of it, such
             as an impairment that began in it, shows in the minutes that are sent afterwards. A minute in which
             nothing was kept sends nothing, so that a gap stays one.
"""

from collections.abc import Iterator, Mapping
from typing import Final, TypeAlias

from wanwatch.core.account.spans import total_ns
from wanwatch.core.account.timeline import timeline
from wanwatch.core.model import NS_PER_S, SWITCHES, UNPINNED, Event, Json, Measurement, MeasurementKind, Role, Span
from wanwatch.core.ports import MinuteBlock, Record
from wanwatch.publish.remote_write.wire import Labels, Points, in_order, labels

Found: TypeAlias = tuple[Labels, int, float]

NS_PER_MINUTE: Final = 60 * NS_PER_S
_MS_PER_MINUTE: Final = 60_000
_US_PER_S: Final = 1_000_000
PROBES, RTT = "wanwatch_minute_probes", "wanwatch_minute_rtt_seconds"
STATE, SWITCH = "wanwatch_minute_state_seconds", "wanwatch_minute_switches"
INTERRUPTION, SPEED = "wanwatch_minute_interruption_seconds", "wanwatch_minute_speed_bits_per_second"
NAMES: Final = (PROBES, RTT, STATE, SWITCH, INTERRUPTION, SPEED)


def series_of(record: Record, site: str, first: int, after: int) -> dict[Labels, Points]:
    """Return all series of the minutes from *first* up to, not with, *after* (Unix seconds // 60)."""
    span = Span(first * NS_PER_MINUTE, after * NS_PER_MINUTE)
    blocks = list(record.blocks(site, span))
    events = record.events(site, span)
    measured = record.measurements(site, span, MeasurementKind.SPEED)
    found = [point for block in blocks for point in _of_block(site, block)]
    found += _states(site, blocks, events, record.watched(site, span))
    found += [point for event in events for point in _of_event(site, event, span)]
    # Of tests that began in one minute the last one holds: rates are not added up.
    found += {point[:2]: point for one in measured for point in _of_speed(site, one)}.values()
    return in_order(found)


def _of_block(site: str, block: MinuteBlock) -> Iterator[Found]:
    at_ms = _end_ms(block.minute)
    of = {"site": site, **dict(zip(("uplink", "target", "kind", "role"), map(str, block.series), strict=True))}
    answered = block.sent - block.lost - block.late - block.refused - block.malformed
    counts = {
        "answered": answered, "lost": block.lost, "late": block.late, "refused": block.refused,
        "malformed": block.malformed, "not-sent": block.not_sent,
    }  # fmt: skip
    for outcome, number in counts.items():
        yield labels(PROBES, {**of, "outcome": outcome}), at_ms, number
    figures = {"min": block.min_us, "median": block.median_us, "p95": block.p95_us, "max": block.max_us}
    for statistic, figure_us in figures.items():
        if figure_us is not None:
            yield labels(RTT, {**of, "statistic": statistic}), at_ms, figure_us / _US_PER_S


def _states(site: str, blocks: list[MinuteBlock], events: list[Event], watched: list[Span]) -> Iterator[Found]:
    probed: dict[tuple[str, int], bool] = {}
    for block in blocks:
        if block.series.role is Role.LINE and block.series.uplink != UNPINNED:
            place = (block.series.uplink, block.minute)
            probed[place] = probed.get(place, False) or block.sent > 0
    for (uplink, minute), sent in probed.items():
        period = Span(minute * NS_PER_MINUTE, (minute + 1) * NS_PER_MINUTE)
        states = timeline(
            period, uplink, events=events, watched=watched, probed=[period] if sent else [],
            now_unix_ns=period.end_unix_ns,
        )  # fmt: skip
        for state in ("up", "impaired", "down", "unobserved"):
            of = labels(STATE, {"site": site, "uplink": uplink, "state": state})
            yield of, _end_ms(minute), total_ns(getattr(states, state)) / NS_PER_S


def _of_event(site: str, event: Event, span: Span) -> Iterator[Found]:
    begun_ns = event.start.estimate_unix_ns
    if event.kind not in SWITCHES or not span.start_unix_ns <= begun_ns < span.end_unix_ns:
        return
    at_ms = _end_ms(begun_ns // NS_PER_MINUTE)
    ways = {"from": event.from_uplink or "none", "to": event.to_uplink or "none"}
    of = {"site": site, "kind": event.kind.value, **ways}
    yield labels(SWITCH, of), at_ms, 1
    if event.interruption_s is not None:
        yield labels(INTERRUPTION, of), at_ms, event.interruption_s


def _of_speed(site: str, measured: Measurement) -> Iterator[Found]:
    at_ms = _end_ms(measured.at_unix_ns // NS_PER_MINUTE)
    for direction in ("down", "up"):
        bps = _within(measured.result, direction, "goodput", "bps")
        if isinstance(bps, int | float):
            yield labels(SPEED, {"site": site, "uplink": measured.uplink, "direction": direction}), at_ms, bps


def _within(told: Mapping[str, Json], *keys: str) -> Json:
    found: Json = dict(told)
    for key in keys:
        found = found.get(key) if isinstance(found, dict) else None
    return found


def _end_ms(minute: int) -> int:
    return (minute + 1) * _MS_PER_MINUTE
