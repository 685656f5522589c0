"""What all commands share: exit codes, the way to the configuration, and how errors of ours are told."""

import shutil
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any, Final, NoReturn, TypeVar

import click

from wanwatch.core.errors import WanwatchError

NOT_AS_IT_SHOULD_BE: Final = 1
BAD_USAGE: Final = 2
COULD_NOT_MEASURE: Final = 3

FILE: Final = click.Path(path_type=Path, readable=False)
"""What cannot be read is told by who reads it, in words of ours."""
_WHOLE: Final = 500

_Command = TypeVar("_Command", bound=Callable[..., Any])

config_option = click.option(
    "--config", "config_path", type=FILE, default=None, metavar="FILE",
    help="Configuration; else $WANWATCH_CONFIG, ./wanwatch.toml, /etc/wanwatch/wanwatch.toml.",
)  # fmt: skip


def config_argument(command: Callable[..., Any]) -> Callable[..., Any]:
    """Take the configuration as an argument as well as by --config."""

    @click.argument("file", type=FILE, required=False, default=None, metavar="[FILE]")
    @config_option
    @wraps(command)
    def named(*, file: Path | None, config_path: Path | None, **others: Any) -> Any:
        if file and config_path:
            text = "it is named twice; leave FILE or --config out"
            raise click.UsageError(text)
        return command(config_path=file or config_path, **others)

    return named


out_option = click.option("--out", type=FILE, default=None, metavar="FILE", help="Default: standard output.")

paper_option = click.option(
    "--paper", type=click.Choice(["A4", "Letter"], case_sensitive=False), default="A4", show_default=True,
    help="For pdf.",
)  # fmt: skip


class Commands(click.Group):
    """Commands whose list tells the first sentence of each whole, on as many lines as it takes."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list."""
        with formatter.section("Commands"):
            listed = self.list_commands(ctx)
            formatter.write_dl([(name, self.commands[name].get_short_help_str(_WHOLE)) for name in listed])


def duration_value(_ctx: click.Context, param: click.Parameter, value: str) -> int:
    """Read an option that is a duration, as the configuration writes one, into nanoseconds."""
    from wanwatch.config import units

    try:
        return units.duration(value)
    except units.Unfit as error:
        text = f"{value!r}: {error}"
        raise click.BadParameter(text, param=param) from error


def spare_the_terminal(form: str, out: Path | None, *, binary: bool) -> None:
    """Refuse to pour what is no text onto a terminal."""
    if binary and out is None and sys.stdout.isatty():
        text = f"--format {form} is no text; name a file with --out, or lead the output into one"
        raise click.UsageError(text)


def terminal_columns() -> int | None:
    """Return how wide the terminal is that is written to; None where it is a file or a pipe."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def fail(error: WanwatchError, code: int = BAD_USAGE) -> NoReturn:
    """Tell an error and end."""
    click.echo(f"wanwatch: {error}", err=True)
    sys.exit(code)


def tells_errors(command: _Command) -> _Command:
    """Turn our own errors into words and an exit code; anything else is a fault of ours and shows its trace."""

    @wraps(command)
    def told(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except WanwatchError as error:
            fail(error)
        except (KeyboardInterrupt, click.Abort):
            click.echo("\nwanwatch: stopped before its end", err=True)
            sys.exit(COULD_NOT_MEASURE)

    return told  # type: ignore[return-value]  # wraps keeps the signature
