"""The measurer over real loopback sockets: what comes back is told apart, and a change disturbs only what changed."""

import asyncio
import socket
from dataclasses import replace
from itertools import pairwise

import pytest

from tests.measure.far_ends import MS, Reply, ask_once, measuring, once, question, reflect, udp_server
from wanwatch.clock import RealClock
from wanwatch.core.model import NS_PER_S, UNPINNED, Afterword, Cause, Kind, Outcome, Pin, Role, Sample, Series
from wanwatch.core.wire import stun
from wanwatch.measure import sockets
from wanwatch.measure.measurer import BadQuestionError, Measurer
from wanwatch.measure.pace import WHOLE


def closed_udp_port() -> int:
    """A port of loopback where nobody listens."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


@pytest.mark.parametrize("address", ["127.0.0.1", "::1"])
async def test_an_echo_is_answered(address: str) -> None:
    """The kernel answers on loopback; the round trip is measured between kernel stamps and is short."""
    sample = await ask_once(once(Kind.ECHO, address))
    assert sample.outcome is Outcome.ANSWERED
    assert sample.rtt_ns is not None
    assert 0 < sample.rtt_ns < NS_PER_S
    assert sample.known_ns == sample.sent_ns + sample.rtt_ns


async def test_a_stamp_session_counts_from_zero_and_is_answered() -> None:
    """RFC 8762: +1 a packet; facts are the reflector's."""
    async with udp_server(lambda packet: [(0, reflect(packet))]) as far:
        async with measuring(question(Kind.STAMP, "127.0.0.1", far.port)) as (_, told):
            await told.until(lambda: len(told.samples) >= 4)
        assert [int.from_bytes(packet[:4], "big") for packet, _ in far.requests[:4]] == [0, 1, 2, 3]
        assert len({sender for _, sender in far.requests}) == 1
    assert [sample.facts for sample in told.samples[:2]] == [
        {"reflector_seq": 0, "ttl": 64},
        {"reflector_seq": 1, "ttl": 64},
    ]


async def test_late_duplicate_reordered_malformed_lost_and_refused_are_told_apart() -> None:
    """Each probe has one sample; the rest are afterwords."""
    fates: dict[int, Reply] = {
        0: lambda reply: [(0, reply)],
        1: lambda reply: [(0.25, reply)],  # late: the waiting time is 100 ms
        2: lambda reply: [(0, reply), (0.01, reply)],  # duplicated
        3: lambda reply: [(0.07, reply)],  # overtaken by the next
        4: lambda reply: [(0, reply)],
        5: lambda reply: [(0, reply[:30])],  # malformed
        6: lambda _: [],  # lost
    }
    async with udp_server(lambda packet: fates.get(packet[3], fates[0])(reflect(packet))) as far:
        asked = question(Kind.STAMP, "127.0.0.1", far.port)
        async with measuring(asked) as (_, told):
            await told.until(lambda: len(told.samples) >= 10 and len(told.afterwords) >= 2)
    by_send = sorted(told.samples, key=lambda sample: sample.sent_ns)
    a, lo = Outcome.ANSWERED, Outcome.LOST
    assert [sample.outcome for sample in by_send[:8]] == [a, lo, a, a, a, Outcome.MALFORMED, lo, a]
    assert [sample.reordered for sample in by_send[:5]] == [False, False, False, True, False]
    late, duplicate = sorted(told.afterwords, key=lambda word: word.sent_ns)
    assert isinstance(late, Afterword)
    assert (late.sent_ns, late.late) == (by_send[1].sent_ns, True)
    assert late.rtt_ns > 200 * MS
    assert (duplicate.sent_ns, duplicate.late) == (by_send[2].sent_ns, False)
    assert by_send[1].known_ns == by_send[1].sent_ns + 100 * MS


