"""The command that tests a line's speed now."""

import asyncio
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wanwatch.cli_parts import COULD_NOT_MEASURE, config_option, fail, tells_errors
from wanwatch.core.account.speed_result import Direction

if TYPE_CHECKING:
    from collections.abc import Callable

    from wanwatch.config import Config
    from wanwatch.core.account.speed import Mark
    from wanwatch.core.account.speed_result import SpeedResult


@click.command()
@click.argument("uplink")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON.")
@click.option("--seconds", type=click.IntRange(1, 60), default=None, help="Measure for so long; else as configured.")
@click.option("--connections", type=click.IntRange(1, 16), default=None, help="So many at once; else as configured.")
@click.option(
    "--direction", "directions", multiple=True, type=click.Choice([way.value for way in Direction]),
    help="Only this one; repeatable.",
)  # fmt: skip
@config_option
@tells_errors
def speed(
    uplink: str, *, as_json: bool, seconds: int | None, connections: int | None, directions: tuple[str, ...],
    config_path: Path | None,
) -> None:  # fmt: skip
    """Test how fast UPLINK is now, each way, and keep the result. It fills the line for half a minute."""
    from wanwatch.clock import RealClock
    from wanwatch.config import find, load
    from wanwatch.config.plan import store_path
    from wanwatch.measure.speed import Asked, BusyError, run_speed_test
    from wanwatch.publish.speed import speed_text
    from wanwatch.store import keep_measurement

    config = load(find(config_path))
    asked = Asked(
        directions=tuple(Direction(way) for way in directions or Direction), seconds=seconds, connections=connections
    )

    async def keep(result: "SpeedResult") -> None:
        keep_measurement(store_path(config), result.site, result.measurement())

    async def test() -> "SpeedResult":
        progress = _progress(config, seconds)
        result = await run_speed_test(config, uplink, RealClock(), asked=asked, tell=progress, begun=keep)
        await keep(result)
        return result

    try:
        result = asyncio.run(test())
    except BusyError as error:
        fail(error, COULD_NOT_MEASURE)
    if sys.stderr.isatty():
        click.echo("\r\033[K", nl=False, err=True)
    if as_json:
        click.echo(json.dumps(result.to_json(), indent=2, ensure_ascii=False))
    else:
        click.echo(speed_text(result, _sold(config, uplink), config.site.timezone), nl=False)
    sys.exit(0 if all(run.goodput is not None for run in result.runs) else COULD_NOT_MEASURE)


def _sold(config: "Config", name: str) -> dict[Direction, float]:
    contract = next(uplink.contract for uplink in config.uplinks if uplink.name == name)
    told = {Direction.DOWN: contract.down_mbps, Direction.UP: contract.up_mbps} if contract else {}
    return {way: mbps * 1e6 for way, mbps in told.items() if mbps}


def _progress(config: "Config", seconds: int | None) -> "Callable[[Direction, Mark], None]":
    """Return what shows progress: one line that is written over, on a terminal only."""
    from wanwatch.core.account.speed import MOST_WARM_UP_NS
    from wanwatch.core.model import NS_PER_S
    from wanwatch.publish.speed import progress

    heard: dict[Direction, list[Mark]] = {}
    whole_s = (seconds or (config.speed.seconds if config.speed else 0)) + MOST_WARM_UP_NS / NS_PER_S

    def tell(direction: Direction, mark: "Mark") -> None:
        marks = heard.setdefault(direction, [])
        marks.append(mark)
        click.echo(f"\r{progress(direction, marks, whole_s)}\033[K", nl=False, err=True)

    return tell if sys.stderr.isatty() else lambda _direction, _mark: None
