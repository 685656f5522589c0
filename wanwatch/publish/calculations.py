"""Calculations for a terminal: what a promise of availability allows, how a call would be rated, what light arrives.

All are reckoned from what is typed alone; nothing is measured and no configuration is read.
"""

from decimal import Decimal
from fractions import Fraction
from typing import Final

from wanwatch.config.units import show_duration, show_share
from wanwatch.core.account import light, voice
from wanwatch.core.account.availability import allowance_ns
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S
from wanwatch.publish.columns import columns

_DAY_S: Final = 86_400
_MINUTE_S: Final = 60
_PERIODS_S: Final = {
    "a year of 365 days": 365 * _DAY_S,
    "a quarter of 90 days": 90 * _DAY_S,
    "a month of 31 days": 31 * _DAY_S,
    "a month of 30 days": 30 * _DAY_S,
    "a month of 28 days": 28 * _DAY_S,
    "a week": 7 * _DAY_S,
    "a day": _DAY_S,
    "an hour": 3600,
}


def downtime_text(at_least: Decimal) -> str:
    """Say how long a line may be down in usual periods and still have this availability, a ratio in [0, 1]."""
    rows = [(f"in {period}", *_allowed(at_least, length_s)) for period, length_s in _PERIODS_S.items()]
    return f"{show_share(at_least)} availability allows a line to be down for\n\n{columns(rows)}"


def voice_text(delay_ns: int, loss: Decimal, codec: str) -> str:
    """Say how a call with this one-way delay, from mouth to ear, and this loss would be rated, and by what."""
    delay_s, known = delay_ns / NS_PER_S, voice.CODECS[codec]
    found = voice.call(delay_s, float(loss), known)
    given = columns(
        [
            ("codec", f"{known.title} (ITU-T G.113: Ie {known.ie:g}, Bpl {known.bpl:g})"),
            ("delay", f"{show_duration(delay_ns)} from mouth to ear: {voice.delay_band(delay_s)} (ITU-T G.114)"),
            ("loss", f"{show_share(loss)}, taken as random"),
        ]
    )
    reckoned = columns(
        [
            ("best rating", f"{voice.rating(absolute_delay_s=0):7.2f}", ""),
            ("less for delay (Idd)", f"{found.delay_impairment:7.2f}", ""),
            ("less for codec and loss (Ie,eff)", f"{found.loss_impairment:7.2f}", ""),
            ("rating R", f"{found.r:7.2f}", voice.satisfaction(found.r)),
            ("mean opinion score (MOS)", f"{found.mos:7.2f}", "of 1 to 4.5"),
        ]
    )
    model = "ITU-T G.107 (E-model) with its default values and echo fully controlled"
    return f"{given}\n{reckoned}\n{model}\n"


_LEVELS: Final = {
    light.Level.OK: "can be received",
    light.Level.TOO_LOW: "may be too weak",
    light.Level.OVERLOAD: "may be too strong: an attenuator is needed",
}

_WHERE: Final = {
    light.Direction.DOWN: "at the terminal (down, 1490 nm)",
    light.Direction.UP: "at the exchange (up, 1310 nm)",
}


def light_text(drop: light.Drop, optical: str, most: light.Losses) -> str:
    """Say what a fibre drop loses, what arrives in both directions, and whether it can be received."""
    found, known = light.budget(drop, light.CLASSES[optical], most), light.CLASSES[optical]
    losses = columns(
        [
            ("loss, at the most", f"{found.most_db:7.2f} dB", _spare(found.spare_db, optical, known.most_db)),
            ("loss, as is usual", f"{found.usual_db:7.2f} dB", _missing(found.attenuator_db, optical, known.least_db)),
        ]
    )
    arriving = columns([_arriving(direction, found.arrivals[direction]) for direction in light.Direction])
    return f"{losses}\n{arriving}\n{LIGHT_SOURCES}\n"


LIGHT_SOURCES: Final = (
    "ITU-T G.984.2 (classes, levels), G.652 (fibre), TIA-568 (most loss of connectors and splices); a splitter's loss\n"
    "beyond that of sharing the light out is taken as 0.5 dB a halving (common practice).\n"
    "The light is invisible and can harm the eye: never look into a fibre or a connector."
)


def _spare(spare_db: float, optical: str, limit_db: float) -> str:
    said = f"{spare_db:.2f} dB to spare" if spare_db >= 0 else f"{-spare_db:.2f} dB too much"
    return f"{said}: class {optical} allows up to {limit_db:g} dB"


def _missing(missing_db: float, optical: str, limit_db: float) -> str:
    said = f"{missing_db:.2f} dB too little" if missing_db else "enough"
    return f"{said}: class {optical} is made for {limit_db:g} dB at the least"


def _arriving(direction: light.Direction, found: light.Arrival) -> tuple[str, ...]:
    return (
        _WHERE[direction],
        f"{found.low_dbm:7.2f} to {found.high_dbm:.2f} dBm",
        f"margin {found.margin_db:.2f} dB, below overload by {found.headroom_db:.2f} dB: {_LEVELS[found.level]}",
    )


def _allowed(at_least: Decimal, period_s: int) -> tuple[str, str]:
    """A length of time to read, and its exact seconds."""
    ns = allowance_ns(Fraction(at_least), period_s * NS_PER_S)
    exact = Decimal(ns.numerator) / ns.denominator / NS_PER_S
    return (duration(float(exact)) if exact >= _MINUTE_S else ""), f"{exact.normalize():f} s"
