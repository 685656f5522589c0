"""The command that rehearses a failover: asks for the yes, and hands over to the drill's own room."""

import json
import os
import shutil
import sys
from pathlib import Path
from typing import Final

import click

from wanwatch.cli_parts import COULD_NOT_MEASURE, NOT_AS_IT_SHOULD_BE, config_option, duration_value, fail, tells_errors
from wanwatch.core.drill import DONE, DrillError, Patience, Verdict
from wanwatch.core.model import Event

_COLUMNS: Final = 100


@click.command()
@click.argument("uplink", metavar="UPLINK")
@click.option(
    "--steady", default="10s", show_default=True, metavar="DURATION", callback=duration_value, help="Watched before."
)
@click.option(
    "--move-within", default="2m", show_default=True, metavar="DURATION", callback=duration_value,
    help="Traffic has so long to move.",
)  # fmt: skip
@click.option(
    "--stay", default="1m", show_default=True, metavar="DURATION", callback=duration_value,
    help="The second line is watched for so long.",
)  # fmt: skip
@click.option(
    "--back-within", default="5m", show_default=True, metavar="DURATION", callback=duration_value,
    help="Traffic has so long to come back.",
)  # fmt: skip
@click.option("--yes", is_flag=True, help="For scripts: do not ask. Whoever gives it has told everybody.")
@click.option("--json", "as_json", is_flag=True, help="Print the drill's record; the progress goes to standard error.")
@config_option
@tells_errors
def drill(
    uplink: str, *, steady: int, move_within: int, stay: int, back_within: int, yes: bool, as_json: bool,
    config_path: Path | None,
) -> None:  # fmt: skip
    """Rehearse the failover from UPLINK, step by step, and keep a record of what it showed.

    Needs the running daemon, and a person who pulls the plug. Run it as the daemon's user. Ctrl-C gives it up.
    """
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.core.event_json import event_to_json
    from wanwatch.drill import Conductor, Lookout, Screen
    from wanwatch.publish.terminal import Terminal
    from wanwatch.web.ask import NoDaemonError

    config = load(find(config_path))
    columns = shutil.get_terminal_size((_COLUMNS, 0)).columns
    screen = Screen(Terminal(sys.stderr if as_json else sys.stdout, os.environ, columns), columns)
    patience = Patience(steady_ns=steady, move_ns=move_within, stay_ns=stay, back_ns=back_within)
    clock = RealClock()
    conductor = Conductor(config, uplink, patience, Lookout(config, clock), screen, clock)
    try:
        conductor.refuse()
        screen.before(config.site.name, uplink, [other.name for other in config.uplinks if other.name != uplink])
        if not (yes or _agreed(uplink)):
            click.echo("Nothing was announced, and nothing is watched.", err=True)
            sys.exit(COULD_NOT_MEASURE)
        event = conductor.conduct()
    except NoDaemonError as error:
        fail(error, COULD_NOT_MEASURE)
    except DrillError as error:
        if error.misused:
            raise
        fail(error, NOT_AS_IT_SHOULD_BE)
    if as_json:
        click.echo(json.dumps(event_to_json(event), indent=2, ensure_ascii=False))
    sys.exit(_code(event))


def _agreed(uplink: str) -> bool:
    """Wait for the word itself: an Enter that slips out must cut off nobody."""
    if not sys.stdin.isatty():
        mend = "run it on a terminal, or add --yes once everybody knows"
        raise DrillError(uplink, "nobody is here to say yes", mend, misused=True)
    try:
        return click.prompt('Type "yes" to begin', default="", show_default=False, err=True).strip().lower() == "yes"
    except click.Abort:
        return False


def _code(event: Event) -> int:
    if event.detail["outcome"] != DONE:
        return COULD_NOT_MEASURE
    found = event.detail["answers"]
    assert isinstance(found, list)  # noqa: S101 - a drill that is done has its answers
    failed = any(isinstance(answer, dict) and answer["answer"] == Verdict.NO for answer in found)
    return NOT_AS_IT_SHOULD_BE if failed else 0
