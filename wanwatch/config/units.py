"""Values written with units: text to exact numbers, and back.

Every parser takes whatever the TOML file held and either returns a value or raises `Unfit`, which says why and what to
write instead. Nothing is rounded on the way: a value that its unit cannot hold exactly is refused.
"""

import re
from decimal import Decimal
from typing import Final, NamedTuple

DAY_MIN: Final = 24 * 60

DURATIONS: Final[dict[str, int]] = {
    "us": 1_000,
    "ms": 1_000_000,
    "s": 1_000_000_000,
    "m": 60_000_000_000,
    "h": 3_600_000_000_000,
    "d": 86_400_000_000_000,
}
"""Nanoseconds of each unit of time."""

RATES: Final[dict[str, int]] = {"bps": 1, "kbps": 10**3, "Mbps": 10**6, "Gbps": 10**9}
"""Bits a second of each unit of rate: decimal, as lines are sold."""

SIZES: Final[dict[str, int]] = {
    "kB": 10**3,
    "MB": 10**6,
    "GB": 10**9,
    "TB": 10**12,
    "MiB": 2**20,
    "GiB": 2**30,
}
"""Bytes of each unit of size."""

DISTANCES: Final[dict[str, int]] = {"mm": 1, "m": 10**3, "km": 10**6}
"""Millimetres of each unit of length."""

LONGEST_NS: Final = 3660 * DURATIONS["d"]
"""Ten years: a longer time is a slip of the pen."""

_QUANTITY: Final = re.compile(r"([0-9]{1,15}(?:\.[0-9]{1,9})?) ?([A-Za-z]+)")
_SHARE: Final = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,9})?) ?%")
_HOURS: Final = re.compile(r"([0-9]{1,2}):([0-9]{2}) ?- ?([0-9]{1,2}):([0-9]{2})")
_SCHEDULE: Final = re.compile(r"every (\S+)(?: jitter (\S+))?")
_LOSS: Final = re.compile(r"([0-9]{1,2}(?:\.[0-9]{1,3})?) ?dB")
_LEVEL: Final = re.compile(r"([+-]?[0-9]{1,2}(?:\.[0-9]{1,3})?) ?dBm")
_WAVELENGTH: Final = re.compile(r"([0-9]{3,4}) ?nm")
_MONEY: Final = re.compile(r"([0-9]{1,12}(?:\.[0-9]{1,4})?) ([A-Z]{3})")


class Unfit(ValueError):  # noqa: N818 - it is a value's quality, and reads so where it is raised
    """A value that cannot be used: the reason, and what to write instead."""

    def __init__(self, *, reason: str, mend: str) -> None:
        super().__init__(f"{reason}; {mend}")
        self.reason = reason
        self.mend = mend


class Hours(NamedTuple):
    """Hours of each day in the site's zone, in minutes from midnight; where end < start they pass midnight."""

    start_min: int
    end_min: int


class Schedule(NamedTuple):
    """How often something is done, and how far each time may wander, in nanoseconds."""

    every_ns: int
    jitter_ns: int


class Money(NamedTuple):
    """An exact amount and its currency's three letters (ISO 4217)."""

    amount: Decimal
    currency: str


def text(value: object, what: str, example: str) -> str:
    """Return *value* if it is text.

    Raises:
        Unfit: It is something else; a bare number gets the unit shown that it lacks.
    """
    if isinstance(value, str):
        return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise Unfit(reason=f"a {what} needs its unit", mend=f'write it as text with a unit, such as "{example}"')
    raise Unfit(reason=f"not a {what}", mend=f'write text, such as "{example}"')


def _quantity(value: object, what: str, example: str, units: dict[str, int]) -> int:
    written = text(value, what, example)
    match = _QUANTITY.fullmatch(written)
    if match is None or match[2] not in units:
        raise Unfit(reason=f"not a {what}", mend=f'write a number and one of {", ".join(units)}, such as "{example}"')
    exact = Decimal(match[1]) * units[match[2]]
    if exact <= 0:
        raise Unfit(reason=f"a {what} is more than nothing", mend=f'write one such as "{example}"')
    if exact != int(exact):
        raise Unfit(reason=f"finer than this program counts a {what}", mend="write it with fewer decimals")
    return int(exact)


def duration(value: object) -> int:
    """Return the nanoseconds of a duration such as `200ms`, `5s`, `2m`, `4h` or `30d`."""
    length_ns = _quantity(value, "duration", _like(value, "s", "5s"), DURATIONS)
    if length_ns > LONGEST_NS:
        raise Unfit(reason="longer than ten years", mend="write a shorter one")
    return length_ns


def rate(value: object) -> int:
    """Return the bits a second of a rate such as `450Mbps`."""
    return _quantity(value, "rate", _like(value, "Mbps", "450Mbps"), RATES)


def size(value: object) -> int:
    """Return the bytes of an amount of data such as `5 GB`."""
    return _quantity(value, "data size", _like(value, " GB", "5 GB"), SIZES)


