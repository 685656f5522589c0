"""DNS messages as we ask and read them, against RFC 1035 and RFC 8484. The codec itself is dnspython's."""

import base64

import dns.message
import dns.name
import pytest

from wanwatch.core.model import Cause, Outcome
from wanwatch.measure import names
from wanwatch.measure.codecs import DnsCodec
from wanwatch.measure.flights import Reading

QUERY = bytes.fromhex("00000100000100000000000003777777076578616d706c6503636f6d0000010001")
# RFC 8484 section 4.2.2: NOERROR, one AAAA record.
RESPONSE = bytes.fromhex(
    "00008180000100010000000003777777076578616d706c6503636f6d00001c0001c00c001c000100000e7d001020010db8abcd0012000100"
    "0200030004"
)


def asked(kind: str) -> dns.message.QueryMessage:
    """A query with ID 0 and without EDNS."""
    return dns.message.make_query("www.example.com", kind, id=0, use_edns=False)


def test_a_query_has_the_layout_of_rfc_1035() -> None:
    """RFC 1035 section 4.1; the same octets in base64url are the example of RFC 8484 section 4.1.1."""
    assert asked("A").to_wire() == QUERY
    encoded = base64.urlsafe_b64encode(QUERY).rstrip(b"=")
    assert encoded == b"AAABAAABAAAAAAAAA3d3dwdleGFtcGxlA2NvbQAAAQAB"


def test_our_query_asks_with_a_random_id_and_recursion() -> None:
    """RFC 1035 section 4.1.1: RD is set; RFC 5452 section 9.1: IDs cannot be guessed."""
    wires = [names.question("www.example.com").to_wire() for _ in range(20)]
    assert all(wire[2:4].hex() == "0100" for wire in wires)
    assert len({wire[:2] for wire in wires}) > 10


def test_the_sample_response_gives_its_address() -> None:
    """RFC 8484 section 4.2.2: 2001:db8:abcd:12:1:2:3:4 for 3709 seconds, which only a cache heeds."""
    query = asked("AAAA")
    reply = dns.message.from_wire(RESPONSE)
    assert reply.answer[0].ttl == 3709
    assert names.addresses(query, reply) == ["2001:db8:abcd:12:1:2:3:4"]
    assert DnsCodec(query).decode(RESPONSE, 0) == Reading(0, facts={"rcode": "NOERROR"})


@pytest.mark.parametrize(
    ("flags", "rcode"),
    [("8183", "NXDOMAIN"), ("8182", "SERVFAIL"), ("8185", "REFUSED"), ("8180", "NOERROR"), ("8400", "NOERROR")],
)
def test_an_answer_without_addresses_is_a_refusal_with_its_code(flags: str, rcode: str) -> None:
    """RFC 1035 section 4.1.1: response codes; 8400 is an authoritative answer without recursion."""
    reply = QUERY[:2] + bytes.fromhex(flags) + QUERY[4:]
    expected = Reading(0, Outcome.REFUSED, Cause.RCODE, {"rcode": rcode})
    assert DnsCodec(asked("A")).decode(reply, 0) == expected


def test_a_truncated_answer_is_to_be_fetched_over_tcp() -> None:
    """RFC 1035 section 4.2.1: TC tells that the message was cut."""
    reply = QUERY[:2] + bytes.fromhex("8380") + QUERY[4:]
    assert DnsCodec(asked("A")).decode(reply, 0) == Reading(0, None)


def test_an_answer_to_another_question_is_ignored() -> None:
    """RFC 5452 section 9.1 (from memory): ID and question must both be ours."""
    assert DnsCodec(asked("A")).decode(b"\0\1" + QUERY[2:], 0) is None
    other = dns.message.make_query("www.example.net", "A", id=0, use_edns=False)
    assert DnsCodec(other).decode(QUERY[:2] + bytes.fromhex("8183") + QUERY[4:], 0) is None


def test_a_name_that_points_at_itself_is_malformed_and_no_loop() -> None:
    """RFC 1035 section 4.1.4: a compression pointer leads to a prior place."""
    reply = bytes.fromhex("0000818000010000000000000c00c00010001".replace("0c00c", "c00c"))
    assert DnsCodec(asked("A")).decode(reply, 0) == Reading(0, Outcome.MALFORMED)