async def test_a_loss_is_told_in_time_whatever_else_the_socket_waits_for() -> None:
    """A probe that waits long, or a lost one that is remembered, must not hold up the next one's verdict."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as silent:
        silent.bind(("127.0.0.1", 0))
        asked = question(Kind.STAMP, "127.0.0.1", silent.getsockname()[1], every_ns=300 * MS)
        loop, late = asyncio.get_running_loop(), []
        async with measuring(asked) as (_, told):
            for count in (1, 2, 3):
                await told.until(lambda count=count: len(told.samples) >= count)  # type: ignore[misc]
                late.append(loop.time() - told.samples[-1].known_ns / NS_PER_S)
    assert [sample.outcome for sample in told.samples] == [Outcome.LOST] * 3
    assert max(late) < 0.2


@pytest.mark.parametrize("kind", [Kind.STAMP, Kind.STUN, Kind.DNS])
async def test_a_closed_port_is_a_timed_refusal(kind: Kind) -> None:
    """RFC 1122 section 4.1.3.1: port unreachable; it reaches the probe through the error queue."""
    sample = await ask_once(once(kind, "127.0.0.1", closed_udp_port(), ask="www.example.com"))
    assert (sample.outcome, sample.cause) == (Outcome.REFUSED, Cause.PORT_UNREACHABLE)
    assert sample.rtt_ns is not None
    assert sample.facts == {"by": "127.0.0.1"}


async def test_a_refused_probe_does_not_spoil_the_next() -> None:
    """The kernel hands an error of one probe out at the next call; that call must not count as failed."""
    async with measuring(question(Kind.STAMP, "127.0.0.1", closed_udp_port(), every_ns=5 * MS)) as (_, told):
        await told.until(lambda: len(told.samples) >= 10)
    assert {sample.outcome for sample in told.samples} == {Outcome.REFUSED}


async def test_stun_tells_the_address_seen_and_asks_from_a_new_port_each_time() -> None:
    """New flows take the path that new traffic takes."""

    def answer(packet: bytes) -> list[tuple[float, bytes]]:
        return [(0, stun.build_success(packet[8:20], stun.Mapped("198.51.100.1", 40000)))]

    async with udp_server(answer) as far:
        async with measuring(question(Kind.STUN, "127.0.0.1", far.port)) as (_, told):
            await told.until(lambda: len(told.samples) >= 3)
        assert len({sender for _, sender in far.requests[:3]}) == 3
    assert told.samples[0].facts == {"address": "198.51.100.1", "port": 40000}


async def test_a_missing_interface_is_no_loss() -> None:
    """We could not ask: the probe is told as not sent, with its cause."""
    for kind in (Kind.ECHO, Kind.STAMP, Kind.TCP):
        sample = await ask_once(once(kind, "127.0.0.1", 9, pin=Pin(interface="nosuch0")))
        assert (sample.outcome, sample.cause) == (Outcome.NOT_SENT, Cause.NO_INTERFACE)
        assert sample.rtt_ns is None


async def test_an_address_that_we_do_not_hold_is_no_loss() -> None:
    """The same for a pin by source, of the wrong family too."""
    for source, address in (("192.0.2.200", "127.0.0.1"), ("127.0.0.1", "::1")):
        sample = await ask_once(once(Kind.ECHO, address, pin=Pin(sources=(source,))))
        assert (sample.outcome, sample.cause) == (Outcome.NOT_SENT, Cause.NO_ADDRESS)


async def test_what_did_not_change_goes_on_undisturbed() -> None:
    """The same session, the same grid of send times, no sample missing."""
    async with udp_server(lambda packet: [(0, reflect(packet))]) as far:
        kept = question(Kind.STAMP, "127.0.0.1", far.port, target="kept")
        dropped = question(Kind.STAMP, "127.0.0.1", far.port, target="dropped")
        added = question(Kind.STAMP, "127.0.0.1", far.port, target="added")
        changed = question(Kind.STAMP, "127.0.0.1", far.port, target="dropped", timeout_ns=90 * MS)

        def times(target: str) -> list[int]:
            return [sample.sent_ns for sample in told.samples if sample.series.target == target]

        async with measuring(kept, dropped) as (measurer, told):
            await told.until(lambda: len(times("kept")) >= 3)
            await measurer.apply([kept, added, changed])
            await told.until(lambda: len(times("added")) >= 3)
            await measurer.apply([kept])
            count = len(times("kept"))
            await told.until(lambda: len(times("kept")) >= count + 5)
            others = len(times("added")) + len(times("dropped"))
            await told.until(lambda: len(times("kept")) >= count + 8)
            assert len(times("added")) + len(times("dropped")) <= others
        own = [int.from_bytes(packet[:4], "big") for packet, _ in far.requests]
        assert max(own) >= 8  # one session that was never begun anew
    steps = [round((b - a) / (50 * MS), 1) for a, b in zip(times("kept"), times("kept")[1:], strict=False)]
    assert sum(steps) == pytest.approx(len(steps), abs=1.0)


async def test_a_quick_uplink_is_asked_at_its_pulse_and_others_are_not() -> None:
    """From now on, until told otherwise."""
    one = question(Kind.ECHO, "127.0.0.1", every_ns=NS_PER_S)
    other = question(Kind.ECHO, "127.0.0.1", every_ns=NS_PER_S, uplink=UNPINNED)
    async with measuring(one, other) as (measurer, told):
        measurer.pace("fibre", quick=True)
        await told.until(lambda: sum(sample.series.uplink == "fibre" for sample in told.samples) >= 10, 0.9)
        assert sum(sample.series.uplink == UNPINNED for sample in told.samples) <= 1


async def test_closing_is_quick_and_leaves_nothing_open() -> None:
    """Within a second, whatever is under way; unclosed sockets fail this test as warnings."""
    async with measuring(
        question(Kind.ECHO, "127.0.0.1"),
        question(Kind.STAMP, "127.0.0.1", closed_udp_port()),
        question(Kind.TCP, "127.0.0.1", 9),
        question(Kind.HTTP, "http://127.0.0.1:9/"),
    ) as (measurer, _):
        await asyncio.sleep(0.1)
        began = asyncio.get_running_loop().time()
        await measurer.close()
        assert asyncio.get_running_loop().time() - began < 1
        assert measurer._lanes == set()
        assert not measurer._tasks


async def test_a_lane_closes_once_nobody_uses_it_and_nothing_is_under_way() -> None:
    """Years of reloading must not leave sockets behind."""
    async with measuring(question(Kind.ECHO, "127.0.0.1", every_ns=10 * MS)) as (measurer, told):
        await told.until(lambda: len(told.samples) >= 2)
        await measurer.apply([])
        await asyncio.sleep(0.2)
        assert measurer._lanes == set()


@pytest.mark.parametrize(
    ("address", "ask", "text"),
    [
        (
            "near.example",
            None,
            "target 'near': cannot ask 'near.example': it is no IP address; write one, such as 192.0.2.1",
        ),
        (
            "192.0.2.1",
            "a..b",
            "target 'near': cannot ask '192.0.2.1': 'a..b' is no domain name; write one, such as www.example.com",
        ),
    ],
)
async def test_a_question_that_cannot_be_asked_is_told_before_anything_changes(
    address: str, ask: str | None, text: str
) -> None:
    """What, with which value, why, what to write instead."""
    measurer = Measurer(RealClock(), lambda _: None)
    good = once(Kind.ECHO, "127.0.0.1")
    with pytest.raises(BadQuestionError) as caught:
        await measurer.apply([good, once(Kind.DNS, address, ask=ask, target="near")])
    assert str(caught.value) == text
    assert measurer._asking == {}
    await measurer.close()


async def test_targets_of_one_line_are_asked_at_even_distances() -> None:
    """An outage's start is bounded by sends to the line's targets; what else is asked must not make them uneven."""
    rungs = [
        replace(once(Kind.ECHO, "127.0.0.9"), series=Series("fibre", role.value, Kind.ECHO, role)) for role in Role
    ]
    targets = [once(Kind.ECHO, f"127.0.0.{n}") for n in (1, 2, 3)]
    async with measuring(*rungs[1:], *targets) as (measurer, _):
        shares = sorted(measurer._asking[target].turn.share for target in targets)
        every = {asking.turn.share for asking in measurer._asking.values()}
    assert [b - a for a, b in pairwise([*shares, shares[0] + WHOLE])] == pytest.approx([WHOLE / 3] * 3, abs=2)
    assert len(every) == len(rungs) - 1 + len(targets)


async def test_two_questions_over_one_pin_share_a_socket() -> None:
    """A raw socket receives every reply, so one for each question would cost the square."""
    series = Series("fibre", "second", Kind.ECHO, Role.GATEWAY)
    first = question(Kind.ECHO, "127.0.0.1")
    second = question(Kind.ECHO, "127.0.0.2", target=series.target)
    async with measuring(first, second) as (measurer, told):
        await told.until(lambda: {sample.series.target for sample in told.samples} == {"127.0.0.1", "second"})
        assert len(measurer._lanes) == 1
    assert all(isinstance(seen, Sample) and seen.outcome is Outcome.ANSWERED for seen in told.seen)


@pytest.mark.parametrize(("address", "own"), [("127.0.0.1", True), ("::1", True), ("198.51.100.77", False)])
def test_own_addresses_are_known(*, address: str, own: bool) -> None:
    """A neighbour that our own kernel did not find is silence, not a refusal."""
    assert sockets.is_own(address) is own
