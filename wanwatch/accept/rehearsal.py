"""The failover rehearsal: a drill of the line that carries, as one item of an acceptance test."""

from wanwatch.accept.person import Person
from wanwatch.accept.screen import Screen
from wanwatch.config import Config
from wanwatch.core.acceptance import Item, Limit
from wanwatch.core.acceptance.failover import not_rehearsed, rehearsed
from wanwatch.core.drill import DrillError, Patience
from wanwatch.core.ports import Clock
from wanwatch.drill import Conductor, Lookout
from wanwatch.web.ask import NoDaemonError


def rehearse(config: Config, person: Person, screen: Screen, clock: Clock, most: Limit | None) -> Item:
    """Lead through a drill, which keeps its own record, and return its item.

    It is always the carrying line's plug that is pulled, whichever of them is accepted: pulling the other one would
    show nothing.
    """
    lookout = Lookout(config, clock)
    names = [uplink.name for uplink in config.uplinks]
    try:
        carrying = lookout.first().carrying or names[0]
        others = [name for name in names if name != carrying]
        drill = Conductor(config, carrying, Patience(), lookout, screen.of_drill(), clock)
        drill.refuse()
        screen.of_drill().before(config.site.name, carrying, others)
        if not person.agrees():
            return not_rehearsed("It was not agreed to.")
        return rehearsed(drill.conduct(), most)
    except (NoDaemonError, DrillError) as error:
        return not_rehearsed(f"{str(error)[:1].upper()}{str(error)[1:]}.")
