"""The reflector answers STAMP test packets as RFC 8762 asks."""

import asyncio
import socket
import struct
import time
from collections.abc import AsyncIterator

import pytest

from wanwatch.core.wire import stamp
from wanwatch.reflector import ReflectorError, StampReflector, reflect
from wanwatch.reflector.stamp import Sessions

# 2026-01-01T00:00:00.5Z; the packets below were computed from the figures of RFC 8762 (sections 4.2.1 and 4.3.1).
T1_UNIX_NS = 1_767_225_600_500_000_000
REQUEST = bytes.fromhex("00000007ed003780800000008001") + bytes(30)
ANSWER = bytes.fromhex(
    "00000007ed00378082b020c480010000ed003780828f5c2800000007ed003780800000008001000040000000"
)  # fmt: skip


def answer_to(request: bytes) -> bytes | None:
    """Answer 10 ms after T1, 0.5 ms later, to a packet that came with TTL 64, with estimate 0x8001."""
    return reflect(
        request,
        received_unix_ns=T1_UNIX_NS + 10_000_000,
        sent_unix_ns=T1_UNIX_NS + 10_500_000,
        hop_limit=64,
        estimate=0x8001,
    )


def test_the_answer_is_the_published_layout() -> None:
    """RFC 8762 section 4.3.1, figure 5: every field at its place, those of the sender copied."""
    assert answer_to(REQUEST) == ANSWER


@pytest.mark.parametrize("extra", [b"\x01", b"padding", bytes(range(256)) * 4])
def test_what_follows_the_base_packet_comes_back_unchanged(extra: bytes) -> None:
    """RFC 8762 section 4.6: the remainder is copied, so the answer is as large as the request."""
    assert answer_to(REQUEST + extra) == ANSWER + extra


def test_a_session_identifier_is_copied() -> None:
    """RFC 8972 section 3: the reflector copies the sender's identifier."""
    answer = answer_to(REQUEST[:14] + b"\xbe\xef" + REQUEST[16:])
    assert answer is not None
    assert answer[14:16] == b"\xbe\xef"


def test_a_short_request_gets_a_base_packet() -> None:
    """RFC 8762 section 4.6: a packet smaller than the base packet is answered with the base packet."""
    assert answer_to(REQUEST[:14]) == ANSWER


def test_tlvs_of_a_session_come_back_flagged_and_without_one_it_is_padding() -> None:
    """RFC 8972 section 4: U on what is not known; section 3: a sender of RFC 8762 alone has no identifier."""
    tlv = bytes.fromhex("00c80002") + b"hi"
    answer = answer_to(REQUEST[:14] + b"\xbe\xef" + REQUEST[16:] + tlv)
    assert answer is not None
    assert answer[44:] == b"\x80" + tlv[1:]
    assert answer_to(REQUEST + tlv) == ANSWER + tlv


KEY = b"an example key of some length"


def signed_answer(request: bytes) -> bytes | None:
    """Answer in the authenticated mode."""
    return reflect(
        request, received_unix_ns=T1_UNIX_NS, sent_unix_ns=T1_UNIX_NS, hop_limit=64, estimate=0x8001, key=KEY
    )


def test_an_authentic_request_has_an_authentic_answer_of_its_size() -> None:
    """RFC 8762 sections 4.3.2 and 4.4: 112 octets; the fields are those of the other mode."""
    asked = stamp.SenderPacket(7, 0xED00378080000000, 0x8001, 0xBEEF)
    tlv = bytes.fromhex("80010003") + b"abc"
    answer = signed_answer(stamp.build_sender(asked, KEY) + tlv)
    assert answer is not None
    assert len(answer) == 112 + len(tlv)
    seen = stamp.parse_reflector(answer, KEY)
    assert isinstance(seen, stamp.ReflectorPacket)
    assert (seen.sender_sequence, seen.sender_timestamp, seen.ssid, seen.sender_ttl) == (7, asked.timestamp, 0xBEEF, 64)


