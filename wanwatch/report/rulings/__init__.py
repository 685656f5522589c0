"""Rulings: each promise of a contract, with the figure that it is judged by; a module for each sort of measure.

In:       a promise with the time that counts for it, and what the record holds of that time.
Out:      a ClauseResult: verdict, figure with bounds, samples, and the events and tests that it rests on.
Imports:  wanwatch.core, wanwatch.report's values, numpy.
"""

from wanwatch.report.rulings.case import Case, Scope, scope
from wanwatch.report.rulings.judging import judge
from wanwatch.report.rulings.probes import WANTED

__all__ = ["WANTED", "Case", "Scope", "judge", "scope"]
