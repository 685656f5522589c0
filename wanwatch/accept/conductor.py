"""Conductor: leads through the programme, and keeps each step once it is done, so that it can be taken up again."""

import asyncio
from dataclasses import dataclass, replace
from pathlib import Path

from wanwatch.accept.errors import PinError, UnderWayError
from wanwatch.accept.person import Person
from wanwatch.accept.rehearsal import rehearse
from wanwatch.accept.screen import Screen
from wanwatch.accept.steps import Amount, Steps
from wanwatch.accept.terms import terms_of
from wanwatch.clock import clock_quality
from wanwatch.config import Config
from wanwatch.config.handover import load_handover
from wanwatch.config.named import uplink_of
from wanwatch.config.plan import store_path
from wanwatch.core.acceptance import Handover, Item, Progress, Step, Verdict, resumed
from wanwatch.core.acceptance.failover import not_rehearsed
from wanwatch.core.acceptance.handover import judge
from wanwatch.core.acceptance.programme import progress_of
from wanwatch.core.model import Measurement, MeasurementKind
from wanwatch.core.ports import Clock
from wanwatch.store import NoRecordError, SqliteRecord, StoreLockedError, keep_measurement, the_only_acceptance


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What is asked for.

    Attributes:
        amount: How much is measured.
        handover: The file of what was handed over; None where there is none.
        fresh: Begin anew, whatever was left unfinished.
        rehearse: Whether to rehearse the failover; None: ask.
    """

    amount: Amount
    handover: Path | None = None
    fresh: bool = False
    rehearse: bool | None = None


class Conductor:
    """Conducts the acceptance test of one uplink.

    Args:
        config: The configuration.
        uplink: The uplink's name.
        wishes: What is asked for.
        person: Who is at the terminal.
        screen: Where progress is told.
        clock: Where time comes from.

    Raises:
        NoUplinkError: There is no such uplink.
    """

    def __init__(
        self, config: Config, uplink: str, wishes: Wishes, person: Person, screen: Screen, clock: Clock
    ) -> None:
        self._config, self._path = config, store_path(config)
        self._uplink = uplink_of(config, uplink)
        self._wishes, self._person, self._screen, self._clock = wishes, person, screen, clock
        self._steps = Steps(config, self._uplink, clock, wishes.amount, screen.within)

    def conduct(self) -> Progress:
        """Lead through all steps that are not done yet, and return the finished test, which is kept.

        Raises:
            UnderWayError: Another acceptance test of this site is under way.
            HandoverError: What was handed over cannot be used.
            PinError: The pin leaves by another line.
            BusyError: Somebody else's speed test does not end.
            StoreError: The record cannot be read or written.
        """
        given = load_handover(self._wishes.handover) if self._wishes.handover else None
        try:
            with the_only_acceptance(self._path):
                return self._conduct(given)
        except StoreLockedError as error:
            raise UnderWayError(error.pid) from error

    def _conduct(self, given: Handover | None) -> Progress:
        progress = self._begun()
        self._screen.begin(self._config.site.name, self._uplink.name, progress)
        if not progress.done:
            given = self._person.handover(given or progress.handover)
        progress = replace(progress, handover=given or progress.handover)
        self._keep(progress)
        if progress.done and not progress.finished:
            self._items(Step.PIN, progress.handover)  # what was proved before it was left may hold no longer
        while (step := progress.following) is not None:
            self._screen.entered(step)
            items = self._items(step, progress.handover)
            progress = progress.after(step, items, self._clock.now_unix_ns())
            self._keep(progress)
            self._screen.done(items)
        return progress

    def _begun(self) -> Progress:
        now_unix_ns = self._clock.now_unix_ns()
        kept = None if self._wishes.fresh else latest(self._path, self._config.site.name, self._uplink.name)
        left = resumed(kept, now_unix_ns)
        return left or Progress(started_unix_ns=now_unix_ns, kept_unix_ns=now_unix_ns)

    def _items(self, step: Step, given: Handover) -> tuple[Item, ...]:
        if step is Step.HANDOVER:
            return judge(given)
        if step is Step.FAILOVER:
            return self._failover()
        items = asyncio.run(self._steps.items(step, given))
        if step is Step.PIN and items[0].verdict is Verdict.FAIL:
            raise PinError(self._uplink.name, items[0])
        return items

    def _failover(self) -> tuple[Item, ...]:
        if len(self._config.uplinks) == 1:
            return ()  # there is no second line
        wanted = self._wishes.rehearse
        if wanted is None:
            self._screen.aside()
            wanted = self._person.rehearses()
        if not (wanted and self._person.here):
            return (not_rehearsed("It was not wanted." if self._person.here else "Nobody was there to be asked."),)
        return (rehearse(self._config, self._person, self._screen, self._clock, terms_of(self._uplink).failover),)

    def _keep(self, progress: Progress) -> None:
        result = {**progress.to_json(), "amount": self._wishes.amount.to_json(), "clock": clock_quality()}
        made = Measurement(progress.started_unix_ns, self._uplink.name, MeasurementKind.ACCEPTANCE, result)
        keep_measurement(self._path, self._config.site.name, made)


def latest(path: Path, site: str, uplink: str) -> Progress | None:
    """Return the latest acceptance test of an uplink as far as it came, None if there is none that can be read."""
    try:
        with SqliteRecord(path) as record:
            kept = record.measurements(site, None, MeasurementKind.ACCEPTANCE, uplink)
    except NoRecordError:
        return None
    return progress_of(kept[-1]) if kept else None
