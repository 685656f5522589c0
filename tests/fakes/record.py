"""A record in memory, and minutes made by hand."""

from collections.abc import Collection, Iterator, Sequence
from operator import itemgetter

import numpy as np
import numpy.typing as npt

from wanwatch.core.account.spans import intersect
from wanwatch.core.model import Event, EventKind, Json, Measurement, MeasurementKind, Series, Span
from wanwatch.core.notices import Notice, Post, PostState
from wanwatch.core.ports import (
    MARK_LATE,
    MARK_LOST,
    MARK_MALFORMED,
    MARK_NOT_SENT,
    MARK_REFUSED,
    RTT_LIMIT,
    HourMinutes,
    HourSums,
    MinuteBlock,
)

MINUTE_NS = 60_000_000_000


class FakeRecord:
    """What one site's readers see, from plain lists.

    Args:
        site: The site's name.
        events: Its events.
        watched: When a daemon was alive.
        blocks: Its minutes, in any order.
    """

    def __init__(
        self, site: str, events: Sequence[Event], watched: Sequence[Span], blocks: Sequence[MinuteBlock]
    ) -> None:
        self._site = site
        self.notes: dict[str, Json] = {}
        self.measured: list[Measurement] = []
        self.outbox: list[Post] = []
        self._events = sorted(events, key=lambda event: event.start.estimate_unix_ns)
        self._watched = list(watched)
        self._blocks = sorted(blocks, key=lambda block: block.minute)

    def sites(self) -> list[str]:
        """The one site."""
        return [self._site]

    def events(self, site: str, span: Span | None = None, kinds: Collection[EventKind] = ()) -> list[Event]:
        """Events that overlap *span*, by start."""

        def overlaps(event: Event) -> bool:
            if span is None:
                return True
            begins = event.start.estimate_unix_ns < span.end_unix_ns
            return begins and (event.end is None or event.end.estimate_unix_ns >= span.start_unix_ns)

        found = [event for event in self._events if overlaps(event) and (not kinds or event.kind in kinds)]
        return found if site == self._site else []

    def recall(self, key: str, site: str | None = None) -> Json:
        """What a test has put into `notes`."""
        return self.notes.get(key) if site in {None, self._site} else None

    def measurements(
        self, site: str, span: Span | None = None, kind: MeasurementKind | None = None, uplink: str | None = None
    ) -> list[Measurement]:
        """What a test has put into `measured`."""

        def asked_for(measured: Measurement) -> bool:
            inside = span is None or span.start_unix_ns <= measured.at_unix_ns < span.end_unix_ns
            return inside and kind in {None, measured.kind} and uplink in {None, measured.uplink}

        return [measured for measured in self.measured if asked_for(measured)] if site == self._site else []

    def posts(
        self, site: str, span: Span | None = None, to: str | None = None, state: PostState | None = None
    ) -> list[Post]:
        """What a test has put into `outbox`."""

        def asked_for(post: Post) -> bool:
            at_ns = post.notice.made_unix_ns
            made = span is None or span.start_unix_ns <= at_ns < span.end_unix_ns
            return made and to in {None, post.notice.to} and state in {None, post.state}

        return [post for post in self.outbox if asked_for(post)] if site == self._site else []

    def notices(self, site: str, to: str | None = None) -> list[Notice]:
        """The notices of those."""
        return [post.notice for post in self.posts(site, to=to)]

    def watched(self, site: str, span: Span) -> list[Span]:
        """When a daemon was alive, cut to *span*."""
        return list(intersect(self._watched, [span])) if site == self._site else []

    def series(self, site: str) -> list[Series]:
        """Every series that has a minute, sorted."""
        return sorted({block.series for block in self._blocks}) if site == self._site else []

    def blocks(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[MinuteBlock]:
        """Minutes that begin within *span*, in order of time."""
        for block in self._blocks if site == self._site else []:
            inside = span.start_unix_ns <= block.minute * MINUTE_NS < span.end_unix_ns
            if inside and (series is None or block.series in series):
                yield block

    def raw_from(self, site: str) -> int:
        """The first minute that has any raw samples; without any, the end of all time."""
        raw = (block.minute * MINUTE_NS for block in self._blocks if block.rtts and site == self._site)
        return next(raw, (1 << 63) - 1)

    def sums(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourSums]:
        """The same minutes, added up hour by hour."""
        for one in FakeRecord.minutes(self, site, span, series):
            left = sum(1 << minute % 60 for minute, sent in zip(one.minutes, one.sent, strict=True) if sent)
            yield HourSums(one.series, one.hour, left, sum(one.asked), sum(one.missed), sum(one.refused))

    def minutes(self, site: str, span: Span, series: Sequence[Series] | None = None) -> Iterator[HourMinutes]:
        """The same minutes, hour by hour."""
        hours: dict[tuple[int, Series], list[MinuteBlock]] = {}
        for block in self.blocks(site, span, series):
            hours.setdefault((block.minute // 60, block.series), []).append(block)
        for (hour, of), mine in sorted(hours.items(), key=itemgetter(0)):
            told = (
                (b.minute, b.sent, b.sent - b.refused, b.lost + b.late + b.malformed, b.refused, b.offsets, b.rtts)
                for b in mine
            )
            yield HourMinutes(of, hour, *zip(*told, strict=True))


def minute_block(
    series: Series,
    minute: int,
    offsets_us: Sequence[int] | npt.NDArray[np.uint32],
    rtts: Sequence[int] | npt.NDArray[np.uint32],
    *,
    keep_raw: bool = True,
) -> MinuteBlock:
    """Return a minute from the sends' offsets and the round-trip times or marks, in microseconds."""
    words = np.asarray(rtts, "<u4")
    answered = words[words < RTT_LIMIT]

    def of(mark: int) -> int:
        return 0 if len(answered) == len(words) else int((words == mark).sum())

    ordered = np.sort(answered)

    def share(per_cent: int) -> int | None:
        """A rank near the percentile: the report reads the raw samples and not this."""
        return int(ordered[(len(ordered) - 1) * per_cent // 100]) if len(ordered) else None

    return MinuteBlock(
        series=series,
        minute=minute,
        sent=len(words) - of(MARK_NOT_SENT),
        lost=of(MARK_LOST),
        late=of(MARK_LATE),
        refused=of(MARK_REFUSED),
        malformed=of(MARK_MALFORMED),
        not_sent=of(MARK_NOT_SENT),
        reordered=0,
        duplicated=0,
        min_us=share(0),
        median_us=share(50),
        p95_us=share(95),
        max_us=share(100),
        offsets=np.asarray(offsets_us, "<u4").tobytes() if keep_raw else b"",
        rtts=words.tobytes() if keep_raw else b"",
    )
