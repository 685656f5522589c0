"""Account: arithmetic over what was kept.

In:       events, spans and figures of a period; contracts' limits.
Out:      availability with its bounds, verdicts of clauses, the calendar's months in true seconds.
Imports:  wanwatch.core.model and the pure parts of the standard library. Called by readers only.
"""
