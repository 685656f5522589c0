"""The failover rehearsal: a drill's record, as one item."""

from collections.abc import Mapping
from typing import Any, Final

from wanwatch.core.acceptance.items import About, Item, Verdict
from wanwatch.core.acceptance.limits import Limit
from wanwatch.core.drill import DONE
from wanwatch.core.drill import About as Asked
from wanwatch.core.drill import Verdict as Said
from wanwatch.core.lengths import duration
from wanwatch.core.model import Event

_LIMIT: Final = "traffic moves to the second line, and back"


def not_rehearsed(why: str) -> Item:
    """Return the item of a failover that nobody rehearsed."""
    return Item(
        about=About.FAILOVER, verdict=Verdict.NOT_DECIDED, value="not rehearsed", limit=_LIMIT, source="stated default",
        reason=why,
    )  # fmt: skip


def rehearsed(drill: Event, most: Limit | None) -> Item:
    """Return the item of a drill, held to the longest interruption allowed if there is such a limit."""
    if drill.detail.get("outcome") != DONE:
        return not_rehearsed(f"The drill was given up: {drill.detail.get('why', 'nobody knows why')}.")
    found: Any = drill.detail["answers"]
    answers: dict[str, Mapping[str, Any]] = {answer["about"]: answer for answer in found}
    moved, back, cut = (answers[about] for about in (Asked.MOVED, Asked.BACK, Asked.CUT_OFF))
    cut_s = cut["values"].get("interruption_s")
    verdict, reason = _verdict({moved["answer"], back["answer"]}, cut_s, most)
    limit = _LIMIT + (f" within {duration(float(most.figure))}" if most else "")
    value = f"moved {moved['says']}; cut off {cut['says']}; back {back['says']}"
    return Item(
        about=About.FAILOVER, verdict=verdict, value=value,
        limit=limit, source=most.source if most else "stated default", reason=reason,
        figure=cut_s, values={"drill": drill.id, "interruption_s": cut_s},
    )  # fmt: skip


def _verdict(said: set[str], cut_s: float | None, most: Limit | None) -> tuple[Verdict, str]:
    if Said.NO in said:
        return Verdict.FAIL, "Traffic did not move as it should."
    if Said.NOT_MEASURED in said:
        return Verdict.NOT_DECIDED, "Where traffic went was not seen."
    if most is None:
        return Verdict.PASS, ""
    if cut_s is None:
        return Verdict.NOT_DECIDED, "How long people were cut off was not observed."
    return (Verdict.PASS, "") if cut_s <= most.figure else (Verdict.FAIL, "People were cut off for longer than that.")
