"""Properties that hold whatever the lines do."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fakes.office import WALL_S, line_questions, ns
from wanwatch.core.judge import SiteJudge
from wanwatch.core.judge.run import SLACK_NS
from wanwatch.core.model import (
    NS_PER_S,
    UNPINNED,
    Cause,
    Effect,
    Event,
    EventKind,
    JudgeSettings,
    Kind,
    Outcome,
    Question,
    Role,
    Sample,
    State,
    StateChanged,
    Tell,
)

UPLINKS = ("fibre", "copper")
WALL_NS = WALL_S * NS_PER_S
ADDRESSES = {"fibre": "192.0.2.10", "copper": "198.51.100.7"}

QUESTIONS: list[Question] = [
    question
    for uplink in (*UPLINKS, UNPINNED)
    for question in (
        *line_questions(uplink, ("near", "far")),
        *line_questions(uplink, ("stun-1",), every_s=5.0, role=Role.EGRESS, kind=Kind.STUN),
        *(line_questions(uplink, ("resolver-1",), every_s=5.0, role=Role.NAMES) if uplink != UNPINNED else ()),
    )
]


class Spell(NamedTuple):
    """How things are for a while: each line's mode, and what carries."""

    length_s: int
    fibre: str
    copper: str
    carrying: str


USUAL = JudgeSettings()
MODES = st.sampled_from(("alive", "alive", "dead", "dead", "blind", "shaky", "refusing"))
SPELLS = st.lists(
    st.builds(Spell, st.integers(1, 45), MODES, MODES, st.sampled_from((*UPLINKS, "none"))), min_size=1, max_size=9
)


def probe(question: Question, sent_ns: int, spell: Spell, turn: int) -> Sample:
    """What comes of one probe in a spell."""
    series = question.series
    uplink = spell.carrying if series.uplink == UNPINNED else series.uplink
    mode = "dead" if uplink == "none" else str(getattr(spell, uplink))
    wall_ns = sent_ns + WALL_NS
    if mode == "blind":
        return Sample(series, sent_ns, wall_ns, sent_ns, Outcome.NOT_SENT, cause=Cause.NOT_PERMITTED)
    if mode == "refusing":
        known_ns = sent_ns + ns(0.02)
        return Sample(series, sent_ns, wall_ns, known_ns, Outcome.REFUSED, ns(0.02), cause=Cause.NET_UNREACHABLE)
    if mode == "dead" or (mode == "shaky" and turn % 3 == 0):
        return Sample(series, sent_ns, wall_ns, sent_ns + question.timeout_ns, Outcome.LOST)
    rtt_ns = ns(0.01 if uplink == "fibre" else 0.03)
    facts = {"address": ADDRESSES[uplink]} if series.kind is Kind.STUN else None
    return Sample(series, sent_ns, wall_ns, sent_ns + rtt_ns, Outcome.ANSWERED, rtt_ns, facts=facts)


def samples(spells: Sequence[Spell]) -> list[Sample]:
    """All probes of these spells, in the order in which their outcomes become known."""
    ends_s, at_s = [], 0
    for spell in spells:
        at_s += spell.length_s
        ends_s.append(at_s)
    told = []
    for place, question in enumerate(QUESTIONS):
        sent_ns, turn = place * 37_000_000, place
        while sent_ns < at_s * NS_PER_S:
            spell = next(spell for spell, end_s in zip(spells, ends_s, strict=True) if sent_ns < end_s * NS_PER_S)
            told.append(probe(question, sent_ns, spell, turn))
            sent_ns, turn = sent_ns + question.every_ns, turn + 1
    return sorted(told, key=lambda sample: sample.known_ns)


def judged(told: Sequence[Sample], ticks_ns: Sequence[int] = (), settings: JudgeSettings = USUAL) -> list[Effect]:
    """What a judge makes of the samples, with one tick at the start, some in between and one an age later."""
    judge = SiteJudge("harbour-lane", UPLINKS, QUESTIONS, settings)
    effects = judge.tick(0, WALL_NS)
    waiting = sorted(ticks_ns)
    for sample in told:
        while waiting and waiting[0] < sample.known_ns:
            tick_ns = waiting.pop(0)
            effects += judge.tick(tick_ns, tick_ns + WALL_NS)
        effects += judge.feed(sample)
    end_ns = max((sample.known_ns for sample in told), default=0) + 60 * NS_PER_S
    return effects + judge.tick(end_ns, end_ns + WALL_NS)


def last_told(effects: Sequence[Effect]) -> dict[str, Event]:
    """Events as they were told last."""
    return {effect.event.id: effect.event for effect in effects if isinstance(effect, Tell)}


SLOW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@SLOW
@given(SPELLS)
def test_the_public_states_of_a_line_follow_each_other_without_overlap(spells: list[Spell]) -> None:
    """Each state begins when the one before it ends, never before that one began, and is another one."""
    effects = judged(samples(spells))
    for uplink in UPLINKS:
        told = [effect for effect in effects if isinstance(effect, StateChanged) and effect.uplink == uplink]
        for before, after in pairwise(told):
            assert after.since_unix_ns >= before.since_unix_ns
            assert after.state is not before.state


