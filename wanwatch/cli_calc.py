"""The calculations: what figures alone say. Nothing is measured and no configuration is read."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import click

from wanwatch.cli_parts import Commands
from wanwatch.core.account.light import CLASSES
from wanwatch.core.account.voice import CODECS, USUAL_CODEC


@click.group(cls=Commands)
def calc() -> None:
    """Reckon from figures alone: nothing is measured, no configuration is read."""


def _written(kind: str) -> Callable[[click.Context, click.Parameter, str], Any]:
    """Read a value with its unit, as in the configuration: a `share`, `duration`, `rate`, `distance` or `loss`."""

    def read(ctx: click.Context, param: click.Parameter, value: str | None) -> Any:
        from wanwatch.config import units

        if value is None:
            return None
        try:
            return getattr(units, kind)(value)
        except units.Unfit as error:
            text = f"{value!r}: {error}"
            raise click.BadParameter(text, ctx, param) from error

    return read


@calc.command()
@click.argument("availability", callback=_written("share"))
def downtime(availability: Decimal) -> None:
    """Say how long a line may be down and still be as available as promised, such as 99.9%."""
    from wanwatch.publish.calculations import downtime_text

    click.echo(downtime_text(availability), nl=False)


@calc.command()
@click.option(
    "--delay", callback=_written("duration"), required=True, metavar="DURATION",
    help="One way, from mouth to ear, such as 150ms.",
)  # fmt: skip
@click.option(
    "--loss", callback=_written("share"), default="0%", show_default=True, metavar="SHARE", help="Packets lost."
)
@click.option("--codec", type=click.Choice(list(CODECS)), default=USUAL_CODEC, show_default=True)
def voice(delay: int, loss: Decimal, codec: str) -> None:
    """Say how a call would be rated (ITU-T G.107)."""
    from wanwatch.publish.calculations import voice_text

    click.echo(voice_text(delay, loss, codec), nl=False)


@calc.command()
@click.option("--length", callback=_written("distance"), required=True, metavar="LENGTH", help="Fibre, such as 350m.")
@click.option("--connectors", type=click.IntRange(0), default=2, show_default=True, help="Mated pairs of connectors.")
@click.option("--splices", type=click.IntRange(0), default=0, show_default=True)
@click.option("--split", type=click.IntRange(1), default=1, show_default=True, metavar="WAYS", help="32 for 1:32.")
@click.option("--splitter", callback=_written("loss"), default=None, metavar="LOSS", help="As its data sheet has it.")
@click.option("--class", "optical", type=click.Choice(list(CLASSES)), default="B+", show_default=True)
@click.option("--fibre", callback=_written("loss"), default="0.4dB", show_default=True, help="Most loss: of a km.")
@click.option(
    "--connector", callback=_written("loss"), default="0.75dB", show_default=True, help="Most loss of a pair."
)
@click.option("--splice", callback=_written("loss"), default="0.3dB", show_default=True, help="Of a splice.")
def light(
    *, length: int, connectors: int, splices: int, split: int, splitter: Decimal | None, optical: str, **most: Decimal
) -> None:  # fmt: skip
    """Say how much light a fibre drop loses, and whether what arrives can be received (ITU-T G.984.2)."""
    from wanwatch.core.account.light import Drop, Losses
    from wanwatch.publish.calculations import light_text

    drop = Drop(
        length_km=length / 1_000_000, connectors=connectors, splices=splices, split=split,
        splitter_db=None if splitter is None else float(splitter),
    )  # fmt: skip
    each = {"fibre_db_a_km": most["fibre"], "connector_db": most["connector"], "splice_db": most["splice"]}
    losses = Losses(**{name: float(db) for name, db in each.items()})
    click.echo(light_text(drop, optical, losses), nl=False)


@calc.command()
@click.argument("link", callback=_written("rate"))
@click.option("--mtu", type=click.IntRange(576, 9216), default=1500, show_default=True, help="Largest IP packet.")
@click.option("--pppoe", is_flag=True, help="A PPPoE session runs over it; its MTU is 1492, or 1500 by RFC 4638.")
@click.option("--vlan", is_flag=True, help="Frames carry a VLAN tag.")
@click.option("--tier", callback=_written("rate"), default=None, metavar="RATE", help="What is sold, such as 900Mbps.")
@click.option(
    "--delay", callback=_written("duration"), default=None, metavar="DURATION",
    help="Round-trip time: also say which TCP window fills the line.",
)  # fmt: skip
def goodput(*, link: int, mtu: int, pppoe: bool, vlan: bool, tier: int | None, delay: int | None) -> None:
    """Say how fast TCP can be at best over a port of LINK, such as 1Gbps."""
    from wanwatch.core.account.goodput import Framing
    from wanwatch.publish.speed import goodput_text

    click.echo(goodput_text(link, Framing(mtu=mtu, pppoe=pppoe, vlan=vlan), tier, delay), nl=False)