def test_one_flipped_bit_is_met_with_silence() -> None:
    """RFC 8762 section 4.4: a packet that fails its HMAC must not be used."""
    request = stamp.build_sender(stamp.SenderPacket(7, 0xED00378080000000, 0x8001), KEY)
    for bit in range(112 * 8):
        broken = bytearray(request)
        broken[bit // 8] ^= 1 << bit % 8
        assert signed_answer(bytes(broken)) is None, bit
    assert signed_answer(REQUEST) is None
    assert signed_answer(REQUEST.ljust(112, b"\0")) is None


def test_a_session_is_address_port_and_identifier_and_counts_from_zero() -> None:
    """RFC 8762 section 4.3: the reflector's own number, one for each packet received; RFC 8972 section 3."""
    sessions = Sessions()
    asked, other = stamp.SenderPacket(7, 1), stamp.SenderPacket(7, 1, ssid=5)
    peers = [(("192.0.2.1", 5), asked), (("192.0.2.1", 6), asked), (("192.0.2.2", 5), asked), (("192.0.2.1", 5), other)]
    assert [sessions.number(peer, said) for peer, said in peers * 2] == [0, 0, 0, 0, 1, 1, 1, 1]


def test_the_memory_of_sessions_is_bounded() -> None:
    """The one that was quiet the longest is forgotten."""
    sessions = Sessions(most=2)
    asked = stamp.SenderPacket(0, 1)
    assert [sessions.number(("192.0.2.1", port), asked) for port in (1, 2, 1, 3, 1, 2)] == [0, 0, 1, 0, 2, 0]
    assert len(sessions._next) == 2


@pytest.mark.parametrize("size", range(14))
def test_less_than_a_header_is_not_answered(size: int) -> None:
    """A datagram too short for sequence, time and estimate is no test packet."""
    assert answer_to(REQUEST[:size]) is None


def test_a_corrupt_estimate_is_not_answered() -> None:
    """RFC 4656 section 4.1.2: a multiplier of zero is not allowed and means a corrupt packet."""
    assert answer_to(REQUEST[:12] + b"\x80\x00" + REQUEST[14:]) is None


@pytest.fixture(params=["127.0.0.1", "::1", "::"])
async def reflector(request: pytest.FixtureRequest) -> AsyncIterator[tuple[StampReflector, str]]:
    """A reflector on a free port, and an address that reaches it."""
    listening = StampReflector(request.param, 0)
    yield listening, {"::": "127.0.0.3"}.get(request.param, request.param)
    listening.close()


def asker(address: str, port: int, source: str | None = None) -> socket.socket:
    """Return a connected socket: it hears the address that it asked, and no other."""
    sock = socket.socket(
        socket.AF_INET6 if ":" in address else socket.AF_INET, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK
    )
    if source is not None:
        sock.bind((source, 0))
    sock.connect((address, port))
    return sock


async def heard(sock: socket.socket) -> bytes:
    """Wait for one answer."""
    return await asyncio.wait_for(asyncio.get_running_loop().sock_recv(sock, 65_535), 2)


async def exchange(address: str, port: int, request: bytes) -> bytes:
    """Ask once, and hear the answer."""
    with asker(address, port) as sock:
        sock.send(request)
        return await heard(sock)


async def test_a_real_answer_tells_hop_limit_and_times(reflector: tuple[StampReflector, str]) -> None:
    """RFC 8762 section 4.3.1: TTL or hop limit as received, T2 at receipt, T3 at sending; section 4.3: same size."""
    listening, address = reflector
    before = stamp.ntp_from_unix(time.time_ns())
    with asker(address, listening.port) as sock:
        if sock.family == socket.AF_INET6:
            sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_UNICAST_HOPS, 77)
        else:
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_TTL, 77)
        sock.send(REQUEST + b"rest")
        data = await heard(sock)
    after = stamp.ntp_from_unix(time.time_ns())
    answer = stamp.parse_reflector(data)
    assert isinstance(answer, stamp.ReflectorPacket)
    assert answer.sender_ttl == 77
    assert (answer.sequence, answer.sender_sequence, answer.sender_error_estimate) == (7, 7, 0x8001)
    assert before <= answer.receive_timestamp <= answer.timestamp <= after
    assert data[44:] == b"rest"
    assert listening.answered == 1