@SLOW
@given(SPELLS)
def test_the_bounds_of_every_event_are_in_order(spells: list[Spell]) -> None:
    """Earliest, estimate, latest; and nothing ends before it began."""
    for event in last_told(judged(samples(spells))).values():
        for bounds in (event.start, event.end):
            if bounds is not None:
                assert bounds.earliest_unix_ns <= bounds.estimate_unix_ns <= bounds.latest_unix_ns
        if event.end is not None:
            assert event.end.estimate_unix_ns >= event.start.estimate_unix_ns
        if event.interruption_s is not None:
            assert event.interruption_s >= 0


@SLOW
@given(SPELLS)
def test_outages_and_impairments_of_a_line_do_not_overlap(spells: list[Spell]) -> None:
    """An outage takes the place of an impairment, and one outage follows another."""
    events = last_told(judged(samples(spells))).values()
    for uplink in UPLINKS:
        own = [e for e in events if e.uplink == uplink and e.kind in (EventKind.OUTAGE, EventKind.IMPAIRMENT)]
        own.sort(key=lambda event: event.start.estimate_unix_ns)
        for before, after in pairwise(own):
            assert before.end is not None
            assert before.end.estimate_unix_ns <= after.start.estimate_unix_ns


@SLOW
@given(SPELLS)
def test_nothing_unobserved_becomes_up_or_down_without_evidence(spells: list[Spell]) -> None:
    """Between blindness and a verdict lies at least one conclusive probe of that very line."""
    judge = SiteJudge("harbour-lane", UPLINKS, QUESTIONS, JudgeSettings())
    heard: set[str] = set()

    def check(effects: Sequence[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, StateChanged) and effect.state is State.UNOBSERVED:
                heard.discard(effect.uplink)
            elif isinstance(effect, StateChanged):
                assert effect.uplink in heard

    for sample in samples(spells):
        check(judge.tick(sample.known_ns, sample.known_ns + WALL_NS))
        if sample.series.role is Role.LINE and sample.outcome is not Outcome.NOT_SENT:
            heard.add(sample.series.uplink)
        check(judge.feed(sample))


@SLOW
@given(SPELLS, st.lists(st.integers(0, 200 * NS_PER_S), max_size=60))
def test_more_ticks_make_no_other_events(spells: list[Spell], ticks_ns: list[int]) -> None:
    """What is decided depends on the samples and on time, not on when the judge is asked."""
    told = samples(spells)
    assert last_told(judged(told)) == last_told(judged(told, ticks_ns))


@SLOW
@given(SPELLS, st.randoms(use_true_random=False))
def test_the_order_of_simultaneous_samples_of_different_lines_changes_nothing(
    spells: list[Spell], order: object
) -> None:
    """Two lines whose news arrive at the same instant do not depend on each other."""
    # News is told late by less than the slack that the judge allows a busy machine, so that much of it coincides.
    late_ns = SLACK_NS // 2
    told = [sample._replace(known_ns=(sample.known_ns // late_ns + 1) * late_ns) for sample in samples(spells)]
    groups: dict[int, dict[str, list[Sample]]] = {}
    for sample in told:
        groups.setdefault(sample.known_ns, {}).setdefault(sample.series.uplink, []).append(sample)
    mixed = []
    for known_ns in sorted(groups):
        lines = list(UPLINKS)
        order.shuffle(lines)  # type: ignore[attr-defined]
        # The path of ordinary traffic is no line: its word is read against what the lines have shown by then.
        mixed += [sample for name in (*lines, UNPINNED) for sample in groups[known_ns].get(name, [])]
    straight = [
        sample
        for known_ns in sorted(groups)
        for name in (*UPLINKS, UNPINNED)
        for sample in groups[known_ns].get(name, [])
    ]
    assert last_told(judged(mixed)) == last_told(judged(straight))


SAMPLES = st.lists(
    st.tuples(
        st.sampled_from(QUESTIONS),
        st.integers(0, 600),
        st.integers(0, 60),
        st.sampled_from(tuple(Outcome)),
        st.sampled_from((None, *Cause)),
    ),
    max_size=200,
)


@SLOW
@given(SAMPLES)
def test_no_sequence_of_samples_makes_the_judge_fail(
    rows: list[tuple[Question, int, int, Outcome, Cause | None]],
) -> None:
    """Network trouble is data: any outcome, at any time, in any order of sending."""
    told = [
        Sample(
            question.series, tenth * ns(0.1), tenth * ns(0.1) + WALL_NS, (tenth + late) * ns(0.1), outcome,
            late * ns(0.1) if outcome is Outcome.ANSWERED else None, cause,
        )
        for question, tenth, late, outcome, cause in rows
    ]  # fmt: skip
    effects = judged(sorted(told, key=lambda sample: sample.known_ns))
    for uplink in UPLINKS:
        since = [e.since_unix_ns for e in effects if isinstance(e, StateChanged) and e.uplink == uplink]
        assert since == sorted(since)
