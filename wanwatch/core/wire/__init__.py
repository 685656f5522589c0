"""Wire: packets to values and back.

In:       bytes from a socket, or the values of a packet to be sent.
Out:      bytes, or a frozen value, or `Malformed`; never an exception for a bad packet.
Imports:  wanwatch.core.model (causes of refusal) and the pure parts of the standard library.

One module a format: `icmp`, `stamp` (with `stamp_tlv` behind it and `stamp_loss` on its numbers), `stun`, `rtnetlink`.
`signature` makes header fields only.
"""

from wanwatch.core.wire.malformed import Malformed

__all__ = ["Malformed"]
