"""The commands about what was kept: planned work, dossiers, replays. Thin like those of `cli`, rooms inside."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import click

from wanwatch.cli_parts import (
    Commands,
    config_option,
    out_option,
    paper_option,
    spare_the_terminal,
    tells_errors,
    terminal_columns,
)
from wanwatch.core.model import EventKind, Span
from wanwatch.core.planned import PlanError, announced

_FROM, _ID = "--from", "ID"


@click.command()
@click.option("--since", default="24h", show_default=True, metavar="INSTANT", help="A date, an instant, or an age.")
@click.option("--until", default=None, metavar="INSTANT", help="Likewise; default: now.")
@click.option("--down-after", default=None, metavar="DURATION", help="Other numbers than those of [judge].")
@click.option("--up-after", default=None, metavar="DURATION")
@click.option("--impaired-loss", default=None, metavar="SHARE")
@click.option("--impaired-delay", default=None, metavar="DURATION")
@click.option("--impaired-speed", default=None, metavar="SHARE")
@click.option("--window", default=None, metavar="DURATION")
@click.option("--clear-after", default=None, metavar="DURATION")
@click.option("--compare", default=None, metavar="LIST", help="Values of --down-after, side by side: 2s,5s,20s.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, with all events.")
@click.option("--format", "form", type=click.Choice(["text", "html", "pdf"]), default="text", show_default=True)
@paper_option
@out_option
@config_option
@tells_errors
def replay(
    *, since: str, until: str | None, compare: str | None, as_json: bool, form: str, paper: str, out: Path | None,
    config_path: Path | None, **changes: str | None,
) -> None:  # fmt: skip
    """Judge the stored samples again under other settings: outages, switches, and what contracts would make of them."""
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.config.instants import parse_span
    from wanwatch.config.plan import judge_settings, questions, store_path
    from wanwatch.config.trials import trials
    from wanwatch.core.replay import Site, replay, rows
    from wanwatch.publish.replayed import replay_json, replay_text
    from wanwatch.report import subject_of
    from wanwatch.report.command import write_out
    from wanwatch.store import SqliteRecord
    from wanwatch.store.last_run import last_run

    form = "json" if as_json else form
    spare_the_terminal(form, out, binary=form == "pdf")
    config = load(find(config_path))
    name, now_unix_ns = config.site.name, RealClock().now_unix_ns()
    span = parse_span(since, until, config.site.timezone, now_unix_ns)
    tried = trials(judge_settings(config), changes, compare)
    uplinks = tuple(uplink.name for uplink in config.uplinks)
    asked = questions(config, last_run(store_path(config), name, now_unix_ns).routes.first_hops)
    subject = subject_of(config)
    with SqliteRecord(store_path(config)) as record:
        outcome = replay(record, Site(name, uplinks, asked), span, [settings for _, settings in tried])
        table = rows(record.events(name, span), tried, outcome)
        if outcome.span.length_ns and any(uplink.contracts for uplink in config.uplinks):
            from wanwatch.report.replayed import ruled

            table = [replace(row, ruled=ruled(record, subject, row.events, outcome.span)) for row in table]
    if form == "json":
        text = json.dumps(replay_json(table, uplinks, outcome), indent=2, ensure_ascii=False) + "\n"
    elif form == "text":
        text = replay_text(table, uplinks, outcome, config.site.timezone)
    else:
        from wanwatch.report.replay_page import render_html

        text = render_html(subject, table, outcome)
    write_out(text, form, out, paper)


@click.group(cls=Commands)
def plan() -> None:
    """Announce work on a line beforehand, so that a contract can count it out."""


@plan.command("add")
@click.option("--from", "begins", required=True, metavar="INSTANT", help="2026-11-03T22:00, or from now: +2h.")
@click.option("--to", "ends", required=True, metavar="INSTANT", help="Likewise; +4h counts from now, too.")
@click.option("--uplink", "uplinks", multiple=True, metavar="NAME", help="Repeatable; default: the whole site.")
@click.option("--why", required=True, metavar="TEXT", help="What is done, in one line.")
@click.option("--afterwards", is_flag=True, help="Keep a window that has begun already; it counts nothing out.")
@config_option
@tells_errors
def plan_add(
    *, begins: str, ends: str, uplinks: tuple[str, ...], why: str, afterwards: bool, config_path: Path | None
) -> None:
    """Keep a window of planned work in the record. Run it as the daemon's user, also while the daemon runs."""
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.config.instants import parse_instant
    from wanwatch.config.plan import store_path
    from wanwatch.publish.listing import events_text
    from wanwatch.store import announce

    config = load(find(config_path))
    site, now_unix_ns = config.site, RealClock().now_unix_ns()
    windows = announced(
        site.name,
        Span(
            parse_instant("--from", begins, site.timezone, now_unix_ns),
            parse_instant("--to", ends, site.timezone, now_unix_ns),
        ),
        why,
        uplinks=uplinks,
        known=[uplink.name for uplink in config.uplinks],
        now_unix_ns=now_unix_ns,
        afterwards=afterwards,
    )
    if taken := announce(store_path(config), site.name, windows):
        reason = f"{', '.join(taken)} begins then already"
        raise PlanError(_FROM, begins, reason, "take it away first: wanwatch plan remove ID")
    click.echo(events_text(windows, site.timezone, terminal_columns()), nl=False)


@plan.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON array.")
@config_option
@tells_errors
def plan_list(*, as_json: bool, config_path: Path | None) -> None:
    """List all planned work, past and to come."""
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.core.event_json import event_to_json
    from wanwatch.publish.listing import events_text
    from wanwatch.store import SqliteRecord

    config = load(find(config_path))
    with SqliteRecord(store_path(config)) as record:
        windows = record.events(config.site.name, None, [EventKind.PLANNED_WORK])
    if as_json:
        click.echo(json.dumps([event_to_json(window) for window in windows], indent=2, ensure_ascii=False))
    else:
        click.echo(
            events_text(windows, config.site.timezone, terminal_columns()) if windows else "no planned work\n", nl=False
        )


@plan.command("remove")
@click.argument("event_id", metavar="ID")
@config_option
@tells_errors
def plan_remove(event_id: str, config_path: Path | None) -> None:
    """Take planned work out of the record; what reached into it is no longer marked as planned."""
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.store import withdraw

    config = load(find(config_path))
    if not withdraw(store_path(config), config.site.name, event_id):
        raise PlanError(_ID, event_id, "there is no planned work of that id", "see: wanwatch plan list")
    click.echo(f"removed {event_id}")


@click.command()
@click.argument("event_id", metavar="EVENT_ID")
@click.option("--format", "form", type=click.Choice(["html", "pdf", "json", "csv"]), default="html", show_default=True)
@paper_option
@out_option
@config_option
@tells_errors
def dossier(event_id: str, form: str, paper: str, out: Path | None, config_path: Path | None) -> None:
    """Make the evidence for one outage, to be attached to a fault ticket; csv has every single probe around it."""
    from wanwatch.clock import RealClock, wall_clock_error_us
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.report.dossier import dossier_command
    from wanwatch.store import SqliteRecord

    spare_the_terminal(form, out, binary=form == "pdf")
    config = load(find(config_path))
    with SqliteRecord(store_path(config)) as record:
        code = dossier_command(
            config,
            record,
            event_id,
            form=form,
            out=out,
            now_unix_ns=RealClock().now_unix_ns(),
            clock_error_us=wall_clock_error_us(),
            paper=paper,
        )
    sys.exit(code)
