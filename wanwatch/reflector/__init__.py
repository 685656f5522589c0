"""Reflector: the far end that a site's own measurements can be pointed at.

In:       an address and a port to listen on; STAMP test packets of whoever asks.
Out:      one answer for each test packet, with this machine's own times in it; silence for anything else.
Imports:  wanwatch.core, asyncio, socket, ctypes (the kernel's word on its clock). Never the other rooms.
"""

from wanwatch.reflector.stamp import ReflectorError, StampReflector, reflect, serve_stamp

__all__ = ["ReflectorError", "StampReflector", "reflect", "serve_stamp"]
