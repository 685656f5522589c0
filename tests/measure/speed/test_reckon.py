"""From what was counted to what is told: pure, so without a network."""

from dataclasses import replace

import pytest

from wanwatch.config.uplink import Handoff
from wanwatch.core.account.speed import BIN_NS, Limit, Mark
from wanwatch.core.account.speed_result import Direction, Ending
from wanwatch.core.model import Kind, Outcome, Pin, Role, Sample, Series
from wanwatch.measure.speed.gauges import Gauges
from wanwatch.measure.speed.job import Counted, Job, Transfer, dump, read_job, read_said
from wanwatch.measure.speed.reckon import best_kind, delay, run_of, within

JOB = Job(
    direction=Direction.UP, pin=Pin(sources=("10.20.0.11",)), addresses=["192.0.2.80"], port=80, host="192.0.2.80",
    authority="192.0.2.80", path="/up", tls=False, ca_file=None, token="a token", connections=4, seconds=1,  # noqa: S106 - a test's own
    most_bytes=10**9,
)  # fmt: skip
COUNTED = Counted(
    sent=102_000, retransmitted=0, segments=None, out_of_order=None, windowed=0.0, window_bps=None, waiting=0.0,
    processor=0.1, interrupts=0.1, port_bps=10**9, port=0.1,
)  # fmt: skip
TRANSFER = Transfer(
    ending=Ending.DONE, marks=[Mark(number * BIN_NS, number * 1_000_000) for number in range(21)], begin=10,
    steady=True, used=20_000_000, ip=4, mss=1448, timestamps=True, rtts_s=[0.010, 0.010], least_rtt_s=0.010,
    counted=COUNTED,
)  # fmt: skip


def probe(kind: Kind, at_s: float, outcome: Outcome, ms: float | None = None, **facts: int) -> Sample:
    """One probe of the light stream."""
    rtt_ns = None if ms is None else int(ms * 1e6)
    series = Series("fibre", "speed", kind, Role.LINE)
    return Sample(series, int(at_s * 1e9), 0, int(at_s * 1e9), outcome, rtt_ns, facts=dict(facts))


def test_nothing_seen_is_an_unknown_limit_and_does_not_count() -> None:
    """Only a sign of the line itself makes it the line."""
    run = run_of(JOB, TRANSFER, Handoff(), [], None)
    assert run.goodput is not None
    assert run.goodput.bps == pytest.approx(80e6)
    assert run.warm_up_s == pytest.approx(1.0)
    assert (run.limited_by, run.counts, run.best_bps) == (Limit.UNKNOWN, False, None)
    assert run.tcp is not None
    assert (run.tcp.efficiency, run.tcp.buffer_delay) == (1.0, 0.0)


def test_a_full_handoff_is_the_line_and_its_best_goodput_is_of_this_very_framing() -> None:
    """IEEE 802.3, RFC 2516: 1440 of 1538 bytes at 85 Mbit/s of PPPoE with timestamps over IPv4; computed."""
    handoff = Handoff.model_validate({"link_mbps": 85, "mtu": 1492, "encapsulation": "pppoe"})
    run = run_of(JOB, TRANSFER, handoff, [], None)
    assert run.best_bps == pytest.approx(85e6 * 1440 / 1538)
    assert run.transfer_time_ratio == pytest.approx(85 * 1440 / 1538 / 80)
    assert (run.limited_by, run.counts) == (Limit.LINE, True)


@pytest.mark.parametrize(
    ("link_mbps", "found"), [(None, Limit.INTERFACE), (2500, Limit.INTERFACE), (1000, Limit.UNKNOWN)]
)
def test_a_full_port_that_is_slower_than_the_handoff_is_our_own_limit(link_mbps: int | None, found: Limit) -> None:
    """The port is the line's own where the line is handed over no faster."""
    handoff = Handoff.model_validate({} if link_mbps is None else {"link_mbps": link_mbps})
    full = replace(TRANSFER, counted=replace(COUNTED, port=0.99))
    assert run_of(JOB, full, handoff, [], None).limited_by is found


