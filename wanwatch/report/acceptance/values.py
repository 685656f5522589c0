"""The certificate as one frozen value, and how it is made from the record."""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date

from wanwatch.core.acceptance import Compared, Progress, Verdict, compare, overall
from wanwatch.core.acceptance.programme import progress_of
from wanwatch.core.model import Json, Measurement, MeasurementKind
from wanwatch.core.ports import Record
from wanwatch.core.shown import shown
from wanwatch.report.acceptance.errors import NoTestError
from wanwatch.report.pen import Pen
from wanwatch.report.subject import Contract, Subject


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """One acceptance test, beside the first one of its line.

    Attributes:
        site: The site's name.
        pen: What writes its figures and instants for people.
        uplink: The line.
        contract: What its provider has promised; None if there is no contract on file.
        test: The latest test.
        amount: How much was measured: `soak_s`, `tests`.
        clock: How good the clock was: `synchronised`, `max_error_s`.
        first: The first test of this line that was finished; None if that is this one.
    """

    site: str
    pen: Pen
    uplink: str
    contract: Contract | None
    test: Progress
    amount: dict[str, Json]
    clock: dict[str, Json]
    first: Progress | None = None

    @property
    def verdict(self) -> Verdict:
        """The verdict on the whole; not decided while steps are still to be done."""
        found = overall(self.test.items)
        return Verdict.NOT_DECIDED if found is Verdict.PASS and not self.test.finished else found

    @property
    def compared(self) -> list[Compared]:
        """Every item, beside the same one of the first test."""
        return compare(self.first.items if self.first else (), self.test.items)

    def count(self, verdict: Verdict) -> int:
        """Return how many items have this verdict."""
        return Counter(item.verdict for item in self.test.items)[verdict]


def certificate_of(record: Record, subject: Subject, uplink: str) -> Certificate:
    """Return the certificate of the latest acceptance test of *uplink*, finished or not.

    Raises:
        NoTestError: None is kept.
    """
    kept = record.measurements(subject.site, None, MeasurementKind.ACCEPTANCE, uplink)
    tests = [(one, test) for one in kept if (test := progress_of(one)) is not None]
    if not tests:
        raise NoTestError(uplink)
    made, latest = tests[-1]
    contracts = [contract for plan in subject.uplinks if plan.name == uplink for contract in plan.contracts]
    before = [test for _, test in tests[:-1] if test.finished]
    return Certificate(
        site=subject.site,
        pen=subject.pen,
        uplink=uplink,
        # The one that begins last, whose limits it was held to: a line is accepted before its first day.
        contract=max(contracts, key=lambda contract: contract.starts or date.min, default=None),
        test=_shown(latest),
        amount=_table(made, "amount"),
        clock=_table(made, "clock"),
        first=_shown(before[0]) if before else None,
    )


def _shown(test: Progress) -> Progress:
    """Leave out what stands behind a resolver's host: it may be somebody's key, and a certificate is handed on."""
    done = tuple((step, tuple(replace(item, of=shown(item.of)) for item in items)) for step, items in test.done)
    return replace(test, done=done)


def _table(made: Measurement, key: str) -> dict[str, Json]:
    value = made.result.get(key)
    return value if isinstance(value, dict) else {}
