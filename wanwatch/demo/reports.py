"""The demo's reports, made in a process of their own: what draws charts has no place beside a daemon."""

import asyncio
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from wanwatch.config import load
from wanwatch.config.plan import store_path
from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.period import month_before, month_of
from wanwatch.core.model import NS_PER_S
from wanwatch.demo import history
from wanwatch.report import Subject, TargetPlan, report_command, subject_of
from wanwatch.report.command import Asked, write_report
from wanwatch.store import SqliteRecord

NOTE: Final = (
    "This is a demonstration: the daemon and its measurements are real, the office and its lines are simulated."
)
FORMS: Final = ("html", "json")


def of_story(config_path: Path, folder: Path, now_unix_ns: int) -> list[Path]:
    """Report on the running month, in every form, into *folder*; returns the files."""
    config = load(config_path)
    files = [folder / f"report.{form}" for form in FORMS]
    with SqliteRecord(store_path(config)) as record:
        for form, file in zip(FORMS, files, strict=True):
            report_command(config, record, asked=Asked(), form=form, out=file, now_unix_ns=now_unix_ns, note=NOTE)
    return files


def of_generated_month(config_path: Path, folder: Path, now_unix_ns: int) -> list[Path]:
    """Generate the month before the running one and report on it; returns the files. Its record is not kept."""
    subject = _generated(subject_of(load(config_path), history.NOTE))
    today = local_time(now_unix_ns, subject.zone)
    month = month_before(month_of(today.year, today.month, subject.zone), subject.zone)
    files = [folder / f"generated-{month.name}.{form}" for form in FORMS]
    with TemporaryDirectory(prefix="wanwatch-generated-") as scratch:
        path = Path(scratch) / "record.sqlite"
        asyncio.run(history.generate(path, month.span, subject.zone))
        with SqliteRecord(path) as record:
            for form, file in zip(FORMS, files, strict=True):
                write_report(record, subject, month, now_unix_ns=now_unix_ns, form=form, out=file)
    return files


def _generated(subject: Subject) -> Subject:
    """The same lines and contracts, under the generated month's own name and with its own targets."""
    every_ns = history.EVERY_S * NS_PER_S
    plans = [TargetPlan(name=name, every_ns=every_ns, timeout_ns=history.TIMEOUT_NS) for name in history.TARGETS]
    uplinks = tuple(replace(uplink, targets=tuple(plans)) for uplink in subject.uplinks)
    return replace(subject, site=history.SITE, uplinks=uplinks)
