"""The command that makes what opens the web room: the line of a password, or a token with its line."""

import secrets
import sys

import click

from wanwatch.cli_parts import tells_errors

_SALT_BYTES = 16
_TOKEN_BYTES = 32


@click.command()
@click.option("--token", is_flag=True, help="Make a token for a program: it is shown once, its line is printed.")
@tells_errors
def password(*, token: bool) -> None:
    """Print the line for listen.password_file. The password is asked for twice, or read from standard input."""
    from wanwatch.core.door import hashed, token_line

    if token:
        made = secrets.token_urlsafe(_TOKEN_BYTES)
        click.echo(f"token, shown this once: {made}", err=True)
        click.echo(token_line(made))
    else:
        click.echo(hashed(_said(), secrets.token_bytes(_SALT_BYTES)).line())


def _said() -> str:
    if sys.stdin.isatty():
        return str(click.prompt("Password", hide_input=True, confirmation_prompt="Once more", err=True))
    return sys.stdin.readline().rstrip("\r\n")
