"""Judge: what the samples mean.

In:       samples, afterwords, routes, link facts and speed tests, as they became known; the time as an argument.
Out:      effects: events to keep and tell, changes of state, the wish to probe faster or slower, what is usual.
Imports:  wanwatch.core.model, percentile and calendar of wanwatch.core.account, the pure parts of the standard library.
"""

from wanwatch.core.judge.site import Memory, SiteJudge

__all__ = ["Memory", "SiteJudge"]
