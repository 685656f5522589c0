"""Ruled: what a promise of a contract would have come to, under one setting."""

from typing import NamedTuple

from wanwatch.core.account.clauses import Promise, Verdict


class Ruled(NamedTuple):
    """One promise of one line, and its verdict for the time that was judged again."""

    uplink: str
    promise: Promise
    verdict: Verdict
