"""A resolver: where it is, and how it is asked.

Sources: RFC 1035 section 4.2 (port 53, UDP and TCP); RFC 7858 section 3.1 (TLS, port 853); RFC 8484 (HTTPS); RFC 8310
section 8.1 (the name, or the address, that its certificate must show).
"""

from dataclasses import dataclass
from enum import StrEnum


class Transport(StrEnum):
    """What carries questions to a resolver. UDP falls back to TCP where an answer is cut short."""

    UDP = "udp"
    TCP = "tcp"
    TLS = "tls"
    HTTPS = "https"


@dataclass(frozen=True, slots=True)
class Resolver:
    """One resolver.

    Attributes:
        address: Its IP address.
        port: UDP or TCP port.
        transport: How it is asked.
        name: Over TLS and HTTPS, the name that its certificate must show; None: the address itself.
        path: Over HTTPS, the path to post to.
    """

    address: str
    port: int = 53
    transport: Transport = Transport.UDP
    name: str | None = None
    path: str = ""
