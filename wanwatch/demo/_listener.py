"""A TCP listener that hears some addresses badly or not at all: handshakes it does not hear get no answer.

Two sockets listen on one port. One of them hears; the other one's queue is full, so the kernel drops, without a word,
whatever reaches it. A small filter sends each newcomer to one of the two by its source address and by chance. A plain
filter on the listening socket would be simpler, but newer kernels ask for CAP_NET_ADMIN there; this way needs no
privilege.

Sources: socket(7) (SO_REUSEPORT, SO_ATTACH_REUSEPORT_CBPF); Linux Documentation/networking/filter.rst (classic BPF, its
loads at SKF_NET_OFF and of SKF_AD_RANDOM); listen(2) (a full queue); RFC 791 section 3.1 (the source address is at
octet 12).
"""

import ctypes
import ipaddress
import socket
import struct
from collections.abc import Mapping, Sequence
from typing import Final

_SO_ATTACH_REUSEPORT_CBPF: Final = 51  # asm-generic/socket.h
_LOAD_WORD: Final = 0x20  # BPF_LD | BPF_W | BPF_ABS
_JUMP_IF_EQUAL: Final = 0x15  # BPF_JMP | BPF_JEQ | BPF_K
_JUMP_IF_NOT_LESS: Final = 0x35  # BPF_JMP | BPF_JGE | BPF_K
_RETURN: Final = 0x06  # BPF_RET | BPF_K
_NETWORK_HEADER: Final = 0xFFF0_0000  # SKF_NET_OFF, as an unsigned word
_SOURCE_AT: Final = 12
_RANDOM: Final = 0xFFFF_F000 + 56  # SKF_AD_OFF + SKF_AD_RANDOM: a random word
_INSTRUCTION: Final = struct.Struct("@HBBI")
_HEARS, _DEAF = 0, 1  # in the order in which the two began to listen

Instruction = tuple[int, int, int, int]


def filter_by_source(misses: Mapping[str, float], *, otherwise: float) -> list[Instruction]:
    """Return the program that sends newcomers to the socket that hears or to the deaf one.

    Args:
        misses: For a source address, the share of newcomers that are not heard, from 0 to 1.
        otherwise: That of all other addresses.
    """
    lines: list[Instruction] = [(_LOAD_WORD, 0, 0, _NETWORK_HEADER + _SOURCE_AT)]
    for source, ratio in misses.items():
        choice = _choose(ratio)
        lines += [(_JUMP_IF_EQUAL, 0, len(choice), int(ipaddress.IPv4Address(source))), *choice]
    return [*lines, *_choose(otherwise)]


def _choose(ratio: float) -> list[Instruction]:
    threshold = round(ratio * (1 << 32))
    if threshold >= 1 << 32:
        return [(_RETURN, 0, 0, _DEAF)]
    return [
        (_LOAD_WORD, 0, 0, _RANDOM),
        (_JUMP_IF_NOT_LESS, 0, 1, threshold),
        (_RETURN, 0, 0, _HEARS),
        (_RETURN, 0, 0, _DEAF),
    ]


class ChoosyListener:
    """Listen on an address and a port, and choose whom to hear.

    Attributes:
        hears: The socket to accept connections on.
        address: Where it listens.
    """

    def __init__(self, address: str, port: int) -> None:
        self.hears = _listen(address, port, backlog=64)
        self.address: tuple[str, int] = self.hears.getsockname()
        self._deaf = _listen(*self.address, backlog=0)
        self.miss({}, otherwise=1.0)
        # One connection that nobody ever accepts fills a queue of length 0.
        self._filler = socket.create_connection(self.address)
        self.miss({}, otherwise=0.0)

    def miss(self, misses: Mapping[str, float], *, otherwise: float) -> None:
        """From now on miss this share of newcomers from these addresses; see `filter_by_source`."""
        self._attach(filter_by_source(misses, otherwise=otherwise))

    def close(self) -> None:
        """Close all three sockets."""
        for sock in (self._filler, self._deaf, self.hears):
            sock.close()

    def _attach(self, lines: Sequence[Instruction]) -> None:
        code = b"".join(_INSTRUCTION.pack(*line) for line in lines)
        room = ctypes.create_string_buffer(code, len(code))
        # struct sock_fprog; the kernel copies the program before setsockopt returns.
        program = struct.pack("@HP", len(lines), ctypes.addressof(room))
        self.hears.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_REUSEPORT_CBPF, program)


def _listen(address: str, port: int, *, backlog: int) -> socket.socket:
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        sock.bind((address, port))
        sock.listen(backlog)
    except BaseException:
        sock.close()
        raise
    return sock
