"""Replay: what the judge would have said of a stored record under other settings.

In:       a record's minutes, sightings and watched spans; the questions of a configuration; judge settings.
Out:      for each setting the events that there would have been, and their tally; how verdicts on them are told.
Imports:  wanwatch.core: model, ports, judge and account; the pure parts of the standard library.
"""

from wanwatch.core.replay.comparison import RECORDED, Row, notes, rows
from wanwatch.core.replay.observations import Retold
from wanwatch.core.replay.ruled import Ruled
from wanwatch.core.replay.tally import LineTally, Tally, tally
from wanwatch.core.replay.trial import Outcome, Replayable, Site, replay

__all__ = [
    "RECORDED",
    "LineTally",
    "Outcome",
    "Replayable",
    "Retold",
    "Row",
    "Ruled",
    "Site",
    "Tally",
    "notes",
    "replay",
    "rows",
    "tally",
]
