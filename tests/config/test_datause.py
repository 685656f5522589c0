"""Bytes of probing, counted from the packet formats that the standards give."""

from dataclasses import replace

import pytest

from wanwatch.config.datause import bytes_of, monthly_bytes
from wanwatch.core.model import NS_PER_S, Kind, Pin, Question, Role, Series
from wanwatch.core.resolver import Resolver, Transport


def _question(kind: Kind, address: str, ask: str | None = None) -> Question:
    return Question(
        Series("fibre", "near", kind, Role.LINE),
        Pin(),
        address=address,
        port=None,
        every_ns=10**9,
        pulse_ns=10**9,
        timeout_ns=10**9,
        ask=ask,
    )


@pytest.mark.parametrize(
    ("question", "size"),
    [
        (_question(Kind.ECHO, "192.0.2.1"), 2 * (20 + 8 + 56)),  # RFC 791, RFC 792
        (_question(Kind.ECHO, "2001:db8::1"), 2 * (40 + 8 + 56)),  # RFC 8200, RFC 4443
        (_question(Kind.STAMP, "192.0.2.1"), 2 * (20 + 8 + 44)),  # RFC 768, RFC 8762 section 4.2.1
        (replace(_question(Kind.STAMP, "192.0.2.1"), stamp_key=b"key"), 2 * (20 + 8 + 112)),  # section 4.2.2
        # RFC 1035 sections 4.1.1 to 4.1.3, RFC 6891: 12 + 17 + 4 + 11 asked, and one record of 16 more answered
        (_question(Kind.DNS, "192.0.2.53", "www.example.com"), 2 * (20 + 8 + 44) + 16),
        # RFC 9293 with timestamps (RFC 7323): eight octets there, eight back, and what acknowledges those
        (_question(Kind.HELD, "192.0.2.80"), 3 * (20 + 20 + 12) + 2 * 8),
        (_question(Kind.STUN, "192.0.2.78"), (20 + 8 + 52) + (20 + 8 + 32)),  # RFC 8489 sections 5, 14.2 and 14.14
    ],
    ids=["echo", "echo-6", "stamp", "signed-stamp", "dns", "held", "stun"],
)
def test_a_question_and_its_answer_have_the_bytes_of_their_packets(question: Question, size: int) -> None:
    """Headers and all, both directions together."""
    assert bytes_of(question) == size


@pytest.mark.parametrize("transport", [Transport.TLS, Transport.HTTPS])
def test_a_resolver_over_tls_uses_several_thousand_bytes_a_question(transport: Transport) -> None:
    """A handshake brings certificates: once in 10 s, that is more than a gigabyte in 30 days."""
    asked = _question(Kind.DNS, "192.0.2.53", "www.example.com")
    secured = replace(asked, resolver=Resolver("192.0.2.53", 853, transport), every_ns=10 * NS_PER_S)
    assert bytes_of(secured) > 20 * bytes_of(asked)
    assert monthly_bytes([secured]) > 10**9


def test_one_echo_a_second_is_435_megabytes_in_30_days() -> None:
    """168 bytes times 2,592,000 seconds."""
    assert monthly_bytes([_question(Kind.ECHO, "192.0.2.1")]) == 435_456_000


def test_what_the_gateway_is_asked_uses_nothing_of_the_line() -> None:
    """The gateway stands on our side of a line that may be paid for by the byte."""
    asked = _question(Kind.ECHO, "10.20.0.1")
    assert monthly_bytes([replace(asked, series=asked.series._replace(role=Role.GATEWAY))]) == 0
