"""Acting: what follows in the daemon from what the judge concludes."""

import logging
from collections.abc import Callable
from dataclasses import dataclass

from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import (
    CarryingChanged,
    Effect,
    Event,
    EventKind,
    Learnt,
    Observation,
    PinChanged,
    PinsSeen,
    StateChanged,
    Tell,
)
from wanwatch.daemon.desk import EventDesk
from wanwatch.daemon.probing import Probing
from wanwatch.publish import Metrics
from wanwatch.publish.proofs import pin_says
from wanwatch.store import SqliteKeeper
from wanwatch.store.last_run import CARRYING, PROOFS, USUALS

log = logging.getLogger("wanwatch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Acting:
    """Acts upon effects: keeps what the next run needs, sets the pace, shows machines how things stand.

    Attributes:
        keeper: The record.
        metrics: What machines are shown.
        probing: Who asks the network.
        desk: Who keeps events, and says so to `kept`.
        told: Who hears of each effect once it was acted upon; of an event once it is kept.
    """

    keeper: SqliteKeeper
    metrics: Metrics
    probing: Probing
    desk: EventDesk
    told: tuple[Callable[[Effect], None], ...]

    def upon(self, judge: SiteJudge, effects: list[Effect]) -> None:
        """Act upon what *judge* has just concluded."""
        for effect in effects:
            self._one(judge, effect)
            self.probing.heed(effect)
            if not isinstance(effect, Tell):
                self._tell(effect)

    def seen(self, judge: SiteJudge, seen: Observation) -> None:
        """Let *judge* see an observation, and act upon what it concludes."""
        self.upon(judge, judge.feed(seen))
        if isinstance(seen, PinsSeen):
            self.keeper.remember(PROOFS, judge.proofs)

    def kept(self, event: Event) -> None:
        """Tell of an event that is in the record by now."""
        self.metrics.event(event)
        self._tell(Tell(event))

    def _tell(self, effect: Effect) -> None:
        for tell in self.told:
            tell(effect)

    def _one(self, judge: SiteJudge, effect: Effect) -> None:
        match effect:
            case Tell(event):
                if event.kind is EventKind.CLOCK_STEP:
                    self.keeper.clock_stepped()
                self.desk.take(self.probing.tracer.evidence(event))
            case StateChanged():
                self.metrics.state(effect)
            case PinChanged():
                self.metrics.pin(effect)
                if said := pin_says(effect):
                    log.warning(said)
            case CarryingChanged():
                self.metrics.carrying(effect)
                if effect.known:
                    self.keeper.remember(CARRYING, {"uplink": effect.uplink, "shares": list(effect.shares)})
            case Learnt():
                self.keeper.sighting(effect)
                self.keeper.remember(USUALS, judge.usuals)
