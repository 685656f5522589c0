"""Sets of time: disjoint spans in order, half open, and the three operations on them.

A *set of spans* below is a sequence of spans that may come in any order and may overlap; what is returned is always
disjoint, in order, without empty spans and without two that touch.
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from wanwatch.core.model import Span


def union(*sets: Iterable[Span]) -> tuple[Span, ...]:
    """Return the time that lies in any of *sets*."""
    merged: list[Span] = []
    for span in sorted((s for one in sets for s in one if s.length_ns > 0), key=lambda s: s.start_unix_ns):
        if merged and span.start_unix_ns <= merged[-1].end_unix_ns:
            last = merged[-1]
            merged[-1] = Span(last.start_unix_ns, max(last.end_unix_ns, span.end_unix_ns))
        else:
            merged.append(span)
    return tuple(merged)


def intersect(first: Iterable[Span], second: Iterable[Span]) -> tuple[Span, ...]:
    """Return the time that lies in both sets."""
    a, b = union(first), union(second)
    common: list[Span] = []
    i = j = 0
    while i < len(a) and j < len(b):
        common.append(Span(max(a[i].start_unix_ns, b[j].start_unix_ns), min(a[i].end_unix_ns, b[j].end_unix_ns)))
        if a[i].end_unix_ns <= b[j].end_unix_ns:
            i += 1
        else:
            j += 1
    return union(common)


def subtract(whole: Iterable[Span], taken: Iterable[Span]) -> tuple[Span, ...]:
    """Return the time that lies in *whole* and not in *taken*."""
    kept = union(whole)
    if not kept:
        return ()
    return intersect(kept, _gaps(union(taken), Span(kept[0].start_unix_ns, kept[-1].end_unix_ns)))


def total_ns(spans: Sequence[Span]) -> int:
    """Return the length of a disjoint set in nanoseconds."""
    return sum(span.length_ns for span in spans)


def _gaps(disjoint: Sequence[Span], frame: Span) -> list[Span]:
    """Return what *frame* holds outside of *disjoint*; parts of negative length stand for nothing."""
    edges = [
        Span(frame.start_unix_ns, frame.start_unix_ns),
        *disjoint,
        Span(max(frame.end_unix_ns, frame.start_unix_ns), frame.end_unix_ns),
    ]
    return [Span(before.end_unix_ns, after.start_unix_ns) for before, after in pairwise(edges)]
