"""A TCP listener that can be made deaf to some addresses: their handshakes get no answer at all.

Two sockets listen on one port. One of them hears; the other one's queue is full, so the kernel drops, without a word,
whatever reaches it. A small filter sends each newcomer to one of the two by its source address. A plain filter on the
listening socket would be simpler, but newer kernels ask for CAP_NET_ADMIN there; this way needs no privilege.

Sources: socket(7) (SO_REUSEPORT, SO_ATTACH_REUSEPORT_CBPF); Linux Documentation/networking/filter.rst (classic BPF,
loads at SKF_NET_OFF); listen(2) (a full queue); RFC 791 section 3.1 (the source address is at octet 12).
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
_RETURN: Final = 0x06  # BPF_RET | BPF_K
_NETWORK_HEADER: Final = 0xFFF0_0000  # SKF_NET_OFF, as an unsigned word
_SOURCE_AT: Final = 12
_INSTRUCTION: Final = struct.Struct("@HBBI")
_HEARS, _DEAF = 0, 1  # in the order in which the two began to listen

Instruction = tuple[int, int, int, int]


def filter_by_source(deaf: Mapping[str, bool], *, otherwise: bool) -> list[Instruction]:
    """Return the program that sends newcomers to the socket that hears or to the deaf one.

    Args:
        deaf: For a source address, whether to be deaf to it.
        otherwise: Whether to be deaf to all others.
    """
    lines: list[Instruction] = [(_LOAD_WORD, 0, 0, _NETWORK_HEADER + _SOURCE_AT)]
    for source, is_deaf in deaf.items():
        lines += [(_JUMP_IF_EQUAL, 0, 1, int(ipaddress.IPv4Address(source))), _choose(deaf=is_deaf)]
    return [*lines, _choose(deaf=otherwise)]


def _choose(*, deaf: bool) -> Instruction:
    return (_RETURN, 0, 0, _DEAF if deaf else _HEARS)


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
        self.be_deaf({}, otherwise=True)
        # One connection that nobody ever accepts fills a queue of length 0.
        self._filler = socket.create_connection(self.address)
        self.be_deaf({}, otherwise=False)

    def be_deaf(self, deaf: Mapping[str, bool], *, otherwise: bool) -> None:
        """From now on give newcomers an answer or none; see `filter_by_source`."""
        self._attach(filter_by_source(deaf, otherwise=otherwise))

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
