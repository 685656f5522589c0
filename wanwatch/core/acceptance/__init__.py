"""Acceptance: whether a line was handed over to specification, item by item, each with its limit and its source.

In:       what the shell measured of each item, what the installer handed over, the limits of the contract.
Out:      items with a verdict, the progress of a test that can be left and taken up again, the comparison of two tests.
Imports:  wanwatch.core. Never a clock, a socket, a terminal or the record.
"""

from wanwatch.core.acceptance.comparison import Compared, compare
from wanwatch.core.acceptance.handover import Handover, Photograph
from wanwatch.core.acceptance.items import About, Item, Verdict, overall
from wanwatch.core.acceptance.limits import Limit, Terms
from wanwatch.core.acceptance.programme import PROGRAMME, Break, Progress, Step, resumed

__all__ = [
    "PROGRAMME",
    "About",
    "Break",
    "Compared",
    "Handover",
    "Item",
    "Limit",
    "Photograph",
    "Progress",
    "Step",
    "Terms",
    "Verdict",
    "compare",
    "overall",
    "resumed",
]
