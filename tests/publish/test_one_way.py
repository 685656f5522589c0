"""What is shown of each direction, from facts and from packets that were really dropped one way."""

import asyncio
import contextlib
import shutil
import socket
import subprocess
from collections.abc import AsyncIterator, Callable, Mapping

import pytest
from prometheus_client import generate_latest
from prometheus_client.parser import text_string_to_metric_families

import wanwatch.reflector.stamp as far_end
from tests.measure.far_ends import measuring, question, udp_server
from wanwatch.core.model import NS_PER_S, Kind, Outcome, Role, Sample, Series
from wanwatch.measure import codecs
from wanwatch.publish import Metrics
from wanwatch.reflector import StampReflector

SERIES = Series("fibre", "far", Kind.STAMP, Role.LINE)
MS = 1_000_000
NOTHING: Mapping[str, int] = {}
DELAYS = {"forward_ns": 12 * MS, "reverse_ns": 30 * MS, "one_way_error_ns": 2 * MS}
ALL = {**DELAYS, "lost_forward": 1, "lost_reverse": 0}
Figures = tuple[float | None, float | None]


def make() -> Metrics:
    metrics = Metrics("harbour-lane", "1.2.3")
    metrics.follow(("fibre", "copper"))
    return metrics


def tell(
    metrics: Metrics, number: int, facts: Mapping[str, int] = NOTHING, *, second: int = 0, reordered: bool = False
) -> None:
    """One answer that the reflector numbered so, and what it says besides."""
    known_ns = second * NS_PER_S
    told = {"reflector_seq": number, "ttl": 60, **facts}
    metrics.sample(Sample(SERIES, 0, 0, known_ns, Outcome.ANSWERED, 45 * MS, None, reordered, told))


def tell_lost(metrics: Metrics, number: int, forward: int, reverse: int, *, reordered: bool = False) -> None:
    """One answer with what its session has lost by now."""
    tell(metrics, number, {"lost_forward": forward, "lost_reverse": reverse}, reordered=reordered)


def ways(metrics: Metrics, name: str, target: str = "far") -> Figures:
    """A metric there and back."""
    labels = {"site": "harbour-lane", "uplink": "fibre", "target": target}
    forward, reverse = (
        metrics.registry.get_sample_value(name, {**labels, "direction": direction})
        for direction in ("forward", "reverse")
    )
    return forward, reverse


def delay(metrics: Metrics, target: str = "far") -> Figures:
    return ways(metrics, "wanwatch_one_way_delay_seconds", target)


def lost(metrics: Metrics, target: str = "far") -> Figures:
    return ways(metrics, "wanwatch_one_way_lost_total", target)


def error(metrics: Metrics, target: str = "far") -> float | None:
    labels = {"site": "harbour-lane", "uplink": "fibre", "target": target}
    return metrics.registry.get_sample_value("wanwatch_one_way_delay_error_seconds", labels)


NONE: Figures = (None, None)


def test_delay_is_shown_with_its_error_while_both_clocks_are_disciplined() -> None:
    """RFC 4656 section 4.1.2: without S in both error estimates there is no common time, so nothing is shown."""
    metrics = make()
    tell(metrics, 0, DELAYS)
    assert delay(metrics) == (0.012, 0.030)
    assert error(metrics) == 0.002
    tell(metrics, 1)
    assert (delay(metrics), error(metrics)) == (NONE, None)


def test_a_delay_may_be_negative_within_its_error() -> None:
    """RFC 7679 section 3.7.1 (from memory): what clocks differ by goes into the delay, and is not hidden."""
    metrics = make()
    tell(metrics, 0, {"forward_ns": -1 * MS, "reverse_ns": 3 * MS, "one_way_error_ns": 2 * MS})
    assert delay(metrics) == (-0.001, 0.003)


