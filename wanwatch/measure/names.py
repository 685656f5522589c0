"""Names: DNS messages, what we ask and what an answer says.

Sources: RFC 1035 section 4.1 (messages); RFC 5452 section 9.1 (what an answer must match).
"""

from typing import Final

import dns.exception
import dns.flags
import dns.message
import dns.name
import dns.rcode
import dns.rdatatype

from wanwatch.core.model import Cause, Outcome
from wanwatch.measure.flights import Reading

PORT: Final = 53


def question(name: str, kind: str = "A") -> dns.message.QueryMessage:
    """Return a query with a random ID, recursion desired, and room for 1232 octets."""
    return dns.message.make_query(name, kind, use_edns=0, payload=1232)


def reading(query: dns.message.Message, reply: dns.message.Message) -> Reading | None:
    """Return what *reply* says: answered only with an address for the name; None if it answers another question."""
    if not query.is_response(reply):
        return None
    if reply.flags & dns.flags.TC:
        return Reading(0, None)
    rcode = dns.rcode.to_text(reply.rcode())
    if rcode == "NOERROR" and addresses(query, reply):
        return Reading(0, facts={"rcode": rcode})
    return Reading(0, Outcome.REFUSED, Cause.RCODE, {"rcode": rcode})


def addresses(query: dns.message.Message, reply: dns.message.Message) -> list[str]:
    """Return the addresses that *reply* gives for the name asked for, following its aliases."""
    asked = query.question[0]
    name: dns.name.Name | None = asked.name
    by_name = {(found.name, found.rdtype): found for found in reply.answer}
    for _ in range(len(by_name) + 1):  # bounded: aliases may run in a ring
        found = by_name.get((name, asked.rdtype)) if name is not None else None
        if found is not None:
            return [record.to_text() for record in found]
        alias = by_name.get((name, dns.rdatatype.CNAME)) if name is not None else None
        name = alias[0].target if alias is not None else None
    return []


def parsed(wire: bytes) -> dns.message.Message | None:
    """Return the message that *wire* holds, None if it is none."""
    try:
        return dns.message.from_wire(wire, ignore_trailing=True)
    except (dns.exception.DNSException, ValueError):
        return None
