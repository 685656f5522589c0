"""What keeps a drill from beginning: it must cut off nobody who is cut off already, and show what it is meant to."""

from collections.abc import Sequence

from wanwatch.core.drill.errors import DrillError
from wanwatch.core.drill.programme import View, in_order
from wanwatch.core.model import State


def refuse(uplink: str, uplinks: Sequence[str], view: View) -> None:
    """Raise unless a drill of *uplink* may begin.

    Args:
        uplink: Whose failover is to be rehearsed.
        uplinks: The site's uplinks.
        view: How things stand.

    Raises:
        DrillError: It may not, and what to do about it.
    """
    if uplink not in uplinks:
        raise DrillError(uplink, "there is no such uplink", f"take one of: {', '.join(uplinks)}", misused=True)
    if len(uplinks) == 1:
        mend = "add the second line to the configuration first"
        raise DrillError(uplink, "it is the only line, so traffic could go nowhere", mend, misused=True)
    for name in uplinks:
        _refuse_bad_line(uplink, name, view.states.get(name, State.UNOBSERVED))
    if not view.known:
        mend = "see: wanwatch check --live; with [carrying] stun, or interface pins, it can be told"
        raise DrillError(uplink, "nobody can tell which line carries traffic, so a failover would not be seen", mend)
    if view.carrying != uplink:
        reason = f"traffic is on {view.carrying or 'no line'}, so pulling this one moves nothing"
        raise DrillError(uplink, reason, "drill the line that carries, or let the gateway bring traffic back first")
    assert in_order(uplink, view)  # noqa: S101 - all that it asks for was looked at above


def _refuse_bad_line(uplink: str, name: str, state: State) -> None:
    if state not in {State.UP, State.IMPAIRED}:
        whose = "it" if name == uplink else name
        mend = "wait until every line is up, see: wanwatch status"
        raise DrillError(uplink, f"{whose} is {state.value}, and a drill would cut people off", mend)
