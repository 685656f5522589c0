"""Handover: what the installer of a line leaves behind, and what it says of the line.

Sources:     ITU-T G.984.2 (levels of each class; downstream light is from 1480 to 1500 nm); ITU-T G.652 and G.657 (bend
             radii); TIA-568 and the budget of `wanwatch.core.account.light`.
Departures:  a level without its wavelength is not judged: a power meter is calibrated by wavelength.
"""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Final, Self

from wanwatch.core.acceptance.items import About, Item, Verdict
from wanwatch.core.account.light import BEND_RADIUS_MM, CLASSES, MOST, Direction, Drop, Level, budget
from wanwatch.core.model import Json

FIBRE: Final = "fibre"
MEDIA: Final = (FIBRE, "copper", "radio")
DUPLEXES: Final = ("full", "half")
DOWNSTREAM_NM: Final = (1480, 1500)
USUAL_CLASS: Final = "B+"
_FOR_THE_RECORD: Final = "for the record"


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph: its file's name, its size in bytes, and its SHA-256 (FIPS 180-4) in hexadecimal digits."""

    name: str
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """What was handed over; None for what was not.

    Attributes:
        medium: What the line is made of, one of `MEDIA`.
        circuit: The circuit's reference, as the provider knows it.
        public_address: Whether the contract has a public IPv4 address of the line's own.
        port_bps: Rate of the port that the line is handed over on, as the device it ends in shows it.
        duplex: That port's duplex, one of `DUPLEXES`.
        light_dbm: The light's level at the terminal.
        wavelength_nm: The wavelength that the power meter was set to.
        light_class: Class of the optical network (G.984.2), one of `CLASSES`.
        entering_dbm: The light's level where the drop begins, if it was measured there.
        length_m: Length of the fibre that the budget is reckoned for.
        splices: Splices on it.
        connectors: Mated pairs of connectors on it.
        split: Ways that splitters on it split into; 1 for none.
        cable: Type of the cable, such as `G.657.A2`.
        bend_radius_mm: The tightest bend.
        photographs: What was photographed.
    """

    medium: str | None = None
    circuit: str | None = None
    public_address: bool | None = None
    port_bps: int | None = None
    duplex: str | None = None
    light_dbm: float | None = None
    wavelength_nm: int | None = None
    light_class: str | None = None
    entering_dbm: float | None = None
    length_m: float | None = None
    splices: int | None = None
    connectors: int | None = None
    split: int | None = None
    cable: str | None = None
    bend_radius_mm: float | None = None
    photographs: tuple[Photograph, ...] = ()

    @property
    def optical(self) -> bool:
        """Whether light has to be looked at: on fibre, and where nobody says what it is."""
        return self.medium in {None, FIBRE}

    def to_json(self) -> dict[str, Json]:
        """Return it as JSON values."""
        return {**asdict(self), "photographs": [asdict(one) for one in self.photographs]}

    @classmethod
    def from_json(cls, value: Json) -> Self:
        """Return what `to_json` gave.

        Raises:
            TypeError: It cannot have given this.
        """
        told = dict(value) if isinstance(value, dict) else {}
        found = told.pop("photographs", [])
        shown = [Photograph(**one) for one in found if isinstance(one, dict)] if isinstance(found, list) else []  # type: ignore[arg-type]  # its own words; others are a TypeError
        return cls(**told, photographs=tuple(shown))  # type: ignore[arg-type]  # likewise


def judge(given: Handover) -> tuple[Item, ...]:
    """Return an item for each thing that is handed over with a line of this medium."""
    return tuple(_judged(given))


def _judged(given: Handover) -> Iterator[Item]:
    yield _recorded(About.CIRCUIT, given.circuit)
    if given.optical:
        yield _light(given)
        yield _budget(given)
        yield _recorded(About.JOINTS, _joints(given))
    yield _recorded(About.CABLE, _cable(given))
    if given.optical:
        yield _bend(given)
    yield _photographs(given)


def _recorded(about: About, value: str | None) -> Item:
    if value is None:
        return _missing(about)
    return Item(about=about, verdict=Verdict.PASS, value=value, source=_FOR_THE_RECORD)


def _missing(about: About, what: str = "", value: str = "not handed over") -> Item:
    return Item(about=about, verdict=Verdict.NOT_DECIDED, value=value, reason=what)


def _light(given: Handover) -> Item:
    level = given.light_dbm
    if level is None:
        return _missing(About.LIGHT)
    name = given.light_class or USUAL_CLASS
    ends = CLASSES[name].ends[Direction.DOWN]
    said = ends.says(level)
    reason = _no_wavelength(given)
    return Item(
        about=About.LIGHT,
        verdict=Verdict.NOT_DECIDED if reason else Verdict.PASS if said is Level.OK else Verdict.FAIL,
        value=f"{level:g} dBm" + (f" at {given.wavelength_nm} nm" if given.wavelength_nm else ""),
        limit=f"{ends.sensitivity_dbm:g} to {ends.overload_dbm:g} dBm",
        source=f"ITU-T G.984.2, class {name}" + ("" if given.light_class else " (none was named)"),
        reason=reason or _LEVELS[said],
        figure=level,
        values={"light_dbm": level, "wavelength_nm": given.wavelength_nm},
    )


