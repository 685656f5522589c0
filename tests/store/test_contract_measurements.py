"""Contract of every store: what was measured on purpose."""

from pathlib import Path

from tests.fakes.clock import FakeClock
from tests.store.backends import SITE, Backend, SqliteBackend
from wanwatch.core.instants import instant_from_text
from wanwatch.core.model import NS_PER_S, Measurement, MeasurementKind, Span
from wanwatch.store import SqliteRecord, keep_measurement

SPEED, ACCEPTANCE = MeasurementKind.SPEED, MeasurementKind.ACCEPTANCE
YEAR_NS = 366 * 86_400 * NS_PER_S


def speed(at_unix_ns: int, uplink: str = "fibre", bps: float = 9e8) -> Measurement:
    """A speed test, cut short."""
    return Measurement(at_unix_ns, uplink, SPEED, {"down": {"bps": bps}, "note": "Zähler \u2192 0"})


async def test_a_measurement_can_be_read_once_it_was_kept(backend: Backend, clock: FakeClock) -> None:
    """Every field comes back as it was told; told again, the last telling holds."""
    now = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    assert await keeper.measurement(speed(now, bps=1.0)) is True
    assert await keeper.measurement(speed(now)) is True
    record = backend.record()
    found = record.measurements(SITE)
    record.close()
    await keeper.close()
    assert found == [speed(now)]


async def test_measurements_are_found_by_span_kind_and_uplink(backend: Backend, clock: FakeClock) -> None:
    """A span is half open, by their begin; what is not asked for does not matter."""
    now = clock.now_unix_ns()
    told = [speed(now), speed(now + 5, "copper"), Measurement(now + 5, "fibre", ACCEPTANCE), speed(now + 10)]
    keeper = backend.keeper(clock)
    keeper.open()
    for measured in told:
        await keeper.measurement(measured)
    await keeper.close()
    record = backend.record()
    assert record.measurements(SITE, Span(now, now + 10), SPEED) == told[:2]
    assert record.measurements(SITE, uplink="fibre") == [told[0], told[2], told[3]]
    assert record.measurements("elsewhere") == []
    record.close()


async def test_any_span_of_the_calendar_may_be_asked_for(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """The years 1 to 9999, which RFC 3339 can write, reach beyond what 64 bits of nanoseconds can."""
    whole = Span(instant_from_text("0001-01-01T00:00:00Z"), instant_from_text("9999-12-31T23:59:59Z"))
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    await keeper.measurement(speed(clock.now_unix_ns()))
    await keeper.close()
    record = sqlite_backend.record()
    assert record.measurements(SITE, whole) == [speed(clock.now_unix_ns())]
    assert len(record.watched(SITE, whole)) == 1
    assert (record.events(SITE, whole), record.posts(SITE, whole)) == ([], [])
    assert ([*record.blocks(SITE, whole)], [*record.sightings(SITE, whole)]) == ([], [])
    record.close()


async def test_what_a_line_was_handed_over_with_outlives_retention(backend: Backend, clock: FakeClock) -> None:
    """Speed tests go with the events; an acceptance test is compared with for as long as the line stands."""
    now = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    acceptance = Measurement(now - 3 * YEAR_NS, "fibre", ACCEPTANCE)
    for measured in (speed(now - 3 * YEAR_NS), acceptance, speed(now)):
        await keeper.measurement(measured)
    assert await keeper.prune(now - YEAR_NS, now - 2 * YEAR_NS)
    await keeper.close()
    record = backend.record()
    assert record.measurements(SITE) == [acceptance, speed(now)]
    record.close()


async def test_a_command_keeps_beside_a_running_keeper(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """Neither keeps the other from writing."""
    now = clock.now_unix_ns()
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    keep_measurement(sqlite_backend.path, SITE, speed(now))
    assert await keeper.measurement(speed(now + 1))
    await keeper.close()
    with SqliteRecord(sqlite_backend.path) as record:
        assert record.measurements(SITE) == [speed(now), speed(now + 1)]


def test_a_command_makes_a_record_that_is_not_there(tmp_path: Path) -> None:
    """A line may be accepted before the daemon's first start."""
    path = tmp_path / "new" / "wanwatch.sqlite"
    keep_measurement(path, SITE, speed(5))
    with SqliteRecord(path) as record:
        assert record.measurements(SITE) == [speed(5)]
