"""Route: what lies on the way, asked by a short-lived helper process.

In:       questions: trace the hops, find the path MTU, look for PPPoE or DHCP servers; each with its pin or interface.
Out:      one answer for each question, in their order; what could not be measured says why and never raises.
Imports:  wanwatch.core, wanwatch.process, wanwatch.measure.sockets, asyncio, socket. scapy in `packets` alone, which
          only the helper process loads (`python -m wanwatch.measure.route`): it costs half a second and 60 MB, and the
          daemon neither.
"""

from wanwatch.measure.route.helper import ask
from wanwatch.measure.route.protocol import (
    Answer,
    Dhcp,
    Failed,
    FindDhcp,
    FindMtu,
    FindPppoe,
    Hop,
    Method,
    Mtu,
    Offers,
    Pppoe,
    Question,
    Trace,
    Traced,
)

__all__ = [
    "Answer",
    "Dhcp",
    "Failed",
    "FindDhcp",
    "FindMtu",
    "FindPppoe",
    "Hop",
    "Method",
    "Mtu",
    "Offers",
    "Pppoe",
    "Question",
    "Trace",
    "Traced",
    "ask",
]