def monthly_size(value: object) -> int:
    """Return the bytes of an amount of data a month, such as `2 GB/month`."""
    example = _like(value, " GB/month", "2 GB/month")
    written = text(value, "data size", example)
    size, slash, period = written.partition("/")
    if not slash or period.strip() != "month":
        raise Unfit(reason="not an amount of data a month", mend=f'write it such as "{example}"')
    return _quantity(size.strip(), "data size", "2 GB", SIZES)


def distance(value: object) -> int:
    """Return the millimetres of a length such as `350m` or `1.2km`."""
    return _quantity(value, "length", _like(value, "m", "350m"), DISTANCES)


def loss(value: object) -> Decimal:
    """Return the decibels of a loss such as `0.3dB`."""
    match = _LOSS.fullmatch(text(value, "loss", "0.3dB"))
    if match is None:
        raise Unfit(reason="not a loss", mend='write a number below 100 and dB, such as "0.3dB"')
    return Decimal(match[1])


def level(value: object) -> float:
    """Return the decibels over one milliwatt of a level such as `-18.4dBm`."""
    written = text(value, "level", "-18.4dBm").replace("\N{MINUS SIGN}", "-")
    match = _LEVEL.fullmatch(written)
    if match is None:
        raise Unfit(reason="not a level", mend='write a number between -100 and 100 and dBm, such as "-18.4dBm"')
    return float(match[1])


def wavelength(value: object) -> int:
    """Return the nanometres of a wavelength such as `1490nm`."""
    match = _WAVELENGTH.fullmatch(text(value, "wavelength", "1490nm"))
    if match is None:
        raise Unfit(reason="not a wavelength", mend='write whole nanometres, such as "1490nm"')
    return int(match[1])


def share(value: object) -> Decimal:
    """Return the exact ratio in [0, 1] of a share such as `99.9%`."""
    written = text(value, "share", "99.9%")
    match = _SHARE.fullmatch(written)
    if match is None:
        raise Unfit(reason="not a share", mend='write a number and a percent sign, such as "99.9%"')
    ratio = Decimal(match[1]).scaleb(-2)
    if ratio > 1:
        raise Unfit(reason="more than the whole", mend='write at most "100%"')
    return ratio


def hours(value: object) -> Hours:
    """Return the minutes of hours such as `20:00-22:00`; `22:00-06:00` passes midnight, `24:00` ends a day."""
    example = "20:00-22:00"
    match = _HOURS.fullmatch(text(value, "range of hours", example))
    if match is None:
        raise Unfit(reason="not a range of hours", mend=f'write it such as "{example}"')
    hour, minute, end_hour, end_minute = (int(group) for group in match.groups())
    start, end = hour * 60 + minute, end_hour * 60 + end_minute
    if minute > 59 or end_minute > 59 or start >= DAY_MIN or end > DAY_MIN:  # noqa: PLR2004 - an hour's last minute
        raise Unfit(reason="no clock shows these hours", mend='write hours from "00:00" to "24:00"')
    if start == end:
        raise Unfit(
            reason="it begins and ends at once",
            mend='write two different hours, or leave "hours" out for the whole day',
        )
    return Hours(start, end)


def schedule(value: object) -> Schedule:
    """Return the interval and wander of a schedule such as `every 2h jitter 20m`."""
    example = "every 2h jitter 20m"
    match = _SCHEDULE.fullmatch(text(value, "schedule", example))
    if match is None:
        raise Unfit(reason="not a schedule", mend=f'write it such as "{example}"')
    every_ns = duration(match[1])
    jitter_ns = duration(match[2]) if match[2] else 0
    if jitter_ns * 2 > every_ns:
        raise Unfit(reason="the jitter is longer than half the interval", mend="write a shorter jitter")
    return Schedule(every_ns, jitter_ns)


def money(value: object) -> Money:
    """Return an exact amount of money such as `120.00 GBP`."""
    example = "120.00 GBP"
    match = _MONEY.fullmatch(text(value, "sum of money", example))
    if match is None:
        raise Unfit(
            reason="not a sum of money", mend=f'write the sum and the currency\'s three letters, such as "{example}"'
        )
    return Money(Decimal(match[1]), match[2])


def show_duration(length_ns: int) -> str:
    """Return *length_ns* as `duration` reads it, in the largest unit that holds it whole."""
    return _show(length_ns, DURATIONS)


def show_rate(bits_per_s: int) -> str:
    """Return *bits_per_s* as `rate` reads it, in the largest unit that holds it whole."""
    return _show(bits_per_s, RATES)


def show_share(ratio: Decimal) -> str:
    """Return *ratio* as `share` reads it: exact, without trailing zeros."""
    return f"{ratio.scaleb(2).normalize():f}%"


def _show(amount: int, units: dict[str, int]) -> str:
    """Below the smallest unit the number gets decimals; otherwise it is whole."""
    smallest = next(iter(units))
    unit = next((name for name in reversed(units) if amount % units[name] == 0), smallest)
    return f"{(Decimal(amount) / units[unit]).normalize():f}{unit}"


def _like(value: object, unit: str, otherwise: str) -> str:
    """Return an example for the person who wrote *value*: their own number with a unit, if it was one."""
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < 10**6:
        return f"{value}{unit}"
    return otherwise
