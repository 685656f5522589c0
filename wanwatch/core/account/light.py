"""Light: the loss budget of a fibre drop, and whether the light that arrives is neither too weak nor too strong.

Levels are in dBm (decibels over one milliwatt), losses in dB.

Sources:     ITU-T G.984.2 (classes of the optical distribution network, levels and sensitivities); ITU-T G.652
             (attenuation of single-mode fibre); ITU-T G.657 and G.652 (bend radii); TIA-568 (the most that a mated pair
             of connectors or a splice may lose). The splitter's excess loss is common practice, no published source.
Departures:  sensitivity is weighed with the most that each part may lose, overload with what parts usually lose (the
             Fiber Optic Association's figures): a drop of good parts may dazzle a receiver that the limits spare.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import log2, log10
from typing import Final


class Direction(StrEnum):
    """Which way the light goes."""

    DOWN = "down"  # from the provider's exchange to the terminal in the office, at 1490 nm
    UP = "up"  # back, at 1310 nm


class Level(StrEnum):
    """What a level is to its receiver."""

    OK = "ok"
    TOO_LOW = "too-low"
    OVERLOAD = "overload"


@dataclass(frozen=True, slots=True)
class Ends:
    """A transmitter and the receiver at the other end, in dBm."""

    launch_least_dbm: float
    launch_most_dbm: float
    sensitivity_dbm: float
    overload_dbm: float

    def says(self, received_dbm: float) -> Level:
        """Say what a received level is; both limits still belong to what is well."""
        if received_dbm < self.sensitivity_dbm:
            return Level.TOO_LOW
        return Level.OVERLOAD if received_dbm > self.overload_dbm else Level.OK


@dataclass(frozen=True, slots=True)
class OpticalClass:
    """A class of optical distribution network: the loss that it is made for, and its ends in both directions."""

    least_db: float
    most_db: float
    ends: dict[Direction, Ends]


CLASSES: Final = {
    "B+": OpticalClass(13, 28, {Direction.DOWN: Ends(1.5, 5, -27, -8), Direction.UP: Ends(0.5, 5, -28, -8)}),
    "C+": OpticalClass(17, 32, {Direction.DOWN: Ends(3, 7, -30, -8), Direction.UP: Ends(0.5, 5, -32, -12)}),
}

BEND_RADIUS_MM: Final = {"G.652": 30.0, "G.657.A1": 10.0, "G.657.A2": 7.5, "G.657.B2": 7.5, "G.657.B3": 5.0}
"""The smallest radius that each type of fibre may be bent to."""

EXCESS_DB_A_HALVING: Final = 0.5


@dataclass(frozen=True, slots=True)
class Losses:
    """What each part of a drop loses."""

    fibre_db_a_km: float
    connector_db: float
    splice_db: float
    excess_db_a_halving: float = EXCESS_DB_A_HALVING


MOST: Final = Losses(fibre_db_a_km=0.4, connector_db=0.75, splice_db=0.3)
USUAL: Final = Losses(fibre_db_a_km=0.35, connector_db=0.5, splice_db=0.15)
"""What parts usually lose; G.652.D fibre itself loses some 0.35 dB/km at 1310 nm and less beyond (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """What the light goes through.

    Attributes:
        length_km: Length of fibre.
        connectors: Mated pairs.
        splices: Splices, fused or mechanical.
        split: Ways that the splitter splits into; 1 for none.
        splitter_db: The splitter's loss where its data sheet says; None to reckon it.
    """

    length_km: float
    connectors: int = 0
    splices: int = 0
    split: int = 1
    splitter_db: float | None = None

    def loss_db(self, losses: Losses) -> float:
        """Return the loss from end to end when each part loses so much."""
        halvings_db = splitting_db(self.split) + losses.excess_db_a_halving * log2(self.split)
        return (
            self.length_km * losses.fibre_db_a_km
            + self.connectors * losses.connector_db
            + self.splices * losses.splice_db
            + (halvings_db if self.splitter_db is None else self.splitter_db)
        )


@dataclass(frozen=True, slots=True)
class Arrival:
    """What arrives in one direction.

    Attributes:
        low_dbm: The weakest transmitter through the most loss.
        high_dbm: The strongest transmitter through the usual loss.
        margin_db: What the weakest still has over the receiver's sensitivity; negative where it falls short.
        headroom_db: What the strongest stays below overload; negative where it dazzles.
    """

    low_dbm: float
    high_dbm: float
    margin_db: float
    headroom_db: float

    @property
    def level(self) -> Level:
        """What can happen: too low comes before overload."""
        if self.margin_db < 0:
            return Level.TOO_LOW
        return Level.OVERLOAD if self.headroom_db < 0 else Level.OK


@dataclass(frozen=True, slots=True)
class Budget:
    """A drop, weighed.

    Attributes:
        most_db: Its loss if each part loses the most that it may.
        usual_db: Its loss if each part loses what is usual.
        spare_db: What the class allows beyond `most_db`; negative where the drop is over it.
        attenuator_db: What is missing to the least loss of the class, by the usual loss; 0 where nothing is.
        arrivals: What arrives, by direction.
    """

    most_db: float
    usual_db: float
    spare_db: float
    attenuator_db: float
    arrivals: dict[Direction, Arrival]


def budget(drop: Drop, optical: OpticalClass, most: Losses = MOST, usual: Losses = USUAL) -> Budget:
    """Weigh a drop against a class of optical distribution network; sums are rounded to a millionth of a dB."""
    most_db, usual_db = round(drop.loss_db(most), 6), round(drop.loss_db(usual), 6)
    return Budget(
        most_db,
        usual_db,
        round(optical.most_db - most_db, 6),
        max(0.0, round(optical.least_db - usual_db, 6)),
        {direction: _arrival(ends, most_db, usual_db) for direction, ends in optical.ends.items()},
    )


def _arrival(ends: Ends, most_db: float, usual_db: float) -> Arrival:
    low, high = round(ends.launch_least_dbm - most_db, 6), round(ends.launch_most_dbm - usual_db, 6)
    return Arrival(low, high, round(low - ends.sensitivity_dbm, 6), round(ends.overload_dbm - high, 6))


def splitting_db(ways: int) -> float:
    """Return what an ideal splitter of so many ways loses: the light is merely shared out."""
    return 10 * log10(ways)
