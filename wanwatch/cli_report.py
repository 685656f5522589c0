"""The command that reports on a month or another period. Thin like those of `cli`, rooms inside."""

import contextlib
import json
import os
import sys
from dataclasses import replace
from pathlib import Path
from time import process_time
from typing import Any

import click

from wanwatch.cli_parts import config_option, out_option, paper_option, spare_the_terminal, tells_errors

_ONE_PERIOD = "give one of --month, --quarter, --year and --days"
_RUNNING_ONLY = "--tally is of the running month; leave the period out"
_FORMS = ["html", "pdf", "csv", "json"]
_BINARY = {"pdf", "csv"}  # of a report, csv is an archive of tables


@click.command()
@click.option("--month", default=None, metavar="YYYY-MM", help="Default: the running month.")
@click.option("--quarter", default=None, metavar="YYYY-Qn", help="A quarter of the calendar.")
@click.option("--year", default=None, metavar="YYYY", help="A year of the calendar.")
@click.option("--days", type=int, default=None, metavar="N", help="The last whole days, such as 30.")
@click.option("--format", "form", type=click.Choice(_FORMS), default="html", show_default=True)
@paper_option
@out_option
@click.option("--keep", is_flag=True, help="Write what is missing of the last whole month into the record's folder.")
@click.option("--tally", is_flag=True, help="Print as JSON what became of each promise of the running month so far.")
@click.option("--list", "listing", is_flag=True, help="List the reports that are kept there.")
@config_option
@tells_errors
def report(
    *, form: str, paper: str, out: Path | None, keep: bool, tally: bool, listing: bool, config_path: Path | None,
    **asked: Any,
) -> None:  # fmt: skip
    """Make the report of a month or another period: does each line keep its contract, and what happened."""
    if keep or tally:
        _wait_for_others()
    from wanwatch.clock import wall_clock_or_epoch_ns
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.report import report_command
    from wanwatch.report.command import Asked, keep_command, tally_command
    from wanwatch.report.kept import folder_of, listed
    from wanwatch.store import SqliteRecord

    if sum(one is not None for one in asked.values()) > 1:
        raise click.UsageError(_ONE_PERIOD)
    if tally and any(asked.values()):
        raise click.UsageError(_RUNNING_ONLY)
    spare_the_terminal(form, out, binary=form in _BINARY and not (keep or tally or listing))
    config = load(find(config_path))
    if listing:
        for kept in (found := listed(folder_of(config.site.data_dir))):
            click.echo(f"{kept.name:<10} {kept.size_bytes:>12,} bytes  {kept.path}")
        if not found:
            click.echo("no reports")
        return
    now_unix_ns = wall_clock_or_epoch_ns(os.environ)
    with SqliteRecord(store_path(config)) as record:
        if keep:
            for path in keep_command(config, record, now_unix_ns=now_unix_ns):
                click.echo(path)
            return
        if tally:
            made = tally_command(config, record, now_unix_ns=now_unix_ns)
            click.echo(json.dumps(replace(made, cpu_s=process_time()).to_json()))
            return
        code = report_command(
            config, record, asked=Asked(**asked), form=form, out=out, now_unix_ns=now_unix_ns, paper=paper
        )
    sys.exit(code)


def _wait_for_others() -> None:
    """Run only when nothing else wants the processor; Linux takes the priority of disk access from that as well."""
    with contextlib.suppress(PermissionError):
        os.sched_setscheduler(0, os.SCHED_IDLE, os.sched_param(0))
