"""Metering: counts what is used of each uplink's data, and says which uplinks have to be asked sparingly.

A budget binds what is asked, and never what is told: an alarm counts, and is not held back.
"""

import logging
from collections import Counter
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Final

from wanwatch.config import Config
from wanwatch.config.datause import bytes_of, bytes_within, leaves_the_site, trace_bytes
from wanwatch.config.plan import inspected, questions
from wanwatch.core.account.calendar import local_time, month_span
from wanwatch.core.databudget import DataUse, Month, Purpose, data_key
from wanwatch.core.model import NS_PER_S, UNPINNED, Json, Outcome, Pin, Question, Sample, Series
from wanwatch.core.ports import Clock, Keeper
from wanwatch.core.resolving import NamesSeen
from wanwatch.measure.route import Answer, Trace
from wanwatch.measure.route import Question as RouteQuestion

log = logging.getLogger("wanwatch")

AHEAD_NS: Final = 120 * NS_PER_S
"""A daemon that is killed is taken to have used so much time's data since it wrote; it writes four times as often."""

RANDOM_BYTES: Final = 21
"""A label of random letters, with its length, of the names that must not exist."""
_NEAREST, _FARTHEST = 4, 30
"""Distances of the traces that prove a pin, and of those that are kept with an outage."""


@dataclass(slots=True)
class _Line:
    """What is known of one uplink.

    Attributes:
        budget: Its data budget, in bytes a month; None: it has none.
        tested: What speed tests have used of this month.
        usual: What it is asked at the usual pace.
        sparing: Likewise sparingly.
        is_sparing: Whether it is asked sparingly now.
    """

    budget: int | None
    tested: int = 0
    usual: Sequence[Question] = ()
    sparing: Sequence[Question] = ()
    is_sparing: bool = False


