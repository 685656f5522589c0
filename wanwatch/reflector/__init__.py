"""Reflector: the far end that a site's own measurements can be pointed at.

In:       an address and ports to listen on; STAMP test packets and STUN requests of whoever asks; connections of
          whoever wants an echo; HTTP requests of those who show the token.
Out:      one answer for each question, never longer than it over UDP or as an echo; bytes and nothing but bytes for
          speed tests; silence, or a bare 401, for anything else.
Imports:  wanwatch.core, wanwatch.asker, wanwatch.clock, wanwatch.tls, asyncio, socket, ssl. Never the other rooms.
"""

from wanwatch.reflector._errors import ReflectorError
from wanwatch.reflector.echo import EchoLimits, EchoServer
from wanwatch.reflector.serve import Serving, Settings, read_certificate, read_secret, serve
from wanwatch.reflector.speed import Limits, SpeedServer
from wanwatch.reflector.stamp import StampReflector, reflect
from wanwatch.reflector.stun import StunServer

__all__ = [
    "EchoLimits",
    "EchoServer",
    "Limits",
    "ReflectorError",
    "Serving",
    "Settings",
    "SpeedServer",
    "StampReflector",
    "StunServer",
    "read_certificate",
    "read_secret",
    "reflect",
    "serve",
]
