"""Account: arithmetic over what was kept.

In:       events, spans and figures of a period; contracts' limits.
Out:      availability with its bounds, verdicts of clauses, the calendar's months in true seconds; variation of delay,
          runs of loss, a voice score, round trips a minute.
Imports:  wanwatch.core.model and the pure parts of the standard library. Called by readers only, but for the
          percentile, which the judge shares.
"""
