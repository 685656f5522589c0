"""The commands: one thin function each, which reads its arguments and calls a room.

Exit codes: 0 done; 1 the thing asked about is not as it should be; 2 bad usage or configuration; 3 could not measure.
Rooms are imported inside their command, so that `wanwatch status` does not pay for what only a report needs.
"""

import asyncio
import contextlib
import json
import logging
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wanwatch import __version__
from wanwatch.cli_accept import accept
from wanwatch.cli_calc import calc
from wanwatch.cli_drill import drill
from wanwatch.cli_evidence import dossier, plan, replay
from wanwatch.cli_notices import notices
from wanwatch.cli_parts import (
    COULD_NOT_MEASURE,
    FILE,
    NOT_AS_IT_SHOULD_BE,
    Commands,
    config_argument,
    config_option,
    tells_errors,
    terminal_columns,
)
from wanwatch.cli_password import password
from wanwatch.cli_report import report
from wanwatch.cli_speed import speed
from wanwatch.core.model import EventKind

if TYPE_CHECKING:
    from wanwatch.config import Config

_PORT = click.IntRange(0, 65_535)  # 0: any that is free


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="wanwatch")
def main() -> None:
    """Watch every internet line of an office and prove what each one really does."""


main.add_command(accept)
main.add_command(calc)
main.add_command(notices)
main.add_command(password)
main.add_command(plan)
main.add_command(replay)
main.add_command(dossier)
main.add_command(drill)
main.add_command(report)
main.add_command(speed)


@main.command()
@click.option("--out", type=FILE, default=None, metavar="FILE", help="Write there, never over a file.")
@tells_errors
def init(out: Path | None) -> None:
    """Propose a configuration from this machine's own interfaces and routes."""
    from wanwatch.config import commands

    sys.exit(commands.init(out))


@main.command()
@config_argument
@click.option("--live", is_flag=True, help="Prove now that each pin leaves by its own line, and show what it shows.")
@click.option("--pppoe", metavar="INTERFACE", default=None, help="Only ask who offers PPPoE there; take no offer.")
@click.option("--dhcp", metavar="INTERFACE", default=None, help="Only ask who offers addresses there; take no offer.")
@tells_errors
def check(config_path: Path | None, *, live: bool, pppoe: str | None, dhcp: str | None) -> None:
    """Read a configuration and say all that is wrong with it, or what it will do."""
    from wanwatch.config import commands

    if pppoe or dhcp:
        sys.exit(_offers(pppoe, dhcp))
    sys.exit(_live(config_path) if live else commands.check(config_path, _by_now))


def _by_now(config: "Config") -> list[str]:
    """Remarks that depend on what time it is, and on the record."""
    from wanwatch.clock import RealClock
    from wanwatch.config.plan import drills_every, store_path
    from wanwatch.core.drill import due_says, rehearsals
    from wanwatch.store.last_run import drills_kept
    from wanwatch.tls import doubt, server_context

    now_unix_ns = RealClock().now_unix_ns()
    known = rehearsals(drills_kept(store_path(config), config.site.name) or (), drills_every(config))
    due = [due_says(one, now_unix_ns) + "." for one in known if one.overdue(now_unix_ns)]
    listen = config.listen
    if listen.certificate is None:
        return due
    said = doubt(server_context(listen.certificate, listen.key), listen.certificate, now_unix_ns / 1e9)
    return due + [f"[listen]: its certificate: {said}."] * bool(said)


def _live(config_path: Path | None) -> int:
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.measure.live import look
    from wanwatch.publish.proofs import proofs_text, routes_text
    from wanwatch.store.last_run import last_run

    config = load(find(config_path))
    clock = RealClock()
    rows = asyncio.run(look(config, clock))
    known = last_run(store_path(config), config.site.name, clock.now_unix_ns()).routes
    click.echo(proofs_text(rows) + routes_text(known.changes, config.site.timezone), nl=False)
    if any(row.wrong for row in rows):
        return NOT_AS_IT_SHOULD_BE
    return COULD_NOT_MEASURE if any(row.unmeasured for row in rows) else 0


