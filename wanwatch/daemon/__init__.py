"""Daemon: wires the rooms and owns start, reload and stop.

Data flows one way: measure tells observations; the store keeps samples; the judge turns observations into effects;
an event is kept first and told afterwards, in the order in which it was concluded.

In:       a valid configuration, signals, the process environment.
Out:      a site that is watched: a record that is written, metrics and health that are served, effects for onlookers.
Imports:  config, core, measure, store, publish, tls, web, asyncio, aiohttp, apscheduler. For commands and the demo.
"""

from wanwatch.daemon.site import Daemon

__all__ = ["Daemon"]