async def test_the_receive_time_is_the_kernels(reflector: tuple[StampReflector, str]) -> None:
    """T2 is when the packet came, however late the program gets to read it."""
    listening, address = reflector
    await exchange(address, listening.port, REQUEST)  # the kernel may begin to stamp only with the second packet
    with asker(address, listening.port) as sock:
        sock.send(REQUEST)
        time.sleep(0.12)  # noqa: ASYNC251 - keeps the reflector, which shares this loop, from reading
        answer = stamp.parse_reflector(await heard(sock))
    assert isinstance(answer, stamp.ReflectorPacket)
    assert stamp.timestamp_difference_ns(answer.timestamp, answer.receive_timestamp) >= 100_000_000


async def test_noise_is_met_with_silence(reflector: tuple[StampReflector, str]) -> None:
    """What is no test packet gets no answer and stops nothing."""
    listening, address = reflector
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(exchange(address, listening.port, b"hello"), 0.1)
    assert (listening.ignored, listening.answered) == (1, 0)
    assert len(await exchange(address, listening.port, REQUEST)) == 44


@pytest.mark.parametrize("size", [14, 41, 43])
async def test_a_request_shorter_than_its_answer_is_not_answered(
    reflector: tuple[StampReflector, str], size: int
) -> None:
    """Never an amplifier: no answer over UDP is longer than its question (a departure from RFC 8762 section 4.6)."""
    listening, address = reflector
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(exchange(address, listening.port, REQUEST[:size]), 0.1)
    assert (listening.ignored, listening.answered) == (1, 0)


async def test_a_stateful_reflector_numbers_its_answers_by_itself() -> None:
    """RFC 8762 section 4.3: so a sender can tell which direction lost a packet."""
    listening = StampReflector("127.0.0.1", 0, stateful=True)
    numbers = []
    try:
        with asker("127.0.0.1", listening.port) as sock:
            for sequence in (0, 3, 4):
                sock.send(sequence.to_bytes(4, "big") + REQUEST[4:])
                answer = stamp.parse_reflector(await heard(sock))
                assert isinstance(answer, stamp.ReflectorPacket)
                numbers.append((answer.sender_sequence, answer.sequence))
    finally:
        listening.close()
    assert numbers == [(0, 0), (3, 1), (4, 2)]


async def test_an_address_that_asks_too_often_is_left_alone() -> None:
    """A reflector must not be a stranger's tool: each address has a burst and a rate."""
    listening = StampReflector("127.0.0.1", 0, per_s=1, burst=3)
    try:
        for _ in range(3):
            await exchange("127.0.0.1", listening.port, REQUEST)
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(exchange("127.0.0.1", listening.port, REQUEST), 0.1)
        with asker("127.0.0.1", listening.port, source="127.0.0.9") as sock:
            sock.send(REQUEST)
            other = await heard(sock)
    finally:
        listening.close()
    assert len(other) == 44
    assert (listening.answered, listening.limited) == (4, 1)


def test_scapy_reads_the_answer_alike() -> None:
    """An independent decoder sees the same fields at the same places."""
    scapy_stamp = pytest.importorskip("scapy.contrib.stamp")
    decoded = scapy_stamp.STAMPSessionReflectorTestUnauthenticated(ANSWER)
    assert (decoded.seq, decoded.seq_sender, decoded.ttl_sender) == (7, 7, 64)
    assert struct.pack("!H", int.from_bytes(bytes(decoded.err_estimate_sender), "big")) == b"\x80\x01"


async def test_a_taken_port_is_told_with_its_mend() -> None:
    """The error names the address, the port, the reason and what would help."""
    listening = StampReflector("127.0.0.1", 0)
    try:
        with pytest.raises(ReflectorError) as caught:
            StampReflector("127.0.0.1", listening.port)
    finally:
        listening.close()
    assert str(caught.value) == (
        f"reflector: cannot listen on 127.0.0.1 port {listening.port}: Address already in use; "
        "give an address of this machine and a free port (below 1024 only as root)"
    )


async def test_a_name_is_no_address() -> None:
    """What is not an IP address is told as such, not resolved."""
    with pytest.raises(
        ReflectorError, match=r"port 862: 'far[.]example' does not appear to be an IPv4 or IPv6 address; give"
    ):
        StampReflector("far.example", 862)
