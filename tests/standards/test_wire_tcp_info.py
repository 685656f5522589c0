"""struct tcp_info against the kernel's own declaration, laid out by the C rules of this machine."""

import ctypes
import socket
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.wire import tcp_info

BYTES = "state ca_state retransmits probes backoff options wscales flags"
WORDS = (
    "rto ato snd_mss rcv_mss unacked sacked lost retrans fackets last_data_sent last_ack_sent last_data_recv "
    "last_ack_recv pmtu rcv_ssthresh rtt rttvar snd_ssthresh snd_cwnd advmss reordering rcv_rtt rcv_space total_retrans"
)
LATER = (
    "Q:pacing_rate max_pacing_rate bytes_acked bytes_received I:segs_out segs_in notsent_bytes min_rtt data_segs_in "
    "data_segs_out Q:delivery_rate busy_time rwnd_limited sndbuf_limited I:delivered delivered_ce Q:bytes_sent "
    "bytes_retrans I:dsack_dups reord_seen rcv_ooopack snd_wnd"
)
KINDS = {"Q": ctypes.c_uint64, "I": ctypes.c_uint32}


def declared() -> type[ctypes.Structure]:
    """The structure in the order of linux/tcp.h; the two bytes of bit fields count as bytes."""
    fields: list[tuple[str, type]] = [(name, ctypes.c_uint8) for name in BYTES.split()]
    fields += [(name, ctypes.c_uint32) for name in WORDS.split()]
    kind: type = ctypes.c_uint64
    for word in LATER.split():
        letter, _, name = word.rpartition(":")
        kind = KINDS[letter] if letter else kind
        fields.append((name, kind))
    return type("tcp_info", (ctypes.Structure,), {"_fields_": fields})


def test_every_field_stands_where_the_kernel_has_it() -> None:
    """Linux uapi header linux/tcp.h, laid out by the rules of C."""
    layout = declared()
    for name, (at, form) in tcp_info.FIELDS.items():
        described = getattr(layout, name)
        assert (described.offset, described.size) == (at, struct.calcsize(form)), name


def filled() -> bytes:
    """One with a different number in each field that is read."""
    data = bytearray(ctypes.sizeof(declared()))
    data[5] = 0x07  # timestamps, selective acknowledgement, window scaling
    for number, (at, form) in enumerate(tcp_info.FIELDS.values(), 1):
        struct.pack_into(form, data, at, number * 1_000_000)
    return bytes(data)


def test_values_come_in_seconds_bits_and_bytes() -> None:
    """linux/tcp.h: times are microseconds, the delivery rate is bytes a second; TCPI_OPT_TIMESTAMPS is 1."""
    number = {name: index for index, name in enumerate(tcp_info.FIELDS, 1)}
    found = tcp_info.parse(filled())
    assert found.timestamps
    assert found.rtt_s == number["rtt"]
    assert found.min_rtt_s == number["min_rtt"]
    assert found.busy_s == number["busy_time"]
    assert found.delivery_bps == number["delivery_rate"] * 8_000_000
    assert found.acked == number["bytes_acked"] * 1_000_000
    assert found.retransmitted == number["bytes_retrans"] * 1_000_000


@pytest.mark.parametrize(
    ("size", "known", "unknown"),
    [
        (104, "rtt_s", "acked"),  # Linux 2.6
        (136, "acked", "min_rtt_s"),  # 4.1
        (192, "window_limited_s", "sent"),  # 4.10
        (224, "retransmitted", "out_of_order"),  # 4.19
        (232, "out_of_order", None),  # 5.4
    ],
)
def test_what_an_older_kernel_does_not_tell_is_none(size: int, known: str, unknown: str | None) -> None:
    """The structure has only ever grown at its end, so a short one lacks what came later (sizes from memory)."""
    found = tcp_info.parse(filled()[:size])
    assert getattr(found, known) is not None
    assert unknown is None or getattr(found, unknown) is None


def test_a_round_trip_that_was_never_taken_is_none() -> None:
    """Linux: min_rtt is all ones, and rtt zero, while there is no sample."""
    data = bytearray(filled())
    struct.pack_into("=I", data, tcp_info.FIELDS["min_rtt"][0], 0xFFFF_FFFF)
    struct.pack_into("=I", data, tcp_info.FIELDS["rtt"][0], 0)
    found = tcp_info.parse(bytes(data))
    assert found.min_rtt_s is None
    assert found.rtt_s is None


@given(data=st.binary(max_size=300))
def test_no_bytes_raise(data: bytes) -> None:
    """A kernel of any age is a value."""
    tcp_info.parse(data)


def test_this_machines_kernel_tells_what_a_connection_did() -> None:
    """tcp(7): 1000 bytes that were acknowledged are counted, SYN apart (RFC 4898 tcpEStatsAppHCThruOctetsAcked)."""
    server = socket.create_server(("127.0.0.1", 0))
    with server, socket.create_connection(server.getsockname()) as near, server.accept()[0] as far:
        before = tcp_info.parse(near.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, tcp_info.SIZE))
        near.sendall(bytes(1000))
        assert len(far.recv(1000, socket.MSG_WAITALL)) == 1000
        after = tcp_info.parse(near.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, tcp_info.SIZE))
    assert before.acked is not None
    assert after.acked is not None
    assert after.acked - before.acked == 1000
    assert after.retransmitted == 0