def _offers(pppoe: str | None, dhcp: str | None) -> int:
    from wanwatch.measure.route import Failed, FindDhcp, FindPppoe, Offers, ask

    asked: list[FindPppoe | FindDhcp] = [*([FindPppoe(pppoe)] if pppoe else []), *([FindDhcp(dhcp)] if dhcp else [])]
    codes = {0}
    for question, answer in zip(asked, asyncio.run(ask(asked)), strict=True):
        if isinstance(answer, Failed):
            click.echo(f"wanwatch: interface {question.interface!r}: cannot ask there: {answer.why}", err=True)
            codes.add(COULD_NOT_MEASURE)
        elif isinstance(answer, Offers):
            click.echo("\n".join(answer.lines) or f"{question.interface}: nobody made an offer")
            codes.add(0 if answer.lines else NOT_AS_IT_SHOULD_BE)
    return max(codes)


@main.command()
def schema() -> None:
    """Print the configuration's JSON Schema."""
    from wanwatch.config import json_schema

    click.echo(json.dumps(json_schema(), indent=2))


@main.command()
@config_argument
@tells_errors
def run(config_path: Path | None) -> None:
    """Watch the lines until stopped. SIGHUP reads the configuration again, SIGTERM stops."""
    from wanwatch.config import find, load
    from wanwatch.daemon import Daemon

    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s", stream=sys.stderr)
    # The scheduler tells of every job it runs; only its troubles belong in a log that is read for years.
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    path = find(config_path)
    asyncio.run(Daemon(load(path), path=path).run())


@main.command()
@click.option("--json", "as_json", is_flag=True, help="What the daemon's /health says, as JSON.")
@config_option
@tells_errors
def status(*, as_json: bool, config_path: Path | None) -> None:
    """Say how each line stands now, asked of the running daemon."""
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.publish.listing import status_text
    from wanwatch.web.ask import ask_health

    config = load(find(config_path))
    listen = config.listen
    health = ask_health(listen.address, listen.port, store_path(config).parent)
    if health is None:
        asks = listen.password is not None or listen.tokens or listen.certificate is not None
        hint = "; if it runs, it answers this command to its own user and group only" if asks else ""
        click.echo(
            f"wanwatch: no daemon answers on {listen.address}:{listen.port}; start it with: wanwatch run{hint}",
            err=True,
        )
        sys.exit(COULD_NOT_MEASURE)
    click.echo(json.dumps(health) if as_json else status_text(health, RealClock().now_unix_ns() / 1e9), nl=as_json)
    uplinks: Any = health["uplinks"]
    sys.exit(0 if all(uplink["state"] == "up" for uplink in uplinks) else NOT_AS_IT_SHOULD_BE)


@main.command()
@click.option("--since", default=None, metavar="INSTANT", help="A date, an RFC 3339 instant, or an age such as 7d.")
@click.option("--until", default=None, metavar="INSTANT", help="Likewise; default: now.")
@click.option(
    "--kind", "kinds", multiple=True, type=click.Choice([kind.value for kind in EventKind]), help="Repeatable."
)
@click.option("--incidents", "grouped", is_flag=True, help="Joined to incidents, with their time lines.")
@click.option("--json", "as_json", is_flag=True, help="One JSON array.")
@config_option
@tells_errors
def events(
    since: str | None, until: str | None, kinds: tuple[str, ...], *, grouped: bool, as_json: bool,
    config_path: Path | None,
) -> None:  # fmt: skip
    """List what happened: events, or the incidents that they make up (with --kind: those that hold such an event)."""
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.config.instants import parse_span
    from wanwatch.config.plan import store_path
    from wanwatch.core.event_json import event_to_json
    from wanwatch.core.incident import incident_to_json, incidents_in
    from wanwatch.publish.incidents import incidents_text
    from wanwatch.publish.listing import events_text
    from wanwatch.store import SqliteRecord

    config = load(find(config_path))
    site, wanted = config.site, [EventKind(kind) for kind in kinds]
    span = parse_span(since, until, site.timezone, RealClock().now_unix_ns())
    with SqliteRecord(store_path(config)) as record:
        if grouped:
            found = [one for one in incidents_in(record, site.name, span) if one.holds(wanted)]
            told, text = [incident_to_json(one) for one in found], incidents_text(found, site.timezone)
        else:
            listed = record.events(site.name, span, wanted)
            told = [event_to_json(event) for event in listed]
            text = events_text(listed, site.timezone, terminal_columns())
    if as_json:
        click.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        click.echo(text, nl=False)