_LEVELS: Final = {
    Level.OK: "",
    Level.TOO_LOW: "Too little light for the receiver.",
    Level.OVERLOAD: "Too much light for the receiver: an attenuator is missing.",
}


def _no_wavelength(given: Handover) -> str:
    if given.wavelength_nm is None:
        return "A level cannot be judged without the wavelength that the meter was set to."
    least, most = DOWNSTREAM_NM
    if least <= given.wavelength_nm <= most:
        return ""
    return f"The limits are those of light from {least} to {most} nm."


def _budget(given: Handover) -> Item:
    about = About.LIGHT_BUDGET
    lacking = [name for name, told in _needed(given).items() if told is None]
    if given.light_dbm is None or given.length_m is None or lacking:
        gone = [*(["light_level"] if given.light_dbm is None else []), *lacking]
        return _missing(about, f"It cannot be reckoned without {_listed(gone)}.", "not reckoned")
    drop = Drop(
        length_km=given.length_m / 1000, connectors=given.connectors or 0, splices=given.splices or 0,
        split=given.split or 1,
    )  # fmt: skip
    if given.entering_dbm is not None:
        return _lost_on_the_way(given.entering_dbm, given.light_dbm, drop)
    return _arrived(given, given.light_dbm, drop)


def _needed(given: Handover) -> dict[str, object]:
    needed: dict[str, object] = {"length": given.length_m, "splices": given.splices, "connectors": given.connectors}
    # From the exchange on there is a splitter or none, and nobody but the installer knows.
    return needed if given.entering_dbm is not None else {**needed, "split": given.split}


def _lost_on_the_way(entering_dbm: float, light_dbm: float, drop: Drop) -> Item:
    lost_db, most_db = round(entering_dbm - light_dbm, 3), round(drop.loss_db(MOST), 3)
    # Two meters, or one at two places, differ by some tenths; light does not grow on its way.
    gained = lost_db < -_METER_DB
    return Item(
        about=About.LIGHT_BUDGET,
        verdict=Verdict.NOT_DECIDED if gained else Verdict.PASS if lost_db <= most_db else Verdict.FAIL,
        value=f"{lost_db:.2f} dB lost on the drop", limit=f"at most {most_db:.2f} dB",
        source="ITU-T G.652 and TIA-568, for its parts",
        reason="More light comes out than goes in: the two levels do not belong together." if gained else "",
        values={"loss_db": lost_db, "most_db": most_db},
    )  # fmt: skip


_METER_DB: Final = 0.5
"""Common practice, no published source."""


def _arrived(given: Handover, light_dbm: float, drop: Drop) -> Item:
    name = given.light_class or USUAL_CLASS
    found = budget(drop, CLASSES[name]).arrivals[Direction.DOWN]
    inside = found.low_dbm <= light_dbm <= found.high_dbm
    high = light_dbm > found.high_dbm
    return Item(
        about=About.LIGHT_BUDGET,
        # More light than reckoned harms nobody by itself: what was said of the drop cannot be all true.
        verdict=Verdict.PASS if inside else Verdict.NOT_DECIDED if high else Verdict.FAIL,
        value=f"{light_dbm:g} dBm", limit=f"{found.low_dbm:.2f} to {found.high_dbm:.2f} dBm by its parts",
        source=f"ITU-T G.984.2, class {name}; G.652 and TIA-568 for the parts",
        reason="" if inside else _HIGH if high else _LOW,
        values={"light_dbm": light_dbm, "low_dbm": found.low_dbm, "high_dbm": found.high_dbm},
    )  # fmt: skip


_HIGH: Final = "More light than such a drop leaves: its length, joints or splitters are not what was said."

_LOW: Final = (
    "Less light than even the worst parts would leave: look for a tight bend, a dirty connector or a bad splice."
)


def _joints(given: Handover) -> str | None:
    if given.splices is None or given.connectors is None:
        return None
    return f"{_many(given.splices, 'splice')}, {_many(given.connectors, 'mated pair')}"


def _many(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _cable(given: Handover) -> str | None:
    if given.cable is None or given.length_m is None:
        return None
    return f"{given.length_m:g} m of {given.cable}"


def _bend(given: Handover) -> Item:
    radius, least = given.bend_radius_mm, BEND_RADIUS_MM.get(given.cable or "")
    if radius is None:
        return _missing(About.BEND_RADIUS)
    known = least is not None
    return Item(
        about=About.BEND_RADIUS,
        verdict=Verdict.NOT_DECIDED if least is None else Verdict.PASS if radius >= least else Verdict.FAIL,
        value=f"{radius:g} mm at the tightest bend",
        limit=f"at least {least:g} mm" if known else "",
        source=f"ITU-T {given.cable}" if known else "",
        reason="" if known else f"No limit is known here for this cable; those of {_listed(list(BEND_RADIUS_MM))} are.",
        figure=radius,
        values={"bend_radius_mm": radius},
    )


def _photographs(given: Handover) -> Item:
    names = ", ".join(one.name for one in given.photographs)
    return _recorded(About.PHOTOGRAPHS, names or None)


def _listed(names: list[str]) -> str:
    *rest, last = names
    return f"{', '.join(rest)} and {last}" if rest else last
