"""Drill: leads a person through a rehearsed failover, beside the running daemon, and keeps its record.

In:       a valid configuration, an uplink's name, a typed yes, what the daemon's /health and the record say meanwhile.
Out:      words on a terminal; one event in the record, from the moment of the yes to the end.
Imports:  config, core, store, publish, web. Never the probes: what is measured, the daemon measures.
"""

from wanwatch.drill.conductor import Conductor
from wanwatch.drill.lookout import Lookout
from wanwatch.drill.screen import Screen

__all__ = ["Conductor", "Lookout", "Screen"]
