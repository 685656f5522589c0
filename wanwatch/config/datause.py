"""How much data probing uses: the questions of the plan, times the bytes of each question and its answer.

Sizes are those of IP packets, headers and all, both directions together. The same sizes are counted when the questions
are asked, so that what `check` tells beforehand and what a data budget counts agree. What is not known exactly is taken
at its most: a page is as long as a server may send before it hears that nobody reads on.
"""

from collections.abc import Iterable
from typing import Final

from wanwatch.config.places import version
from wanwatch.core.model import NS_PER_S, Kind, Question, Role
from wanwatch.core.resolver import Resolver, Transport

MONTH_S: Final = 30 * 24 * 3600

_IP_BYTES: Final = {4: 20, 6: 40}
"""Headers without options: RFC 791 section 3.1, RFC 8200 section 3."""
_UDP_BYTES: Final = 8
_ICMP_BYTES: Final = 8
_STAMP_BYTES: Final = {False: 44, True: 112}
"""RFC 8762 sections 4.2.1 and 4.2.2: without and with a key."""
_DNS_FIXED_BYTES: Final = 12 + 2 + 4 + 11
"""RFC 1035 section 4.1: header, the name's two ends, type and class; RFC 6891 section 6.1.2: an empty OPT record."""
_DNS_RECORD_BYTES: Final = 16
"""One A record whose name points back into the question, RFC 1035 section 4.1.3."""
_STUN_BYTES: Final = 52 + 32
"""Our padded request, and an answer with one IPv4 address (RFC 8489 sections 5 and 14.2)."""
_TCP_PACKETS: Final = 7
"""Three to open and four to close, RFC 9293 sections 3.5 and 3.6."""
_TCP_BYTES: Final = 2 * 40 + 5 * 32
"""SYNs with Linux's usual options, the others with timestamps (from memory)."""
_HELD_BYTES: Final = 3 * 32 + 2 * 8
"""A line of seven digits with its end, its echo, and the acknowledgement of that."""
_TLS_BYTES: Final = 5_000
"""A handshake and the session tickets after it: 2,400 with one small certificate, measured; twice that for a chain."""
_HTTP_2_BYTES: Final = 400
"""Preface, settings and headers of one request and its answer (RFC 9113), measured."""
_HTTP_BYTES: Final = 600
"""A request of ours and the head of its answer, with two packets' headers (from memory)."""
_PAGE_PACKETS: Final = 10
"""RFC 6928 section 2: what a server may send before its first acknowledgement comes back."""
_PAGE_BYTES: Final = 1460
_NO_CONTENT: Final = 204
"""RFC 9110 section 15.3.5: an answer without a body."""
_HOP_BYTES: Final = 2 * 60 + 100
"""Of a trace, each distance: asked twice at most, and answered once with the beginning of the packet (RFC 792)."""
ECHO_DATA_BYTES: Final = 56
"""What an echo carries; the size that everybody's echoes have had by custom, no published source."""


def bytes_of(question: Question) -> int:
    """Return the bytes that one asking and answering of *question* moves."""
    packets, above_ip = _shape(question)
    return packets * _IP_BYTES[version(question.address) or 4] + above_ip


def monthly_bytes(questions: Iterable[Question]) -> int:
    """Return the bytes that 30 days of *questions* move over the line, at their usual interval.

    Quick probing comes on top. What the gateway is asked never leaves the site, and does not count.
    """
    return bytes_within(questions, MONTH_S * NS_PER_S)


def bytes_within(questions: Iterable[Question], length_ns: int, *, quick: bool = False) -> int:
    """Return the bytes that *questions* move over the line in *length_ns*, at their usual interval or as *quick*."""
    far = (question for question in questions if leaves_the_site(question))
    each = ((bytes_of(one), one.pulse_ns if quick else one.every_ns) for one in far)
    return sum(size * length_ns // interval_ns for size, interval_ns in each)


def leaves_the_site(question: Question) -> bool:
    """Return whether *question* goes over the line: what the gateway is asked does not."""
    return question.series.role is not Role.GATEWAY


def trace_bytes(most: int) -> int:
    """Return the most bytes that a trace of *most* distances moves."""
    return most * _HOP_BYTES


def look_up_bytes(name: str, resolver: Resolver, families: int) -> int:
    """Return the bytes of asking *resolver* for a name's address, of so many versions of IP."""
    packets, above_ip = _asked(name, resolver.transport)
    return families * (packets * _IP_BYTES[version(resolver.address) or 4] + above_ip)


def _asked(name: str, transport: Transport) -> tuple[int, int]:
    """Return the number of packets of a question for a name, and their bytes above IP."""
    dns = _DNS_FIXED_BYTES + len(name)
    if transport is Transport.UDP:
        return 2, 2 * (_UDP_BYTES + dns) + _DNS_RECORD_BYTES
    secured = _TLS_BYTES * (transport is not Transport.TCP)
    framed = _HTTP_2_BYTES * (transport is Transport.HTTPS)
    return _TCP_PACKETS + 2, _TCP_BYTES + secured + framed + 2 * (32 + 2 + dns) + _DNS_RECORD_BYTES


def _shape(question: Question) -> tuple[int, int]:
    """Return the number of packets, and their bytes above IP."""
    if question.series.kind is Kind.DNS or question.resolver is not None:
        return _asked(question.ask or "", question.resolver.transport if question.resolver else Transport.UDP)
    return {
        Kind.ECHO: (2, 2 * (_ICMP_BYTES + ECHO_DATA_BYTES)),
        Kind.STAMP: (2, 2 * (_UDP_BYTES + _STAMP_BYTES[question.stamp_key is not None])),
        Kind.STUN: (2, 2 * _UDP_BYTES + _STUN_BYTES),
        Kind.TCP: (_TCP_PACKETS, _TCP_BYTES),
        Kind.HTTP: _fetch(question),
        Kind.HELD: (3, _HELD_BYTES),
    }[question.series.kind]


def sign_bytes(url: str) -> int:
    """Return the bytes of a sign of life: of fetching *url*, whose answer is not read."""
    packets, above_ip = _fetched(url, 0)
    return packets * _IP_BYTES[version(url) or 4] + above_ip


def _fetch(question: Question) -> tuple[int, int]:
    # The page that tells an address has one line, and another one has nothing to tell.
    bare = question.series.role is Role.EGRESS or question.expect == _NO_CONTENT
    return _fetched(question.address, 0 if bare else _PAGE_PACKETS)


def _fetched(url: str, page: int) -> tuple[int, int]:
    secured = _TLS_BYTES * url.startswith("https:")
    return _TCP_PACKETS + page, _TCP_BYTES + secured + _HTTP_BYTES + page * _PAGE_BYTES