@main.command()
@click.option("--address", default="::", show_default=True, help="Address to answer on; :: for both families.")
@click.option("--stamp-port", type=_PORT, default=862, show_default=True, help="UDP port for STAMP (RFC 8762).")
@click.option(
    "--stamp-key-file", type=FILE, default=None, metavar="FILE",
    help="Key shared with senders: only authenticated packets are then answered.",
)  # fmt: skip
@click.option("--stateless", is_flag=True, help="Number answers as the sender does, instead of counting them.")
@click.option("--stun-port", type=_PORT, default=3478, show_default=True, help="UDP port for STUN (RFC 8489).")
@click.option("--stun-unpadded", is_flag=True, help="Answer STUN requests that are shorter than their answer, too.")
@click.option(
    "--echo-port", type=click.IntRange(1, 65_535), default=None, metavar="PORT",
    help="TCP port for the echo protocol (RFC 862), for connections that sites hold open; not served if left out.",
)  # fmt: skip
@click.option("--speed-port", type=_PORT, default=9471, show_default=True, help="TCP port of the speed far end.")
@click.option(
    "--token-file", type=FILE, default=None, metavar="FILE",
    help="Token that speed clients show as Bearer; without it there is no speed far end.",
)  # fmt: skip
@click.option(
    "--speed-bytes", type=click.IntRange(1), default=100_000_000_000, show_default=True, help="Most bytes a request."
)
@click.option("--speed-seconds", type=click.IntRange(1), default=65, show_default=True, help="Most seconds a request.")
@click.option("--speed-at-once", type=click.IntRange(1), default=16, show_default=True, help="Most requests at once.")
@click.option("--tls-certificate", type=FILE, default=None, metavar="FILE", help="Chain in PEM.")
@click.option("--tls-key", type=FILE, default=None, metavar="FILE", help="Its key in PEM.")
@tells_errors
def reflector(
    *,
    stamp_key_file: Path | None,
    stateless: bool,
    token_file: Path | None,
    speed_bytes: int,
    speed_seconds: int,
    speed_at_once: int,
    tls_certificate: Path | None,
    tls_key: Path | None,
    **places: Any,
) -> None:
    """Be the far end that a site's measurements can be pointed at: STAMP, STUN, TCP echo, and bytes for speed tests."""
    from wanwatch.reflector import Limits, Settings, read_certificate, read_secret, serve

    settings = Settings(
        **places,
        stamp_key=read_secret("--stamp-key-file", stamp_key_file).encode() if stamp_key_file else None,
        stateful=not stateless,
        token=read_secret("--token-file", token_file) if token_file else None,
        limits=Limits(speed_bytes, speed_seconds, speed_at_once),
        tls=read_certificate(tls_certificate, tls_key),
    )
    with contextlib.suppress(KeyboardInterrupt):  # Ctrl-C is how one that was started by hand ends
        asyncio.run(serve(settings, on_ready=lambda serving: click.echo(serving.text(), err=True)))


@main.command()
@click.option("--once", is_flag=True, help="End after the story; exit code 1 if the conclusions did not fit it.")
@click.option("--history", is_flag=True, help="Also report on a generated month, marked as such.")
@click.option("--out", type=FILE, default=Path("wanwatch-demo"), show_default=True, metavar="DIR")
@tells_errors
def demo(*, once: bool, history: bool, out: Path) -> None:
    """Play an office on this machine: two simulated lines, one is cut, and the real daemon tells what it saw."""
    from wanwatch.demo import play

    sys.exit(play(out, once=once, history=history))
