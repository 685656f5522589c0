"""What each server says to one question; silence is the roads' affair."""

import time
from typing import Final

import dns.exception
import dns.flags
import dns.message
import dns.rcode
import dns.rrset

from wanwatch.core.wire import stamp, stun
from wanwatch.core.wire.malformed import Malformed
from wanwatch.demo.office import Scene, line_of
from wanwatch.reflector import reflect

Peer = tuple[str, int]
_ARRIVES_WITH: Final = 64  # hops left; a server of the demo does not ask its socket

ASKED_NAME: Final = "www.example.com"
"""The only name that the demo's resolvers know (RFC 2606)."""
_ITS_ADDRESS: Final = "192.0.2.80"
_TTL_S: Final = 60


def dns_answer(query: bytes, _peer: Peer) -> bytes | None:
    """Resolve `ASKED_NAME`; any other name does not exist."""
    try:
        question = dns.message.from_wire(query)
    except dns.exception.DNSException:
        return None
    answer = dns.message.make_response(question, recursion_available=True)
    if [str(asked.name) for asked in question.question] == [f"{ASKED_NAME}."]:
        answer.answer.append(dns.rrset.from_text(f"{ASKED_NAME}.", _TTL_S, "IN", "A", _ITS_ADDRESS))
    else:
        answer.set_rcode(dns.rcode.NXDOMAIN)
    return answer.to_wire()


def stamp_answer(request: bytes, _peer: Peer) -> bytes | None:
    """Reflect a test packet: it came just now, and the answer leaves at once."""
    now_unix_ns = time.time_ns()
    return reflect(
        request,
        received_unix_ns=now_unix_ns,
        sent_unix_ns=now_unix_ns,
        hop_limit=_ARRIVES_WITH,
        estimate=stamp.UNSYNCHRONIZED,
    )


def stun_answer(request: bytes, peer: Peer, scene: Scene) -> bytes | None:
    """Tell the address that the far end sees: that of the line which the packet took."""
    asked = stun.parse(request)
    line = line_of(scene, peer[0])
    if isinstance(asked, Malformed) or asked.kind != stun.REQUEST or line is None:
        return None
    return stun.build_success(asked.transaction, stun.Mapped(line.seen_as, peer[1]))
