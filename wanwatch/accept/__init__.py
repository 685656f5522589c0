"""Accept: leads through the acceptance test of one line, and keeps it step by step.

In:       a valid configuration, an uplink's name, what the installer hands over, somebody at a terminal or nobody.
Out:      one measurement in the record, told again after each step; words on a terminal meanwhile.
Imports:  config, core, clock, measure, store, publish, drill. It measures by itself, beside a daemon or without one.
"""

from wanwatch.accept.conductor import Conductor, Wishes
from wanwatch.accept.errors import AcceptError, PinError, UnderWayError
from wanwatch.accept.person import Person
from wanwatch.accept.screen import Screen

__all__ = ["AcceptError", "Conductor", "Person", "PinError", "Screen", "UnderWayError", "Wishes"]
