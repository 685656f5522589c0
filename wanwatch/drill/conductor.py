"""Conductor: leads through the programme step by step, and keeps the record from the yes to the end."""

import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Final

from wanwatch.clock import with_clock_quality
from wanwatch.config import Config
from wanwatch.config.plan import store_path
from wanwatch.core.drill import (
    LONGEST_NS,
    Drill,
    DrillError,
    Patience,
    Said,
    answers,
    as_event,
    begun,
    follow,
    given_up,
    refuse,
)
from wanwatch.core.drill.programme import ENDS
from wanwatch.core.model import Event
from wanwatch.core.ports import Clock
from wanwatch.drill.lookout import Lookout
from wanwatch.drill.screen import Screen
from wanwatch.store import StoreLockedError, announce, tell_again, the_only_drill

_LOOK_EVERY_S: Final = 0.25
_STOPS: Final = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
_LOST: Final = "its command ended without a word"


class Conductor:
    """Conducts drills of one uplink.

    Args:
        config: The configuration that the daemon runs with.
        uplink: Whose failover is rehearsed.
        patience: How long each step may take.
        lookout: What is looked at.
        screen: Where it is told.
        clock: Where time comes from.
    """

    def __init__(
        self, config: Config, uplink: str, patience: Patience, lookout: Lookout, screen: Screen, clock: Clock
    ) -> None:
        self._site, self._path = config.site.name, store_path(config)
        self._uplinks = [uplink.name for uplink in config.uplinks]
        self._uplink, self._patience = uplink, patience
        self._lookout, self._screen, self._clock = lookout, screen, clock
        self._stopped = False

    def refuse(self) -> None:
        """Raise where a drill may not begin.

        Raises:
            DrillError: It may not, and what to do about it.
            NoDaemonError: Nobody watches.
        """
        if self._patience.longest_ns > LONGEST_NS:
            raise DrillError(self._uplink, "it could take more than 4 hours", "give shorter times", misused=True)
        if self._uplink not in self._uplinks or len(self._uplinks) == 1:
            refuse(self._uplink, self._uplinks, self._lookout.now())
        refuse(self._uplink, self._uplinks, self._lookout.first())

    def conduct(self) -> Event:
        """Announce the drill, lead through it, and return its record, which is kept.

        Raises:
            DrillError: Another drill is going on.
            StoreError: The record cannot be written.
        """
        try:
            with the_only_drill(self._path):
                self._end_left_open()
                return self._conduct()
        except StoreLockedError as error:
            mend = f"wait for its end (process {error.pid})"
            raise DrillError(self._uplink, "a drill is going on already", mend) from error

    def _end_left_open(self) -> None:
        """Nobody conducts a drill: one whose record has no end has lost its command."""
        for left in self._lookout.left_open():
            tell_again(self._path, self._site, given_up(left, self._clock.now_unix_ns(), _LOST))

    def _conduct(self) -> Event:
        start_unix_ns = self._clock.now_unix_ns()
        drill = follow(begun(self._uplink, self._patience, self._lookout.now()), self._lookout.now(Said.YES))
        announce(self._path, self._site, [as_event(drill, self._site, start_unix_ns)])
        with self._stoppable():
            drill = self._lead(drill, start_unix_ns)
        found = answers(drill, self._lookout.evidence(drill, start_unix_ns))
        event = as_event(drill, self._site, start_unix_ns, self._clock.now_unix_ns(), found)
        tell_again(self._path, self._site, with_clock_quality(event))
        self._tell(self._screen.result, event, found)
        return event

    def _lead(self, drill: Drill, start_unix_ns: int) -> Drill:
        self._tell(self._screen.entered, drill)
        while drill.step not in ENDS:
            time.sleep(_LOOK_EVERY_S)
            said = Said.QUIT if self._stopped else Said.NOTHING
            view = self._lookout.follow(drill, start_unix_ns, said)
            self._tell(self._screen.seen, drill, view)
            before, drill = drill, follow(drill, view)
            if drill.step is not before.step:
                self._tell(self._screen.entered, drill)
        return drill

    def _tell(self, tell: Callable[..., None], *what: object) -> None:
        """Tell it; a terminal that is gone gives the drill up, as nobody would read what to do."""
        try:
            tell(*what)
        except OSError:
            self._stopped = True

    @contextmanager
    def _stoppable(self) -> Iterator[None]:
        """Let Ctrl-C, a closed terminal or a service manager's word give the drill up, with its record."""

        def stop(_number: int, _frame: FrameType | None) -> None:
            self._stopped = True

        before = {number: signal.signal(number, stop) for number in _STOPS}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
