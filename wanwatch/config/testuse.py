"""How much data a speed test moves: the most beforehand, and what it was afterwards, headers and all.

Afterwards, too, whatever is not known exactly is taken at its most: a budget must not count less than the provider.
"""

from typing import Final

from wanwatch.config.datause import MONTH_S
from wanwatch.config.schema import Speed
from wanwatch.config.uplink import Uplink
from wanwatch.core.account.speed_result import Direction, Run
from wanwatch.core.model import NS_PER_S

_UNREAD_BYTES: Final = 6 << 20
"""What Linux's usual tcp_rmem lets a connection hold that nobody has read yet when a test ends (from memory)."""
_QUEUE_S: Final = 2
"""So much of a line's rate may still be on its way when a test ends; no queue that people put up with is longer."""
_AGAIN: Final = 10
"""One byte of so many is set aside for being sent twice; a line that loses more is impaired."""
WARM_UP_S: Final = 3
AROUND_S: Final = 30
"""Connections, answers and the end are waited for, and probes beside a test go on meanwhile."""
_HEADERS_BYTES: Final = 40 + 20 + 12
"""IPv6, TCP and its timestamps: RFC 8200, RFC 9293, RFC 7323. An acknowledgement is nothing else."""
_STAMP_BYTES_S: Final = 10 * 2 * (40 + 8 + 44)
_FETCHES_S: Final = 4
_FETCH_BYTES: Final = {False: 1_500, True: 6_500}
"""A connection, a request and its answer; through TLS with a handshake."""


def longest_s(speed: Speed) -> int:
    """Return how long a test may take, both directions."""
    return 2 * (speed.seconds + WARM_UP_S + AROUND_S)


def most_payload(speed: Speed, uplink: Uplink, direction: Direction) -> int:
    """Return the most payload that a test has use for, one way: what the port, or twice what is sold, can carry."""
    contract = uplink.contract
    sold = (contract.down_mbps if direction is Direction.DOWN else contract.up_mbps) if contract else None
    known = [mbps for mbps in (uplink.handoff.link_mbps, sold and 2 * sold) if mbps]
    return min([speed.most_bytes, *(mbps * 10**6 // 8 * (speed.seconds + WARM_UP_S) for mbps in known)])


def most_bytes(speed: Speed, uplink: Uplink) -> int:
    """Return the most that a whole test of *uplink* moves over the line, both directions and the probes beside it."""
    payload = sum(most_payload(speed, uplink, direction) for direction in Direction)
    again = payload // _AGAIN
    unread = speed.connections * _UNREAD_BYTES
    return wire_bytes(payload + again + unread, uplink.handoff.mtu) + _beside(speed)


def monthly_test_bytes(speed: Speed, uplink: Uplink) -> int:
    """Return the most that tests by themselves move in 30 days; nothing where they are made on demand only."""
    if speed.at is None:
        return 0
    usual_ns = speed.at.every_ns + speed.at.jitter_ns // 2  # in the mean, the jitter adds half of itself
    return most_bytes(speed, uplink) * MONTH_S * NS_PER_S // usual_ns


def used_bytes(speed: Speed, uplink: Uplink, runs: tuple[Run, ...]) -> int:
    """Return what a test has moved, at its most."""
    payload = sum(run.used_bytes + _unread(run) for run in runs)
    again = sum(run.used_bytes * (1 - run.tcp.efficiency) for run in runs if run.tcp and run.tcp.efficiency)
    return wire_bytes(payload + int(again), uplink.handoff.mtu) + (_beside(speed) if payload else 0)


def wire_bytes(payload: int, mtu: int) -> int:
    """Return the bytes of the IP packets that *payload* bytes over TCP take, with their acknowledgements.

    Every second segment is acknowledged (RFC 5681 section 4.2).
    """
    return -(-payload * (2 * mtu + _HEADERS_BYTES) // (2 * (mtu - _HEADERS_BYTES)))


def _unread(run: Run) -> int:
    """What was on its way, or waited to be read, when a download ended."""
    if run.direction is Direction.UP:
        return 0  # what was handed over for sending is counted whole
    held = run.connections * _UNREAD_BYTES
    return min(held, int(run.goodput.bps / 8 * _QUEUE_S) if run.goodput else run.used_bytes)


def _beside(speed: Speed) -> int:
    secured = any(url is not None and url.startswith("https:") for url in (speed.server, speed.down, speed.up))
    return longest_s(speed) * (_STAMP_BYTES_S + _FETCHES_S * _FETCH_BYTES[secured])
