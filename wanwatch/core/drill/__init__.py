"""Drill: a failover that is rehearsed on purpose, from its announcement to what it showed.

In:       what the daemon and the record say at an instant; how long each step may take; the events of the drill.
Out:      the step that the drill is at, what each question was answered with, and which drills are due.
Imports:  wanwatch.core. Never a clock, a terminal or the record.
"""

from wanwatch.core.drill.answers import About, Answer, Evidence, Speed, Tally, Verdict, answers, settled
from wanwatch.core.drill.due import Rehearsal, due_says, rehearsals
from wanwatch.core.drill.errors import DrillError
from wanwatch.core.drill.programme import Drill, Patience, Said, Step, View, Word, begun, follow, why_given_up
from wanwatch.core.drill.records import DONE, LONGEST_NS, as_event, given_up
from wanwatch.core.drill.refusals import refuse
from wanwatch.core.drill.samples import CONNECTIONS, NAMES, speed, tally, wanted

__all__ = [
    "CONNECTIONS",
    "DONE",
    "LONGEST_NS",
    "NAMES",
    "About",
    "Answer",
    "Drill",
    "DrillError",
    "Evidence",
    "Patience",
    "Rehearsal",
    "Said",
    "Speed",
    "Step",
    "Tally",
    "Verdict",
    "View",
    "Word",
    "answers",
    "as_event",
    "begun",
    "due_says",
    "follow",
    "given_up",
    "refuse",
    "rehearsals",
    "settled",
    "speed",
    "tally",
    "wanted",
    "why_given_up",
]