def test_an_old_delay_is_absent_and_so_is_what_is_no_longer_asked() -> None:
    """A gauge that stands still would look like a measurement; a count stands for as long as it is being counted."""
    metrics = make()
    tell(metrics, 1, ALL, second=1)
    metrics.tick(60 * NS_PER_S)
    assert delay(metrics) == (0.012, 0.030)
    metrics.tick(61 * NS_PER_S)
    assert (delay(metrics), error(metrics), lost(metrics)) == (NONE, None, (1, 0))
    metrics.sample(Sample(SERIES, 0, 0, 3000 * NS_PER_S, Outcome.LOST))
    metrics.tick(6599 * NS_PER_S)
    assert lost(metrics) == (1, 0)
    metrics.tick(6600 * NS_PER_S)
    assert lost(metrics) == NONE


def test_loss_is_absent_while_the_reflector_may_be_stateless() -> None:
    """RFC 8762 section 4.3: a stateless one copies the sender's number, which says nothing of directions."""
    metrics = make()
    for number in (0, 1, 3, 4):
        tell(metrics, number)
    assert lost(metrics) == NONE


def test_loss_never_falls_when_a_packet_was_only_overtaken() -> None:
    """OpenMetrics 1.0, Counter: a total that falls means a new beginning, and would be counted again as a whole."""
    metrics = make()
    tell_lost(metrics, 10, 2, 5)
    tell_lost(metrics, 12, 2, 6)
    tell_lost(metrics, 11, 2, 5, reordered=True)
    assert lost(metrics) == (2, 6)
    tell_lost(metrics, 14, 2, 6)
    assert lost(metrics) == (2, 6)
    tell_lost(metrics, 16, 3, 7)
    assert lost(metrics) == (3, 7)
    tell_lost(metrics, 300, 3, 7)
    tell_lost(metrics, 17, 3, 7, reordered=True)  # however far behind, it is no new beginning
    assert lost(metrics) == (3, 7)


@pytest.mark.parametrize("again", [0, 20])
def test_loss_goes_on_when_the_session_begins_anew(again: int) -> None:
    """A reflector that was restarted, or a new socket, counts from 0; what was lost before stays counted."""
    metrics = make()
    tell_lost(metrics, 100, 4, 2)
    tell(metrics, again)
    assert lost(metrics) == (4, 2)
    tell_lost(metrics, again + 2, 1, 0)
    tell_lost(metrics, again + 4, 1, 1)
    assert lost(metrics) == (5, 3)


def test_what_cannot_be_read_any_longer_stays_as_it_was() -> None:
    """Copies on the way there hide the direction; what was known before is not taken back."""
    metrics = make()
    tell_lost(metrics, 10, 1, 1)
    tell(metrics, 11)
    tell_lost(metrics, 12, 1, 1)
    assert lost(metrics) == (1, 1)


def test_only_stamp_sessions_over_a_line_are_noted() -> None:
    """Nothing else learns of directions, and it costs other probes no more than a look at their kind."""
    metrics = make()
    for other in (SERIES._replace(kind=Kind.ECHO), SERIES._replace(role=Role.EGRESS)):
        metrics.sample(Sample(other, 0, 0, 0, Outcome.ANSWERED, 1, facts=DELAYS))
    assert (delay(metrics), metrics._one_way._series) == (NONE, {})


def test_an_uplink_that_is_gone_shows_no_direction() -> None:
    """After a reload, /metrics does not speak of lines that are no longer configured."""
    metrics = make()
    tell(metrics, 3, ALL)
    metrics.follow(("copper",))
    assert (delay(metrics), error(metrics), lost(metrics)) == (NONE, None, NONE)


def test_prometheus_reads_a_gauge_for_delay_and_a_counter_for_loss() -> None:
    """Prometheus' own parser and linter: names, units, types and help texts."""
    metrics = make()
    tell(metrics, 3, ALL)
    text = generate_latest(metrics.registry)
    kinds = {family.name: family.type for family in text_string_to_metric_families(text.decode())}
    shown = {name: kind for name, kind in kinds.items() if "one_way" in name}
    assert shown == {
        "wanwatch_one_way_delay_seconds": "gauge",
        "wanwatch_one_way_delay_error_seconds": "gauge",
        "wanwatch_one_way_lost": "counter",
    }
    promtool = shutil.which("promtool")
    if promtool is None:
        pytest.skip("there is no promtool on this machine")
    checked = subprocess.run([promtool, "check", "metrics"], input=text, capture_output=True, check=False)
    assert (checked.returncode, checked.stdout, checked.stderr) == (0, b"", b"")


