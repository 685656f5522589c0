"""What a month's inspections said of the resolvers, out of the record."""

from wanwatch.core.ports import Record
from wanwatch.core.resolving import Ledger, Sign, Tally, ledger_key
from wanwatch.report.subject import Subject
from wanwatch.report.values import ResolverFindings


def resolving_in(record: Record, subject: Subject, year: int, month: int) -> dict[str, tuple[ResolverFindings, ...]]:
    """Return the findings of a month by uplink; uplinks whose resolvers were not inspected are not in it."""
    ledger = Ledger.from_json(record.recall(ledger_key(year, month), subject.site))
    found: dict[str, list[ResolverFindings]] = {}
    for (uplink, resolver), tally in ledger.items():
        found.setdefault(uplink, []).append(_of(resolver, tally))
    return {uplink: tuple(mine) for uplink, mine in found.items()}


def _of(resolver: str, tally: Tally) -> ResolverFindings:
    return ResolverFindings(
        resolver=resolver,
        inspections=tally.inspections,
        rewriting=tally.rewrites,
        rewrote=tally.rewriting.get(Sign.YES, 0),
        sure=bool(tally.sure.get(tally.rewrites)),
        validates=tally.validated,
        differed=tuple(sorted(tally.differed.items())),
    )
