"""Calculations for a terminal: what a promise of availability allows, and how a call would be rated.

Both are reckoned from what is typed alone; nothing is measured and no configuration is read.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final

from wanwatch.config.units import show_duration, show_share
from wanwatch.core.account import voice
from wanwatch.core.account.availability import allowance_ns
from wanwatch.core.model import NS_PER_S
from wanwatch.publish.words import duration

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
    return f"{show_share(at_least)} availability allows a line to be down for\n\n{_table(rows)}"


def voice_text(delay_ns: int, loss: Decimal, codec: str) -> str:
    """Say how a call with this one-way delay, from mouth to ear, and this loss would be rated, and by what."""
    delay_s, known = delay_ns / NS_PER_S, voice.CODECS[codec]
    found = voice.call(delay_s, float(loss), known)
    given = _table(
        [
            ("codec", f"{known.title} (ITU-T G.113: Ie {known.ie:g}, Bpl {known.bpl:g})"),
            ("delay", f"{show_duration(delay_ns)} from mouth to ear: {voice.delay_band(delay_s)} (ITU-T G.114)"),
            ("loss", f"{show_share(loss)}, taken as random"),
        ]
    )
    reckoned = _table(
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


def _allowed(at_least: Decimal, period_s: int) -> tuple[str, str]:
    """A length of time to read, and its exact seconds."""
    ns = allowance_ns(Fraction(at_least), period_s * NS_PER_S)
    exact = Decimal(ns.numerator) / ns.denominator / NS_PER_S
    return (duration(float(exact)) if exact >= _MINUTE_S else ""), f"{exact.normalize():f} s"


def _table(rows: Sequence[tuple[str, ...]]) -> str:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = ["  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)) for row in rows]
    return "\n".join(line.rstrip() for line in lines) + "\n"
