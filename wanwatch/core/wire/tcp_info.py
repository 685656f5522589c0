"""What the kernel knows of one TCP connection: struct tcp_info.

Sources:     Linux uapi header linux/tcp.h (layout; it has only ever grown at its end); RFC 4898 (the counters).
Departures:  only what is needed is read; a field that the kernel is too old to tell is None.
"""

import struct
from typing import Final, NamedTuple

SIZE: Final = 256
"""Bytes to ask for: more than any kernel gives, so that the answer's length says what it knows."""

_OPT_TIMESTAMPS: Final = 1
_US_PER_S: Final = 1_000_000
_OPTIONS_AT: Final = 5
_U32: Final = {"snd_mss": 16, "rcv_mss": 20, "sacked": 28, "rcv_ssthresh": 64, "rtt": 68, "rcv_rtt": 92,
               "segs_out": 136, "segs_in": 140, "min_rtt": 148, "data_segs_in": 152, "rcv_ooopack": 224}  # fmt: skip
_U64: Final = {"bytes_acked": 120, "bytes_received": 128, "delivery_rate": 160, "busy_time": 168, "rwnd_limited": 176,
               "sndbuf_limited": 184, "bytes_sent": 200, "bytes_retrans": 208}  # fmt: skip
FIELDS: Final = {name: (at, "=I") for name, at in _U32.items()} | {name: (at, "=Q") for name, at in _U64.items()}
"""Where each field stands and how it is packed; its name is the header's, without the prefix tcpi_."""
_NO_RTT: Final = 0xFFFF_FFFF
"""What min_rtt holds while there is no sample."""


class TcpInfo(NamedTuple):
    """One connection as the kernel sees it now; None where it does not tell.

    Attributes:
        timestamps: Whether segments carry the timestamps option.
        mss: Payload of a full segment that we send, in bytes, options taken off.
        their_mss: The same of what the far end sends, as far as has been seen.
        selected: Segments that the far end has beyond a gap (RFC 2018), and so has not acknowledged in order.
        rtt_s: Smoothed round-trip time, in seconds; of our own data, so it stands still while we only receive.
        min_rtt_s: Least round-trip time within the kernel's window of some minutes.
        receive_rtt_s: The receiver's estimate of the round-trip time.
        receive_window: Most bytes that we let the far end have on the way.
        delivery_bps: Latest rate at which our data arrived, in bits a second.
        acked: Payload bytes that the far end has acknowledged.
        received: Payload bytes that have come in.
        sent: Payload bytes sent, those sent again included.
        retransmitted: Payload bytes sent again.
        packets_out: Segments sent, those without payload and those sent again included.
        packets_in: Segments that have come in, those without payload included.
        segments_in: Segments with payload that have come in.
        out_of_order: Of them, those that came out of order, as after a loss.
        busy_s: Seconds in which there was something to send.
        window_limited_s: Of them, those in which the far end's window held us up.
        buffer_limited_s: Of them, those in which our own send buffer did.
    """

    timestamps: bool
    mss: int | None
    their_mss: int | None
    selected: int | None
    rtt_s: float | None
    min_rtt_s: float | None
    receive_rtt_s: float | None
    receive_window: int | None
    delivery_bps: int | None
    acked: int | None
    received: int | None
    sent: int | None
    retransmitted: int | None
    packets_out: int | None
    packets_in: int | None
    segments_in: int | None
    out_of_order: int | None
    busy_s: float | None
    window_limited_s: float | None
    buffer_limited_s: float | None


def parse(data: bytes) -> TcpInfo:
    """Read what getsockopt(TCP_INFO) gave; bytes that are missing make None of what they would hold."""

    def field(name: str) -> int | None:
        at, form = FIELDS[name]
        return int(struct.unpack_from(form, data, at)[0]) if at + struct.calcsize(form) <= len(data) else None

    def seconds(name: str) -> float | None:
        value = field(name)
        return None if value is None or value == _NO_RTT else value / _US_PER_S

    rate = field("delivery_rate")
    return TcpInfo(
        timestamps=len(data) > _OPTIONS_AT and bool(data[_OPTIONS_AT] & _OPT_TIMESTAMPS),
        mss=field("snd_mss"),
        their_mss=field("rcv_mss"),
        selected=field("sacked"),
        rtt_s=seconds("rtt") or None,
        min_rtt_s=seconds("min_rtt"),
        receive_rtt_s=seconds("rcv_rtt") or None,
        receive_window=field("rcv_ssthresh"),
        delivery_bps=None if rate is None else rate * 8,
        acked=field("bytes_acked"),
        received=field("bytes_received"),
        sent=field("bytes_sent"),
        retransmitted=field("bytes_retrans"),
        packets_out=field("segs_out"),
        packets_in=field("segs_in"),
        segments_in=field("data_segs_in"),
        out_of_order=field("rcv_ooopack"),
        busy_s=seconds("busy_time"),
        window_limited_s=seconds("rwnd_limited"),
        buffer_limited_s=seconds("sndbuf_limited"),
    )
