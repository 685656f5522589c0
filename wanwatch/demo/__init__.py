"""Demo: an office that does not exist, on loopback addresses, for a first run without root or network.

In:       a folder to write to; a story, which says at which second what happens to which line.
Out:      the real daemon at work on it, told on the terminal; its report; how truth and conclusion compare.
Imports:  wanwatch.daemon and the rooms below it, asyncio, socket, dnspython, aiohttp. Nothing imports the demo.
"""

from wanwatch.demo.performance import DemoError, play

__all__ = ["DemoError", "play"]
