"""Marking: why traffic moved, where that was said beforehand and not seen; found where events are read.

A switch for which no cause was seen is put down to a hand if it lies in planned work: somebody announced that they
would be at it. A drill is the cause of whatever it was held to bring about, be it that the line went down by its plug.

Source: the rules are ours, with no published source.
"""

from collections.abc import Iterable
from dataclasses import replace

from wanwatch.core.model import SWITCHES, Event


def put_down(events: Iterable[Event]) -> list[Event]:
    """Return *events*, which are marked as planned or of a drill already, with the causes that follow from that."""
    return [_put_down(event) for event in events]


def _put_down(event: Event) -> Event:
    cause = event.detail.get("cause")
    if event.kind not in SWITCHES or cause is None:
        return event
    if event.drill:
        return replace(event, detail={**event.detail, "cause": "drill"})
    if event.planned and cause == "unknown":
        return replace(event, detail={**event.detail, "cause": "by-hand"})
    return event
