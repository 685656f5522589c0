"""Wanwatch: proves what an office's internet lines really do.

In:       a TOML file that names the lines, their contracts and whom to ask.
Out:      a record of what was observed, metrics, and the month's report.
Imports:  nothing; each room below has its own card.
"""

__version__ = "0.1.0"
