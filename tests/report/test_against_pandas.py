"""Random months, reckoned a second time by other means: with pandas, straight from the SQLite file.

Nothing of this program is used for the second reckoning but the layout of the tables: not its spans, not its
percentiles, not its reader. Percentiles are pandas' own ranks put together by NIST/SEMATECH 7.2.6.2.
"""

import sqlite3
import tempfile
from datetime import UTC
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wanwatch.core.account.period import stretch
from wanwatch.core.model import NS_PER_S, Bounds, Event, EventKind, Kind, Role, Series, Span
from wanwatch.core.ports import MARK_LATE, MARK_LOST, MARK_NOT_SENT, MARK_REFUSED
from wanwatch.report.month import build_period
from wanwatch.report.subject import Subject, TargetPlan, UplinkPlan
from wanwatch.store import SqliteRecord
from wanwatch.store._rows import block_key, event_row
from wanwatch.store._schema import connect

SITE, START_S, MINUTES = "harbour-lane", 1_793_491_200, 8 * 60
PERIOD = Span(START_S * NS_PER_S, (START_S + MINUTES * 60) * NS_PER_S)
SUBJECT = Subject(
    site=SITE, timezone="UTC",
    uplinks=(UplinkPlan(name="fibre", targets=(TargetPlan(name="near", every_ns=NS_PER_S, timeout_ns=2 * NS_PER_S),)),),
)  # fmt: skip
A_MINUTE = 6
spans = st.lists(
    st.tuples(st.integers(-600, MINUTES * 60 + 600), st.integers(1, 5000)).map(lambda s: (s[0], s[0] + s[1])),
    max_size=4,
)