def test_of_what_we_receive_windows_are_held_against_the_goodput() -> None:
    """RFC 6349 section 3.3.1: what windows let through in a round trip; 80 of 100 Mbit/s is most of it."""
    counted = replace(COUNTED, sent=None, retransmitted=None, segments=1000, out_of_order=0, windowed=None)
    received = replace(TRANSFER, rtts_s=(), counted=replace(counted, window_bps=100e6))
    run = run_of(replace(JOB, direction=Direction.DOWN), received, Handoff(), [], None)
    assert run.limited_by is Limit.WINDOW
    assert run.signs.window == pytest.approx(0.8)
    assert run.tcp is not None
    assert run.tcp.efficiency is None


def test_a_run_that_never_got_warm_has_no_figure() -> None:
    """Could not measure is not slow."""
    broken = Transfer(ending=Ending.RESET, why="reset", marks=TRANSFER.marks[:3], used=200)
    run = run_of(JOB, broken, Handoff(), [], None)
    assert (run.goodput, run.counts, run.used_bytes, run.why) == (None, False, 200, "reset")


def test_probes_are_those_of_the_lightest_kind_that_was_answered() -> None:
    """A refusal may come from nearer than the server, and what could not be sent is no loss."""
    refused = probe(Kind.STAMP, 0, Outcome.REFUSED, 1)
    fetched = probe(Kind.HTTP, 0.1, Outcome.ANSWERED, 50, connect_ns=8_000_000, first_byte_ns=9_000_000)
    lost, unsent = probe(Kind.HTTP, 0.2, Outcome.LOST), probe(Kind.HTTP, 0.3, Outcome.NOT_SENT)
    samples = [refused, fetched, lost, unsent]
    assert best_kind(samples) is Kind.HTTP
    assert best_kind([refused, lost]) is None
    seen = delay(samples, Kind.HTTP)
    assert (seen.sent, seen.lost, seen.loss_ratio, seen.median_s) == (2, 1, 0.5, 0.008)
    assert within(samples, 10**8, 3 * 10**8) == [fetched, lost]
    assert delay([], Kind.TCP).loss_ratio is None


def test_delay_under_load_is_the_lines_queue_and_round_trips_a_minute() -> None:
    """RFC 6349 section 4.2 and the draft on responsiveness: connect 20 ms, first byte 40 ms: 60 / 0.03 = 2000."""
    busy = [
        probe(Kind.HTTP, 1 + step / 10, Outcome.ANSWERED, 60, connect_ns=20_000_000, first_byte_ns=40_000_000)
        for step in range(10)
    ]
    idle = delay([probe(Kind.HTTP, 0, Outcome.ANSWERED, 9, connect_ns=10_000_000)], Kind.HTTP)
    run = run_of(JOB, TRANSFER, Handoff(), busy, idle)
    assert run.loaded is not None
    assert run.loaded.median_s == pytest.approx(0.020)
    assert run.limited_by is Limit.LINE
    assert run.responsiveness is not None
    assert run.responsiveness.foreign == pytest.approx(2000)
    assert run.responsiveness.loaded == pytest.approx(6000)
    assert run.responsiveness.rpm == pytest.approx(4000)


def test_what_crosses_the_pipe_comes_out_as_it_went_in() -> None:
    """Both ends speak of the same values."""
    assert read_job(dump(JOB)) == replace(JOB, addresses=["192.0.2.80"])
    assert read_said(dump(TRANSFER)) == replace(TRANSFER, rtts_s=[0.010, 0.010])
    assert read_said(dump(Mark(5, 7))) == Mark(5, 7)
    assert read_said(b"hello\n") is None
    assert "a token" not in repr(JOB)


def test_gauges_are_shares_of_the_time_that_passed() -> None:
    """proc(5): of each processor its interrupts; IEEE 802.3: 24 bytes a frame that no counter has."""
    before = Gauges(0, 0, ((10, 100), (0, 100)), 1_000_000)
    after = Gauges(10**9, 250_000_000, ((20, 200), (90, 200)), 13_500_000)
    assert after.processor_since(before) == 0.25
    assert after.interrupts_since(before) == 0.9
    assert after.port_since(before, 10**9) == 0.1
    blind = Gauges(10**9, None, (), None)
    assert (blind.processor_since(before), blind.interrupts_since(before)) == (None, None)
    assert (blind.port_since(before, 10**9), after.port_since(before, None)) == (None, None)


def test_this_machines_own_gauges_are_read() -> None:
    """Linux tells all but an interface that is not there."""
    found = Gauges.read(0, "lo", Direction.DOWN)
    assert found.port_bytes is not None
    assert found.processors
    assert Gauges.read(0, "no-such-one", Direction.UP).port_bytes is None