@dataclass(slots=True)
class Metering:
    """Counts each probe when it is told, by the sizes that `check` reckons with.

    Ordinary traffic's probes are counted on each uplink that carries; while nobody knows, on the first one.

    Args:
        clock: Where time comes from.
        keeper: Where the month's use is kept.
        recall: Reads what was kept.
        show: Called with uplink, purpose and number of bytes that were counted.
        carriers: Says which uplinks carry; none while nobody knows.
    """

    clock: Clock
    keeper: Keeper
    recall: Callable[[str], Json]
    show: Callable[[str, Purpose, int], None]
    carriers: Callable[[], tuple[str, ...]]
    _config: Config = field(init=False)
    _lines: dict[str, _Line] = field(default_factory=dict)
    _unpinned: Sequence[Question] = ()
    _sizes: dict[Series, int] = field(default_factory=dict)
    _inspections: dict[tuple[str, str, str], int] = field(default_factory=dict)
    _rounds: Counter[str] = field(default_factory=Counter)
    _pins: dict[Pin, str] = field(default_factory=dict)
    _key: str = ""
    _use: DataUse = field(default_factory=DataUse)

    @property
    def sparing(self) -> frozenset[str]:
        """The uplinks that have to be asked sparingly, and ordinary traffic's path while it takes one of them."""
        names = frozenset(name for name, line in self._lines.items() if line.is_sparing)
        return names | {UNPINNED} if names.intersection(self._where(UNPINNED)) else names

    def follow(self, config: Config, first_hops: Mapping[str, str]) -> None:
        """Count by this configuration from now on."""
        self._config = config
        watched = questions(config, first_hops)
        usual = (*watched, *inspected(config))
        spared = questions(config, first_hops, [uplink.name for uplink in config.uplinks])
        before, self._lines = self._lines, {}
        for uplink in config.uplinks:
            line = self._lines[uplink.name] = before.get(uplink.name) or _Line(None)
            line.budget = uplink.data_budget_bytes
            line.usual, line.sparing = _of(uplink.name, usual), _of(uplink.name, spared)
        self._unpinned = _of(UNPINNED, watched)
        self._pins = {uplink.pin: uplink.name for uplink in config.uplinks}
        self._sizes = {}
        for question in filter(leaves_the_site, watched):  # the names that one series asks for differ in length
            self._sizes[question.series] = max(bytes_of(question), self._sizes.get(question.series, 0))
        self._inspections = {(*one.series[:2], one.ask or ""): bytes_of(one) for one in inspected(config)}
        self._rounds = Counter()
        for one in inspected(config):
            self._rounds[one.series.uplink] += bytes_of(one) + 2 * RANDOM_BYTES
        self.turn()

    def sample(self, sample: Sample) -> None:
        """Count a probe, and its answer even if none came: whoever sends the bill may have counted it."""
        if sample.outcome is not Outcome.NOT_SENT and (size := self._sizes.get(sample.series)):
            unpinned = sample.series.uplink == UNPINNED
            for uplink in self._where(sample.series.uplink):
                self.count(uplink, Purpose.TRAFFIC if unpinned else Purpose(sample.series.role.value), size)

    def inspected(self, seen: NamesSeen) -> None:
        """Count an inspection of resolvers."""
        longest: Counter[tuple[str, str]] = Counter()
        for (uplink, resolver, _), size in self._inspections.items():
            longest[uplink, resolver] = max(size, longest[uplink, resolver])
        for answer in seen.answers:
            size = self._inspections.get((answer.uplink, answer.resolver, answer.name), 0)
            if not size:  # a random name below one of them, which stands in the question and in the answer
                size = longest[answer.uplink, answer.resolver] + 2 * RANDOM_BYTES
            self.count(answer.uplink, Purpose.INSPECTION, size)

    def tracing(
        self, ask: Callable[[Sequence[RouteQuestion]], Awaitable[list[Answer]]]
    ) -> Callable[[Sequence[RouteQuestion]], Awaitable[list[Answer]]]:
        """Return *ask* with its traces counted."""

        async def counted(asked: Sequence[RouteQuestion]) -> list[Answer]:
            for one in asked:
                if isinstance(one, Trace) and one.pin in self._pins:
                    self.count(self._pins[one.pin], Purpose.ROUTE, trace_bytes(one.most))
            return await ask(asked)

        return counted

    def sent(self, path: str, purpose: Purpose, number: int) -> None:
        """Count *number* bytes that the daemon itself has moved over an uplink, or by this machine's own routes.

        They are written at once: what a kill may lose is reckoned beforehand of probes only.
        """
        for uplink in self._where(path):
            self.count(uplink, purpose, number)
        self.keeper.remember(self._key, self._use.to_json(self._ahead()))

    def count(self, uplink: str, purpose: Purpose, number: int) -> None:
        """Count *number* bytes on an uplink."""
        if uplink in self._lines and number:
            self._use.count(uplink, purpose, number)
            self.show(uplink, purpose, number)

    def tested(self, uplink: str, number: int) -> None:
        """Take in what speed tests have used in this month; they are kept as measurements, each with its bytes."""
        if uplink in self._lines:
            self._lines[uplink].tested = number

    def turn(self, *, stopping: bool = False) -> bool:
        """Write what was counted, begin a new month, and return whether another pace is due for any uplink.

        Args:
            stopping: Nothing will be used after this.
        """
        now_unix_ns = self.clock.now_unix_ns()
        day = local_time(now_unix_ns, self._config.site.zone)
        key = data_key(day.year, day.month)
        if key != self._key:
            if self._key:
                self.keeper.remember(self._key, self._use.to_json({}))
            self._key, self._use = key, DataUse.from_json(self.recall(key))
        before = self.sparing
        for name, line in self._lines.items():
            self._pace(name, line)
        self.keeper.remember(key, self._use.to_json({} if stopping else self._ahead()))
        return self.sparing != before

    def month(self, uplink: str) -> Month | None:
        """Return how the month stands for an uplink; None where it has no budget."""
        line = self._lines.get(uplink)
        if line is None or line.budget is None:
            return None
        now_unix_ns = self.clock.now_unix_ns()
        day = local_time(now_unix_ns, self._config.site.zone)
        month = month_span(day.year, day.month, self._config.site.zone)
        left_ns = month.end_unix_ns - now_unix_ns
        traces = trace_bytes(_NEAREST) * left_ns // self._config.carrying.prove_every_ns
        return Month(
            budget=line.budget,
            watched=self._use.of(uplink),
            tested=line.tested,
            ahead=traces + bytes_within(line.usual, left_ns),
            ahead_sparingly=traces + bytes_within(line.sparing, left_ns),
            passed=1 - left_ns / month.length_ns,
        )

    def to_json(self) -> list[Json]:
        """How much each uplink has used in this month, as `/health` shows it."""
        return [
            {
                "uplink": name,
                "used_bytes": self._use.of(name) + line.tested,
                "budget_bytes": line.budget,
                "sparing": line.is_sparing,
                "purposes": _named({**self._use.get(name, {}), Purpose.SPEED: line.tested}),
            }
            for name, line in self._lines.items()
        ]

    def _where(self, path: str) -> tuple[str, ...]:
        return (path,) if path != UNPINNED else self.carriers() or tuple(islice(self._lines, 1))

    def _pace(self, name: str, line: _Line) -> None:
        month = self.month(name)
        sparing = month is not None and month.sparing(before=line.is_sparing)
        if sparing and not line.is_sparing:
            log.warning("%s: its data budget is all but used up; it is asked sparingly for the rest of the month", name)
        elif line.is_sparing and not sparing:
            log.info("%s: its data budget allows it to be asked as usual again", name)
        line.is_sparing = sparing

    def _ahead(self) -> dict[str, int]:
        carriers = self._where(UNPINNED)
        ahead = {}
        for name, line in self._lines.items():
            asked = (*(line.sparing if line.is_sparing else line.usual), *(self._unpinned if name in carriers else ()))
            probes = bytes_within(asked, AHEAD_NS, quick=True) + trace_bytes(_FARTHEST)
            ahead[name] = probes + self._rounds.get(name, 0)
        return ahead


def _named(use: Mapping[Purpose, int]) -> dict[str, Json]:
    return {purpose.value: number for purpose, number in use.items() if number}


def _of(path: str, plan: Sequence[Question]) -> list[Question]:
    return [question for question in plan if question.series.uplink == path]
