"""The judge's tables have no gaps, and hold the rules that they were written for."""

from wanwatch.core.judge import carrying, flapping, line
from wanwatch.core.judge.hand import Hand
from wanwatch.core.judge.switch import CAUSES, VERDICTS, Way, classify, way
from wanwatch.core.model import SWITCHES, EventKind, State


def test_every_phase_of_a_line_has_a_row_for_every_signal() -> None:
    """The line machine knows what to do with any evidence in any phase."""
    assert set(line.TRANSITIONS) == set(line.Phase)
    for row in line.TRANSITIONS.values():
        assert set(row) == set(line.Signal)
    assert set(line.PUBLIC) == set(line.Phase)


def test_every_phase_of_a_line_can_be_reached_and_left() -> None:
    """No phase is a trap and none is idle."""
    for phase in line.Phase:
        assert any(phase in row.values() for other, row in line.TRANSITIONS.items() if other is not phase)
        assert set(line.TRANSITIONS[phase].values()) != {phase}


def test_no_line_is_up_or_down_without_evidence() -> None:
    """From blindness, only life leads to up, and only silence that lasted leads to down."""
    for phase in (line.Phase.BLIND, line.Phase.DIM):
        for signal, after in line.TRANSITIONS[phase].items():
            if line.PUBLIC[after] is State.UP:
                assert signal is line.Signal.LIFE
            if line.PUBLIC[after] is State.DOWN:
                assert (phase, signal) == (line.Phase.DIM, line.Signal.EXPIRED)


def test_a_line_that_is_down_comes_up_only_by_proof() -> None:
    """One answer does not end an outage."""
    ways = [
        (phase, signal)
        for phase, row in line.TRANSITIONS.items()
        for signal, after in row.items()
        if line.PUBLIC[phase] is State.DOWN and line.PUBLIC[after] is State.UP
    ]
    assert ways == [(line.Phase.PROVING, line.Signal.PROVED)]


def test_blindness_makes_every_phase_blind() -> None:
    """What is not watched is not claimed."""
    assert {row[line.Signal.BLINDED] for row in line.TRANSITIONS.values()} == {line.Phase.BLIND}


def test_every_phase_of_carrying_has_a_row_for_every_signal() -> None:
    """The carrying machine knows what to do with any words in any phase."""
    assert set(carrying.TRANSITIONS) == set(carrying.Phase)
    for row in carrying.TRANSITIONS.values():
        assert set(row) == set(carrying.Signal)


def test_every_phase_of_flapping_has_a_row_for_every_signal_and_only_many_changes_begin_a_spell() -> None:
    """One spell is one event: within it nothing but quiet changes anything."""
    assert set(flapping.TRANSITIONS) == set(flapping.Phase)
    moves = {
        (phase, signal) for phase, row in flapping.TRANSITIONS.items() for signal in row if row[signal] is not phase
    }
    assert all(set(row) == set(flapping.Signal) for row in flapping.TRANSITIONS.values())
    assert moves == {
        (flapping.Phase.CALM, flapping.Signal.MANY),
        (flapping.Phase.FLAPPING, flapping.Signal.QUIET),
    }


def test_a_lasting_dispute_ends_in_not_knowing() -> None:
    """Two witnesses that disagree make it unknown, not a guess."""
    assert carrying.TRANSITIONS[carrying.Phase.DISPUTED][carrying.Signal.TIRED] is carrying.Phase.UNKNOWN
    assert carrying.TRANSITIONS[carrying.Phase.UNKNOWN][carrying.Signal.SPLIT] is carrying.Phase.UNKNOWN


def test_every_switch_has_a_verdict_and_a_cause() -> None:
    """The classification has no gap, and names switches only."""
    assert set(VERDICTS) == set(CAUSES) == set(State)
    for row in VERDICTS.values():
        assert len(row) == len(Way)
        assert set(row) <= SWITCHES
    for causes in CAUSES.values():
        assert len(causes) == len(Hand)
        assert set(causes) <= {"line-down", "line-impaired", "by-hand", "unknown"}


def test_switches_are_classified_by_what_the_line_left_behind_was() -> None:
    """Leaving a line that was up for a less preferred one is needless; coming home is a failback."""
    order = ("fibre", "copper", "radio")
    assert classify(State.DOWN, way(order, "fibre", "copper")) is EventKind.FAILOVER
    assert classify(State.IMPAIRED, way(order, "fibre", "radio")) is EventKind.FAILOVER
    assert classify(State.UP, way(order, "fibre", "copper")) is EventKind.NEEDLESS_FAILOVER
    assert classify(State.UP, way(order, "copper", "fibre")) is EventKind.FAILBACK
    assert classify(State.IMPAIRED, way(order, "radio", "copper")) is EventKind.FAILBACK
    assert classify(State.DOWN, way(order, "copper", "fibre")) is EventKind.FAILOVER
    assert classify(State.UNOBSERVED, way(order, "fibre", "copper")) is EventKind.FAILOVER
    assert classify(State.DOWN, way(order, "fibre", None)) is EventKind.BLACKOUT
    assert classify(State.UNOBSERVED, way(order, None, "fibre")) is EventKind.RESTORATION
