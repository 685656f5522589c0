"""The command that tests a line for acceptance, and prints the certificate."""

import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from wanwatch.cli_parts import (
    COULD_NOT_MEASURE,
    FILE,
    NOT_AS_IT_SHOULD_BE,
    config_option,
    duration_value,
    fail,
    out_option,
    paper_option,
    spare_the_terminal,
    tells_errors,
)

if TYPE_CHECKING:
    from wanwatch.accept import Conductor, Wishes
    from wanwatch.config import Config

_COLUMNS: Final = 100


@click.command()
@click.argument("uplink", metavar="UPLINK")
@click.option(
    "--soak", default="15m", show_default=True, metavar="DURATION", callback=duration_value,
    help="Loss is watched for so long.",
)  # fmt: skip
@click.option("--tests", type=click.IntRange(1, 100), default=3, show_default=True, help="Speed tests each way.")
@click.option(
    "--handover", type=FILE, default=None, metavar="FILE",
    help="What the installer hands over, as TOML; what is missing is asked for on a terminal.",
)  # fmt: skip
@click.option(
    "--drill/--no-drill", "rehearse", default=None, help="Rehearse the failover, or not; default: ask on a terminal."
)
@click.option("--fresh", is_flag=True, help="Begin anew instead of taking up what was left.")
@click.option("--show", is_flag=True, help="Measure nothing: write the certificate that is kept.")
@click.option(
    "--format", "form", type=click.Choice(["text", "html", "pdf", "json"]), default="text", show_default=True
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="The same as --format json.")
@paper_option
@out_option
@config_option
@tells_errors
def accept(
    uplink: str, *, show: bool, form: str, as_json: bool, paper: str, out: Path | None, config_path: Path | None,
    **wishes: Any,
) -> None:  # fmt: skip
    """Test whether UPLINK was handed over to specification, item by item, and keep the certificate.

    Runs beside the daemon or without it, as the daemon's user. Ctrl-C leaves it; the same command takes it up again.
    """
    from wanwatch.accept import Wishes
    from wanwatch.accept.steps import Amount
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.report import subject_of
    from wanwatch.report.acceptance import BRIEF, certificate_command
    from wanwatch.store import SqliteRecord

    told = "json" if as_json else form
    spare_the_terminal(told, out, binary=told == "pdf")
    config = load(find(config_path))
    if not show:
        amount = Amount(soak_ns=wishes.pop("soak"), tests=wishes.pop("tests"))
        _conduct(config, uplink, Wishes(amount=amount, **wishes))
    if told == "text" and not show and out is None and _watched() and sys.stdout.isatty():
        told = BRIEF  # the items have just gone by on the same terminal
    with SqliteRecord(store_path(config)) as record:
        verdict = certificate_command(record, subject_of(config), uplink, form=told, out=out, paper=paper)
    sys.exit({"pass": 0, "fail": NOT_AS_IT_SHOULD_BE}.get(verdict, COULD_NOT_MEASURE))


def _conduct(config: "Config", uplink: str, wishes: "Wishes") -> None:
    from wanwatch.accept import PinError, UnderWayError
    from wanwatch.measure.speed import BusyError

    try:
        _conductor(config, uplink, wishes).conduct()
    except PinError as error:
        fail(error, NOT_AS_IT_SHOULD_BE)
    except (UnderWayError, BusyError) as error:
        fail(error, COULD_NOT_MEASURE)
    except (KeyboardInterrupt, click.Abort):
        click.echo("\nLeft. What was done is kept: the same command takes it up again within a day.", err=True)
        sys.exit(COULD_NOT_MEASURE)


def _conductor(config: "Config", uplink: str, wishes: "Wishes") -> "Conductor":
    from wanwatch.accept import Conductor, Person, Screen
    from wanwatch.clock import RealClock
    from wanwatch.publish.terminal import Terminal

    columns = shutil.get_terminal_size((_COLUMNS, 0)).columns
    # Standard output is for the certificate, whatever its form.
    terminal = Terminal(sys.stderr, os.environ, columns) if _watched() else None
    person = Person(_ask if _watched() and sys.stdin.isatty() else None, lambda text: click.echo(text, err=True))
    return Conductor(config, uplink, wishes, person, Screen(terminal, columns), RealClock())


def _watched() -> bool:
    """Whether somebody sees the progress."""
    return sys.stderr.isatty()


def _ask(question: str) -> str | None:
    try:
        answer: str = click.prompt(question, default="", show_default=False, prompt_suffix=" ", err=True)
    except click.Abort:
        # click says so of Ctrl-C and of Ctrl-D alike; both leave the test, and what was done is kept.
        raise KeyboardInterrupt from None
    return answer
