"""The loss budget of a fibre drop, against published limits and arithmetic from them.

Sources: ITU-T G.984.2 (2006 Amendment 1 and the 2019 edition, from pages that restate them; class ranges, optical
penalties and the exchange's sensitivity in class C+ from memory); ITU-T G.652, G.657 (attenuation, bend radii);
TIA-568 (0.75 dB a mated pair; 0.3 dB a splice, from memory); The Fiber Optic Association's page on loss budgets
(typical values). Budgets are arithmetic from these.
"""

import pytest

from wanwatch.core.account.light import (
    BEND_RADIUS_MM,
    CLASSES,
    MOST,
    Direction,
    Drop,
    Level,
    Losses,
    budget,
    splitting_db,
)

FOA = Losses(fibre_db_a_km=0.4, connector_db=0.5, splice_db=0.15)
PON = {"connectors": 4, "splices": 6, "split": 32, "splitter_db": 17.5}


@pytest.mark.parametrize(
    ("received_dbm", "b_plus", "c_plus"),
    [
        (-20.0, Level.OK, Level.OK),
        (-27.0, Level.OK, Level.OK),
        (-27.1, Level.TOO_LOW, Level.OK),
        (-30.1, Level.TOO_LOW, Level.TOO_LOW),
        (-7.9, Level.OVERLOAD, Level.OVERLOAD),
        (-8.0, Level.OK, Level.OK),
    ],
)
def test_a_level_at_the_terminal_is_judged_by_its_class(received_dbm: float, b_plus: Level, c_plus: Level) -> None:
    """G.984.2: the terminal hears from -27 dBm (B+) or -30 dBm (C+) up to -8 dBm, both limits included."""
    said = [CLASSES[name].ends[Direction.DOWN].says(received_dbm) for name in ("B+", "C+")]
    assert said == [b_plus, c_plus]


@pytest.mark.parametrize(("name", "penalty_db"), [("B+", 0.5), ("C+", 1.0)])
def test_the_classes_agree_with_themselves(name: str, penalty_db: float) -> None:
    """Weakest launch less most loss less the penalty is the sensitivity; strongest launch less least loss, overload."""
    optical = CLASSES[name]
    down = optical.ends[Direction.DOWN]
    assert down.launch_least_dbm - optical.most_db - penalty_db == down.sensitivity_dbm
    up = optical.ends[Direction.UP]
    assert up.launch_most_dbm - optical.least_db == up.overload_dbm


@pytest.mark.parametrize(
    ("drop", "losses", "expected_db"),
    [
        (Drop(length_km=10, connectors=2, splices=4), MOST, 6.7),
        (Drop(length_km=10, connectors=2, splices=4), FOA, 5.6),
        (Drop(length_km=12, **PON), MOST, 27.1),  # type: ignore[arg-type]
        (Drop(length_km=15, **PON), MOST, 28.3),  # type: ignore[arg-type]
    ],
)
def test_the_loss_of_a_drop_is_the_sum_of_its_parts(drop: Drop, losses: Losses, expected_db: float) -> None:
    """Kilometres, connectors, splices and the splitter, each by its allowance."""
    assert drop.loss_db(losses) == pytest.approx(expected_db, abs=1e-9)


def test_a_drop_within_its_class_has_a_margin() -> None:
    """27.1 dB leaves 0.9 dB of class B+; +1.5 dBm then arrive as -25.6 dBm, 1.4 dB above the sensitivity."""
    found = budget(Drop(length_km=12, **PON), CLASSES["B+"])  # type: ignore[arg-type]
    down = found.arrivals[Direction.DOWN]
    assert (found.most_db, found.spare_db) == (27.1, 0.9)
    assert (down.low_dbm, down.margin_db, down.level) == (-25.6, 1.4, Level.OK)


def test_three_kilometres_more_are_over_one_class_and_within_the_next() -> None:
    """28.3 dB is 0.3 dB over class B+ and well within class C+."""
    drop = Drop(length_km=15, **PON)  # type: ignore[arg-type]
    assert budget(drop, CLASSES["B+"]).spare_db == -0.3
    assert budget(drop, CLASSES["C+"]).spare_db == 3.7


def test_too_little_loss_wants_an_attenuator() -> None:
    """5 dB on class B+ is 8 dB under the least that it is made for, and +5 dBm would arrive as 0 dBm."""
    found = budget(Drop(length_km=0, splitter_db=5.0), CLASSES["B+"])
    assert found.attenuator_db == 8.0
    assert found.arrivals[Direction.DOWN].level is Level.OVERLOAD


@pytest.mark.parametrize(("ways", "expected_db"), [(1, 0), (2, 3.0103), (8, 9.0309), (32, 15.0515), (64, 18.0618)])
def test_an_ideal_splitter_only_shares_the_light_out(ways: int, expected_db: float) -> None:
    """Ten times the decimal logarithm of the ways."""
    assert splitting_db(ways) == pytest.approx(expected_db, abs=5e-5)


def test_the_bend_radii_are_the_recommendations() -> None:
    """G.652: 30 mm; G.657: 10 mm (A1), 7.5 mm (A2 and B2), 5 mm (B3)."""
    assert BEND_RADIUS_MM == {"G.652": 30.0, "G.657.A1": 10.0, "G.657.A2": 7.5, "G.657.B2": 7.5, "G.657.B3": 5.0}
