"""Mutated packets by the million, through every decoder: none may raise anything.

    python tests/bench/fuzz_wire.py [PACKETS] [SEED]       # 10,000,000 by default; the seed makes a run repeatable

Each packet is a good one of its kind with a few octets flipped, cut out, doubled or replaced; so the decoders are
reached deeper than noise would reach. Prints how many were read as values, how many as malformed, and the time it took.
"""

import random
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from wanwatch.core.wire import Malformed, icmp, rtnetlink, stamp, stamp_tlv, stun
from wanwatch.reflector import reflect
from wanwatch.reflector._request import parse_head
from wanwatch.reflector.stun import answer

KEY = b"an example key of some length"
TRANSACTION = bytes(range(12))
SEEN = stun.Mapped("192.0.2.1", 4242)
SENDER = stamp.SenderPacket(7, 0xED00378080000000, 0x9064, ssid=0xBEEF)
ANSWER = stamp.ReflectorPacket(8, 3 << 32, 0x9064, 0xBEEF, 2 << 32, 7, 1 << 32, 0x8001, 63)
TLVS = stamp_tlv.build(1, b"padding") + stamp_tlv.build(200, b"unknown") + stamp_tlv.build(8, bytes(16))
QUOTED = bytes.fromhex("45000054000040004001" + "00" * 10 + "0800f7fd00010001")
ROUTE = rtnetlink.build_get_route("192.0.2.1", mark=7)
HEAD = b"GET /down?bytes=100 HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer abc\r\nContent-Length: 5"
TIMES: Any = {"received_unix_ns": 1, "sent_unix_ns": 2, "hop_limit": 64, "estimate": 0x8001}


def resigned(read: Callable[[bytes, bytes], object]) -> Callable[[bytes], object]:
    """Sign the mutated packet anew, so that what lies behind the HMAC is reached too."""

    def reading(data: bytes) -> object:
        return read(data[:96] + stamp.signature(data[:96], KEY) + data[112:], KEY)

    return reading


def netlink(data: bytes) -> object:
    """Every message of a datagram, each as every kind."""
    return [rtnetlink.parse(kind, body) for _, body in rtnetlink.messages(data) for kind in (2, 16, 20, 24)]


DECODERS: dict[str, tuple[bytes, Callable[[bytes], object]]] = {
    "echo 4": (icmp.build_echo(4, icmp.Echo(1, 2, b"data")), lambda data: icmp.parse_echo(4, data)),
    "echo 6": (icmp.build_echo(6, icmp.Echo(1, 2, b"data")), lambda data: icmp.parse_echo(6, data)),
    "ipv4 header": (QUOTED, icmp.strip_ipv4),
    "stamp sender": (stamp.build_sender(SENDER), stamp.parse_sender),
    "stamp reflector": (stamp.build_reflector(ANSWER), stamp.parse_reflector),
    "stamp sender, signed": (stamp.build_sender(SENDER, KEY), resigned(stamp.parse_sender)),
    "stamp reflector, signed": (stamp.build_reflector(ANSWER, KEY), resigned(stamp.parse_reflector)),
    "stamp tlvs": (TLVS, lambda data: stamp_tlv.reflect(data, KEY, (1, 2))),
    "stamp reflection": (stamp.build_sender(SENDER) + TLVS, lambda data: reflect(data, **TIMES)),
    "stun request": (stun.build_request(TRANSACTION), lambda data: answer(data, SEEN, len(data))),
    "stun response": (stun.build_success(TRANSACTION, SEEN), stun.parse),
    "stun response, plain": (stun.build_success(TRANSACTION, SEEN, room_bytes=0), stun.parse),
    "stun error": (stun.build_unknown_attributes(TRANSACTION, (3, 4)), stun.parse),
    "netlink": (ROUTE, netlink),
    "http head": (HEAD, parse_head),
}


def mutate(packet: bytes, chance: random.Random) -> bytes:
    """One to three changes at places of chance."""
    data = bytearray(packet)
    for _ in range(1 + int(chance.random() * 3)):
        at, what = int(chance.random() * (len(data) + 1)), chance.random()
        if what < 0.5 and at < len(data):
            data[at] ^= 1 << int(chance.random() * 8)
        elif what < 0.7:
            data[at : at + 1] = bytes((int(chance.random() * 256),))
        elif what < 0.85:
            del data[at : at + 1 + int(chance.random() * 8)]
        else:
            data[at:at] = data[at : at + 1 + int(chance.random() * 16)] or b"\xff"
    return bytes(data)


def main(packets: int, seed: int) -> None:
    """Mutate, read, count."""
    chance = random.Random(seed)  # noqa: S311 - repeatable on purpose
    began = time.monotonic()
    for name, (packet, read) in DECODERS.items():
        values = malformed = 0
        for _ in range(-(-packets // len(DECODERS))):
            data = mutate(packet, chance)
            try:
                seen = read(data)
            except BaseException:
                sys.stdout.write(f"{name}: raised at {data.hex()}\n")
                raise
            if seen is None or isinstance(seen, Malformed):
                malformed += 1
            else:
                values += 1
        sys.stdout.write(f"{name}: {values} values, {malformed} malformed\n")
        sys.stdout.flush()
    total = -(-packets // len(DECODERS)) * len(DECODERS)
    sys.stdout.write(f"{total} packets in {time.monotonic() - began:.0f} s, nothing raised\n")


if __name__ == "__main__":
    main(*(int(word) for word in (sys.argv[1:] + ["10000000", "1"][len(sys.argv) - 1 :])))
