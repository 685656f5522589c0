"""The command about notices: what people were told, what waits, and a test whether it arrives."""

import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from wanwatch.cli_parts import (
    COULD_NOT_MEASURE,
    NOT_AS_IT_SHOULD_BE,
    config_option,
    duration_value,
    fail,
    tells_errors,
)
from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices import Post, PostState
from wanwatch.core.shown import shown

if TYPE_CHECKING:
    from wanwatch.config import Config

_ALL: Final = "all"
_LOOK_EVERY_S: Final = 0.25


class NoAddressError(WanwatchError):
    """There is nobody to be told.

    Attributes:
        to: Who was asked for.
    """

    def __init__(self, to: str, known: list[str]) -> None:
        self.to = to
        listed = ", ".join(known)
        super().__init__(
            f"--test {to!r}: there is no [[notice]] table for it; take one of: {listed}"
            if known
            else "there is no [[notice]] table, so nobody is told of anything; write one"
        )


@click.command()
@click.option("--since", default="7d", show_default=True, metavar="INSTANT", help="A date, an instant, or an age.")
@click.option("--until", default=None, metavar="INSTANT", help="Likewise; default: now.")
@click.option("--waiting", is_flag=True, help="Those only that were not sent yet, however old.")
@click.option("--json", "as_json", is_flag=True, help="One JSON array.")
@click.option(
    "--test", "test", is_flag=False, flag_value=_ALL, default=None, metavar="[TO]",
    help="Have the daemon send a test to this address of the configuration (default: to all), and wait for the answer.",
)  # fmt: skip
@click.option(
    "--wait", default="90s", show_default=True, metavar="DURATION", callback=duration_value,
    help="With --test: wait so long.",
)  # fmt: skip
@config_option
@tells_errors
def notices(
    *, since: str, until: str | None, waiting: bool, as_json: bool, test: str | None, wait: int,
    config_path: Path | None,
) -> None:  # fmt: skip
    """List what people were told, and what became of it. Run a --test as the daemon's user.

    With --test: exit code 1 if somebody refused it, 3 if it still waits or no daemon runs.
    """
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.config.instants import parse_span
    from wanwatch.config.plan import store_path
    from wanwatch.publish.letters.listing import post_to_json, posts_text
    from wanwatch.store import SqliteRecord

    config = load(find(config_path))
    site, path = config.site, store_path(config)
    if test is not None:
        found = _tested(config, test, wait / NS_PER_S)
    else:
        span = None if waiting else parse_span(since, until, site.timezone, RealClock().now_unix_ns())
        with SqliteRecord(path) as record:
            found = record.posts(site.name, span, state=PostState.WAITING if waiting else None)
    if as_json:
        click.echo(json.dumps([post_to_json(post) for post in found], indent=2, ensure_ascii=False))
    else:
        click.echo(posts_text(found, site.zone), nl=False)
    sys.exit(_code(found) if test is not None else 0)


def _tested(config: "Config", to: str, wait_s: float) -> list[Post]:
    """Put a test to each address into the outbox, and wait until the daemon has brought them, or for so long."""
    from wanwatch.clock import RealClock
    from wanwatch.config.plan import store_path
    from wanwatch.core.notices import trial
    from wanwatch.publish.letters import office_of, write
    from wanwatch.store import put_in_outbox
    from wanwatch.web.ask import NoDaemonError, ask_health

    known = [notice for notice in config.notices if to in {_ALL, *_names(notice.to)}]
    if not known:
        raise NoAddressError(to, [_names(notice.to)[-1] for notice in config.notices])
    listen, path = config.listen, store_path(config)
    health = ask_health(listen.address, listen.port, path.parent)
    if health is None or health.get("site") != config.site.name:
        fail(NoDaemonError(str(listen.place)), COULD_NOT_MEASURE)
    office, now_unix_ns = office_of(config), RealClock().now_unix_ns()
    told = [trial(notice.terms(office.name, office.zone, 0), now_unix_ns) for notice in known]
    for notice in told:
        put_in_outbox(path, office.name, Post(notice=notice, letter=write(notice, [], office)))
    return _waited_for(config, {notice.id for notice in told}, now_unix_ns, wait_s)


def _names(to: str) -> tuple[str, str, str]:
    """How an address may be written: as in the file, a mailbox by itself, and as it is shown."""
    return to, to.removeprefix("mailto:"), shown(to).removeprefix("mailto:")


def _waited_for(config: "Config", ids: set[str], since_unix_ns: int, wait_s: float) -> list[Post]:
    from wanwatch.config.plan import store_path
    from wanwatch.core.model import Span
    from wanwatch.store import SqliteRecord

    span, until_s = Span(since_unix_ns, since_unix_ns + 1), time.monotonic() + wait_s
    with SqliteRecord(store_path(config)) as record:
        while True:
            found = [post for post in record.posts(config.site.name, span) if post.notice.id in ids]
            if all(post.state is not PostState.WAITING for post in found) or time.monotonic() >= until_s:
                return found
            time.sleep(_LOOK_EVERY_S)


def _code(found: list[Post]) -> int:
    states = {post.state for post in found}
    if PostState.REFUSED in states:
        return NOT_AS_IT_SHOULD_BE
    return COULD_NOT_MEASURE if PostState.WAITING in states else 0
