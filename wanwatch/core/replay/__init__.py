"""Replay: what the judge would have said of a stored record under other settings.

In:       a record's minutes, sightings and watched spans; the questions of a configuration; judge settings.
Out:      for each setting the events that there would have been, and their tally.
Imports:  wanwatch.core: model, ports, judge and account; the pure parts of the standard library.
"""

from wanwatch.core.replay.observations import Retold
from wanwatch.core.replay.tally import LineTally, Tally, tally
from wanwatch.core.replay.trial import Outcome, Replayable, Site, replay

__all__ = ["LineTally", "Outcome", "Replayable", "Retold", "Site", "Tally", "replay", "tally"]
