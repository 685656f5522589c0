"""What a dossier cannot show, each with what would mend it the next time: a reader must not have to guess."""

from collections.abc import Iterator

from markupsafe import Markup

from wanwatch.core.model import UNPINNED
from wanwatch.core.traced import routes_of
from wanwatch.report.dossier.story import RUNGS, ladder, say
from wanwatch.report.dossier.values import Dossier
from wanwatch.report.story import name


def missing(dossier: Dossier) -> list[Markup]:
    """Return what is lacking, in sentences."""
    return [*_circuit(dossier), *_ladder(dossier), *_routes(dossier), *_probes(dossier), *_clock(dossier)]


def _circuit(dossier: Dossier) -> Iterator[Markup]:
    contract = dossier.contract
    if contract is None or not contract.reference:
        yield say(
            "The circuit's reference: it is not on file; write it into the configuration, as {} of this line's"
            " contract.",
            name("reference"),
        )


def _ladder(dossier: Dossier) -> Iterator[Markup]:
    rungs = ladder(dossier)
    if not rungs:
        yield Markup("What answered on the way while the line was down: no step was stored with this outage.")
    unknown = [RUNGS[str(rung["rung"])] for rung in rungs if rung.get("said") not in {"answered", "silent"}]
    if unknown and dossier.outage.domain is None:
        words = ", ".join(word[0].lower() + word[1:] for word in unknown)
        yield say("The place where it broke: nothing is known of {}; configure what to ask on this line.", words)


def _routes(dossier: Dossier) -> Iterator[Markup]:
    before, during = routes_of(dossier.outage)
    if before is None or before.failed:
        yield Markup("The route as it was before: the line was not traced while it was up.")
    if during is None:
        yield Markup(
            "The route during the outage: no trace was finished, because the program did not run, the outage was over"
            " too soon, or another one had been traced within the half minute before."
        )
    elif during.failed:
        yield say("The route during the outage: it could not be traced ({}).", during.failed)


def _probes(dossier: Dossier) -> Iterator[Markup]:
    if dossier.raw_gone:
        yield Markup("Some single probes: their keeping time is over.")
    if not any(lane.name not in {dossier.outage.uplink, UNPINNED} for lane in dossier.lanes):
        yield Markup("A second line to compare with: no other line of this site was probed at that time.")
    if not dossier.watched:
        yield Markup("A watch without gaps: the program did not run all the time from the first bound to the last.")


def _clock(dossier: Dossier) -> Iterator[Markup]:
    clock = dossier.outage.detail.get("clock")
    if not isinstance(clock, dict):
        yield Markup("How far the clock was off when the outage was told: it was not recorded.")
    elif not clock.get("synchronised"):
        yield Markup("A clock that is kept right: the instants may be off, all alike; the lengths of time are not.")