Passes = Callable[[int], bool]
"""Whether the packet of this sender's number gets through."""


@contextlib.asynccontextmanager
async def line(reflector_port: int, there: Passes, back: Passes, back_s: float = 0.0) -> AsyncIterator[int]:
    """A line to a reflector that drops one way, and takes so long on the way back; gives the port of its near end."""
    loop, sender = asyncio.get_running_loop(), ("", 0)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as far:
        far.connect(("127.0.0.1", reflector_port))
        far.setblocking(False)  # noqa: FBT003 - the call's own shape
        async with udp_server(lambda _: []) as near:

            def go(data: bytes, addr: tuple[str, int]) -> None:
                nonlocal sender
                sender = addr
                if there(int.from_bytes(data[:4], "big")):
                    far.send(data)

            def come() -> None:
                answer = far.recv(2000)
                if back(int.from_bytes(answer[24:28], "big")):  # RFC 8762 figure 5: the copied sequence
                    loop.call_later(back_s, near._send, answer, sender)

            near.datagram_received = go  # type: ignore[method-assign]
            loop.add_reader(far, come)
            yield near.port
            loop.remove_reader(far)


async def watched(there: Passes, back: Passes, *, stateful: bool, back_s: float = 0.0) -> Metrics:
    """What the metrics say once twelve probes, of one each 50 ms, were answered."""
    metrics = make()
    reflector = StampReflector("127.0.0.1", 0, stateful=stateful)
    try:
        async with line(reflector.port, there, back, back_s) as port:
            asked = question(Kind.STAMP, "127.0.0.1", port, target="far", timeout_ns=NS_PER_S)
            async with measuring(asked) as (_, told):
                await told.until(lambda: sum(s.outcome is Outcome.ANSWERED for s in told.samples) >= 12)
    finally:
        reflector.close()
    for sample in told.samples:
        metrics.sample(sample)
    return metrics


def _all_but(*numbers: int) -> Passes:
    return lambda number: number not in numbers


@pytest.mark.parametrize(
    ("there", "back", "expected"),
    [
        (_all_but(2, 3, 6), _all_but(4), (3, 1)),
        (_all_but(2), _all_but(3, 5, 6, 8), (1, 4)),
        (_all_but(0, 1, 2), _all_but(), (3, 0)),
    ],
    ids=["mostly there", "mostly back", "there only, from the first"],
)
async def test_the_direction_that_lost_is_told_right(there: Passes, back: Passes, expected: Figures) -> None:
    """RFC 8762 section 4.3: packets dropped on one way are counted on that way, by our own stateful reflector."""
    assert lost(await watched(there, back, stateful=True)) == expected


async def test_a_stateless_reflector_lets_no_direction_be_told() -> None:
    """The same losses, and no figure: a wrong one would be worse than none."""
    assert lost(await watched(_all_but(2, 3, 6), _all_but(4), stateful=False)) == NONE


async def test_a_line_that_is_slow_one_way_shows_it_where_clocks_allow(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 8762 section 4: T2 - T1 and T4 - T3, of one clock here; 50 ms are added on the way back only."""
    for module in (codecs, far_end):
        monkeypatch.setattr(module, "wall_clock_error_us", lambda: 500)
    metrics = await watched(_all_but(), _all_but(), stateful=True, back_s=0.050)
    forward, reverse = delay(metrics)
    assert forward is not None
    assert reverse is not None
    assert 0 <= forward < 0.050 <= reverse
    assert error(metrics) == pytest.approx(0.001, rel=0.02)  # an estimate has 8 bits: at most 1 part in 128 too much


async def test_clocks_that_nobody_sets_show_no_one_way_delay(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 4656 section 4.1.2: ours is set and the reflector's is not."""
    monkeypatch.setattr(codecs, "wall_clock_error_us", lambda: 500)
    monkeypatch.setattr(far_end, "wall_clock_error_us", lambda: None)
    metrics = await watched(_all_but(), _all_but(), stateful=True)
    assert (delay(metrics), error(metrics)) == (NONE, None)