def write(
    path: Path, *, seed: int, outages: list[tuple[int, int]], blind: list[tuple[int, int]], gap: tuple[int, int]
) -> None:
    """Write a record of eight hours: a probe every ten seconds with chance's delays, losses and refusals."""
    chance = np.random.default_rng(seed)
    offsets = (np.arange(A_MINUTE, dtype="<u4") * 10_000_000 + 250).astype("<u4")
    db = connect(path)
    db.execute("BEGIN")
    db.execute("INSERT INTO site (id, name) VALUES (1, ?)", (SITE,))
    series = Series("fibre", "near", Kind.ECHO, Role.LINE)
    db.execute("INSERT INTO series (id, site_id, uplink, target, kind, role) VALUES (1, 1, ?, ?, ?, ?)", series)
    for minute in range(MINUTES):
        if gap[0] <= minute < gap[1]:
            continue
        rtts = (5_000 + chance.exponential(4_000, A_MINUTE)).astype("<u4")
        for mark, share in ((MARK_LOST, 0.05), (MARK_LATE, 0.02), (MARK_REFUSED, 0.02), (MARK_NOT_SENT, 0.02)):
            rtts[chance.random(A_MINUTE) < share] = mark
        of = {mark: int((rtts == mark).sum()) for mark in (MARK_LOST, MARK_LATE, MARK_REFUSED, MARK_NOT_SENT)}
        counts = (A_MINUTE - of[MARK_NOT_SENT], of[MARK_LOST], of[MARK_LATE], of[MARK_REFUSED], 0, of[MARK_NOT_SENT])
        key = block_key(START_S // 60 + minute, 1)
        row = (key, *counts, 0, 0, None, None, None, None, offsets.tobytes(), rtts.tobytes())
        db.execute(f"INSERT INTO minute VALUES ({', '.join('?' * 15)})", row)  # noqa: S608 - a count of marks
    for kind, found in ((EventKind.OUTAGE, outages), (EventKind.UNOBSERVED, blind)):
        for number, (start, end) in enumerate(found):
            begun, over = (Bounds(*[(START_S + at) * NS_PER_S] * 3) for at in (start, end))
            told = Event(f"{kind}-{number}", SITE, kind, "fibre", begun, over)
            db.execute(f"INSERT INTO event VALUES (1, {', '.join('?' * 16)})", event_row(told))  # noqa: S608 - likewise
    db.execute("INSERT INTO alive VALUES (1, ?, ?)", (PERIOD.start_unix_ns, PERIOD.end_unix_ns))
    db.execute("COMMIT")
    db.close()


def seconds_of(path: Path) -> pd.DataFrame:
    """A row for each second: whether an outage or a blindness covers it, and whether its minute has a probe."""
    with sqlite3.connect(path) as db:
        events = pd.read_sql('SELECT kind, start, "end" FROM event', db)
        minutes = pd.read_sql("SELECT key, sent FROM minute", db)
    told = pd.DataFrame({"second": np.arange(START_S, START_S + MINUTES * 60)})
    for kind in ("outage", "unobserved"):
        covered = pd.Series(data=False, index=told.index)
        for one in events[events.kind == kind].itertuples():
            covered |= (told.second >= one.start // NS_PER_S) & (told.second < one.end // NS_PER_S)
        told[kind] = covered
    probed = set(minutes[minutes.sent > 0].key.map(minute_of))
    told["probed"] = (told.second // 60).isin(probed)
    return told


def minute_of(key: int) -> int:
    """The minute of a row's key: all bits above those of the series."""
    return key >> (block_key(1, 0).bit_length() - 1)


def samples_of(path: Path, told: pd.DataFrame) -> pd.DataFrame:
    """A row for each probe that was sent while the line was neither down nor unobserved."""
    with sqlite3.connect(path) as db:
        rows = pd.read_sql("SELECT key, offsets, rtts FROM minute", db)
    if rows.empty:
        return pd.DataFrame({"rtt": []})
    rows["rtt"] = rows.rtts.map(lambda raw: np.frombuffer(raw, "<u4").tolist())
    rows["offset"] = rows.offsets.map(lambda raw: np.frombuffer(raw, "<u4").tolist())
    flat = rows.explode(["rtt", "offset"])
    flat["second"] = flat.key.map(minute_of) * 60 + flat.offset.astype("int64") // 1_000_000
    flat = flat.merge(told, on="second")
    return flat[~flat.outage & ~flat.unobserved & (flat.rtt != MARK_NOT_SENT)]


def nist(delays: pd.Series, share: float) -> float:
    """The percentile by NIST 7.2.6.2 from ordered values, infinite ones last."""
    ordered = delays.sort_values().to_numpy()
    place = share * (len(ordered) + 1)
    rank = int(np.floor(place))
    if rank < 1:
        return float(ordered[0])
    if rank >= len(ordered):
        return float(ordered[-1])
    below, above = ordered[rank - 1], ordered[rank]
    return float(below) if place == rank or below == above else float(below + (place - rank) * (above - below))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    seed=st.integers(0, 2**32), outages=spans, blind=spans,
    gap=st.tuples(st.integers(0, MINUTES), st.integers(0, 90)).map(lambda g: (g[0], g[0] + g[1])),
)  # fmt: skip
def test_a_second_reckoning_finds_the_same(
    seed: int, outages: list[tuple[int, int]], blind: list[tuple[int, int]], gap: tuple[int, int]
) -> None:
    """Seconds of each state, availability and its bounds, loss and percentiles, to the last digit or a float's."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.sqlite3"
        write(path, seed=seed, outages=outages, blind=blind, gap=gap)
        with SqliteRecord(path) as record:
            fibre = build_period(record, SUBJECT, stretch(PERIOD, UTC), PERIOD.end_unix_ns).uplinks[0]
        told = seconds_of(path)
        samples = samples_of(path, told)
    down = int((told.outage & ~told.unobserved).sum())
    up = int((told.probed & ~told.outage & ~told.unobserved).sum())
    assert (fibre.times.down_ns, fibre.times.up_ns) == (down * NS_PER_S, up * NS_PER_S)
    assert fibre.times.unobserved_ns == (len(told) - down - up) * NS_PER_S
    if down + up:
        assert fibre.availability.value == pytest.approx(up / (down + up), rel=1e-12)
    assert fibre.availability.low == pytest.approx(up / len(told), rel=1e-12)
    (near,) = fibre.targets
    asked = samples[samples.rtt != MARK_REFUSED] if len(samples) else samples
    delays = asked.rtt.astype("float64").where(asked.rtt < MARK_NOT_SENT, np.inf)
    assert (near.asked, near.missed) == (len(delays), int(np.isinf(delays).sum()))
    for share, found in ((0.5, near.p50_us), (0.95, near.p95_us), (0.99, near.p99_us)):
        assert found is None if delays.empty else float(found or 0) == pytest.approx(nist(delays, share), rel=1e-12)
