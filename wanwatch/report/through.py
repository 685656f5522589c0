"""A record seen through another one, which changes some of what it tells."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from wanwatch.core.model import NS_PER_S, Event, EventKind, Json, Measurement, MeasurementKind, Series, Span
from wanwatch.core.ports import HourMinutes, HourSums, MinuteBlock, Record

_DAY_NS: Final = 86_400 * NS_PER_S


@dataclass(frozen=True, slots=True)
class Through:
    """A record that tells what another one does."""

    record: Record

    def sites(self) -> list[str]:
        """Names of the sites in the record."""
        return self.record.sites()

    def events(self, site: str, span: Span | None = None, kinds: Collection[EventKind] = ()) -> list[Event]:
        """Its events."""
        return self.record.events(site, span, kinds)

    def watched(self, site: str, span: Span) -> list[Span]:
        """When a daemon was alive."""
        return self.record.watched(site, span)

    def series(self, site: str) -> list[Series]:
        """Every series of the site."""
        return self.record.series(site)

    def blocks(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[MinuteBlock]:
        """Its minutes."""
        return self.record.blocks(site, span, series)

    def raw_from(self, site: str) -> int:
        """From when on it may have raw samples."""
        return self.record.raw_from(site)

    def sums(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourSums]:
        """The sums of its minutes."""
        return self.record.sums(site, span, series)

    def minutes(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourMinutes]:
        """Its minutes by hour."""
        return self.record.minutes(site, span, series)

    def measurements(
        self, site: str, span: Span | None = None, kind: MeasurementKind | None = None, uplink: str | None = None
    ) -> list[Measurement]:
        """What was measured on purpose."""
        return self.record.measurements(site, span, kind, uplink)

    def recall(self, key: str, site: str | None = None) -> Json:
        """What the daemon remembered."""
        return self.record.recall(key, site)


_Key: TypeAlias = tuple[str, int, tuple[Series, ...] | None]


@dataclass(frozen=True, slots=True)
class SummedOnce(Through):
    """A record whose minutes are added up once: a report goes over the same days for its months, quarters and year.

    Attributes:
        known: The sums of each day of UTC, by its number and by whose they are; 1.3 MB a month of six series.
    """

    known: dict[_Key, tuple[HourSums, ...]] = field(default_factory=dict)

    def sums(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourSums]:
        """The sums of its minutes; whole days from memory where they were asked for before."""
        asked = None if series is None else tuple(series)
        for day in range(span.start_unix_ns // _DAY_NS, -(-span.end_unix_ns // _DAY_NS)):
            whole = Span(day * _DAY_NS, (day + 1) * _DAY_NS)
            within = Span(max(whole.start_unix_ns, span.start_unix_ns), min(whole.end_unix_ns, span.end_unix_ns))
            if within != whole:
                yield from self.record.sums(site, within, series)
                continue
            if (site, day, asked) not in self.known:
                self.known[site, day, asked] = tuple(self.record.sums(site, whole, series))
            yield from self.known[site, day, asked]
