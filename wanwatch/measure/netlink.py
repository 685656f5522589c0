"""Questions to the kernel's routing, and its notices of change."""

import socket
from collections.abc import Iterator
from typing import Final

from wanwatch.core.wire import Malformed, rtnetlink

_ANSWER_BYTES: Final = 1 << 17
_MOST_PARTS: Final = 1000
_TIMEOUT_S: Final = 0.2
# RTMGRP_LINK, _IPV4_IFADDR, _IPV4_ROUTE, _IPV4_RULE, _IPV6_IFADDR, _IPV6_ROUTE of linux/rtnetlink.h; the groups of
# IPv6 rules lie beyond this mask, and the look-up once a second sees those too.
_CHANGES: Final = 0x1 | 0x10 | 0x40 | 0x80 | 0x100 | 0x400


class Netlink:
    """A socket for questions; the kernel answers within the call, so nothing here waits."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, socket.NETLINK_ROUTE)
        self._socket.settimeout(_TIMEOUT_S)

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()

    def route(self, toward: str, *, mark: int = 0, tos: int = 0) -> rtnetlink.Route | None:
        """Return the route that a packet *toward* an address would take, or None if there is none."""
        for answer in self._ask(rtnetlink.build_get_route(toward, mark=mark, tos=tos), whole=False):
            if isinstance(answer, rtnetlink.Route):
                return answer
        return None

    def links(self) -> list[rtnetlink.Link]:
        """Return all interfaces."""
        answers = self._ask(rtnetlink.build_dump_links(), whole=True)
        return [answer for answer in answers if isinstance(answer, rtnetlink.Link)]

    def addresses(self) -> list[rtnetlink.Address]:
        """Return all addresses that can be used."""
        answers = self._ask(rtnetlink.build_dump_addresses(), whole=True)
        return [answer for answer in answers if isinstance(answer, rtnetlink.Address)]

    def _ask(self, request: bytes, *, whole: bool) -> Iterator[rtnetlink.Answer]:
        """Yield the answers: to the end of a dump if *whole*, else of one message."""
        self._socket.send(request)
        for _ in range(_MOST_PARTS):
            for kind, body in rtnetlink.messages(self._socket.recv(_ANSWER_BYTES)):
                if kind == rtnetlink.DONE:
                    return
                answer = rtnetlink.parse(kind, body)
                if answer is not None and not isinstance(answer, Malformed):
                    yield answer
                if isinstance(answer, rtnetlink.NoRoute):
                    return  # the kernel refuses the question: nothing follows
            if not whole:
                return


def open_changes() -> socket.socket:
    """Return a non-blocking socket that becomes readable when links, addresses, routes or rules change."""
    made = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW | socket.SOCK_NONBLOCK, socket.NETLINK_ROUTE)
    try:
        made.bind((0, _CHANGES))
    except BaseException:
        made.close()
        raise
    return made


def drain(changes: socket.socket) -> list[int]:
    """Empty *changes*; return who changed default routes (`rtm_protocol`), in order. The rest is looked up anew."""
    changed_by: list[int] = []
    for _ in range(_MOST_PARTS):
        try:
            data = changes.recv(_ANSWER_BYTES)
        except BlockingIOError:
            break
        except OSError:
            continue  # ENOBUFS: more changed than could be told
        said = (rtnetlink.default_changed_by(kind, body) for kind, body in rtnetlink.messages(data))
        changed_by += [protocol for protocol in said if protocol is not None]
    return changed_by
