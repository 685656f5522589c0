"""What people are told of whole stories, as the judge tells them: late, again, and one event after the other."""

from collections import deque
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC

from tests.fakes.office import WALL_S, Office, Way, full_questions
from wanwatch.config.noticing import Notice as Table
from wanwatch.core.judge import SiteJudge
from wanwatch.core.model import NS_PER_S, Event, JudgeSettings, Tell
from wanwatch.core.notices import Kind, Letter, Notice, Terms, cases, wanted
from wanwatch.publish.letters import Office as Where
from wanwatch.publish.letters import write
from wanwatch.publish.letters.advice import AT_ONCE, BY_SIGN, CUT_OFF

TO = "mailto:ops@example.net"
TERMS = Table(to=TO).terms("s", UTC, 0)
"""What an address gets whose table says nothing but where it is."""
LOOK_EVERY_S = 5


def told(until_s: int, terms: Terms = TERMS, **story: object) -> list[tuple[int, Kind, Letter]]:
    """What the address is told of a story, with the second in which it is."""
    ways = {"fibre": Way(address="192.0.2.10"), "copper": Way(rtt_s=0.03, address="198.51.100.20")}
    cuts = story.pop("cuts", {})
    assert isinstance(cuts, dict)
    for name, spans in cuts.items():
        ways[name].cuts = spans
    questions = full_questions()
    judge = SiteJudge("s", ["fibre", "copper"], questions, JudgeSettings())
    office = Office(judge, ways, questions, tick_s=0.5, **story).run(until_s)  # type: ignore[arg-type]
    notices: list[Notice] = []
    found = []
    last: dict[str, Event] = {}
    tellings = deque((at_s, effect.event) for at_s, effect in office.effects if isinstance(effect, Tell))
    for second in range(0, until_s, LOOK_EVERY_S):
        while tellings and tellings[0][0] <= second:
            event = tellings.popleft()[1]
            last[event.id] = event
        known = cases(last.values())
        for notice in wanted(known, notices, terms, (WALL_S + second) * NS_PER_S):
            notices.append(notice)
            found.append((second, notice.kind, write(notice, known, Where("s", UTC))))
    return found


def brief(found: Sequence[tuple[int, Kind, Letter]]) -> list[tuple[Kind, str]]:
    return [(kind, letter.subject) for _, kind, letter in found]


def test_a_failover_and_its_failback_are_told_in_two_letters() -> None:
    """The commonest story: the fibre breaks for five minutes, traffic moves and comes back."""
    found = told(900, cuts={"fibre": [(100, 400)]}, moves=[(0, "fibre"), (115, "copper"), (445, "fibre")])
    assert brief(found) == [
        (Kind.BEGAN, "s: fibre is down on the access line"),
        (Kind.ENDED, "s: over: fibre was down on the access line for 5 min 00 s"),
    ]
    (began_s, _, began), (ended_s, _, ended) = found
    assert began_s == 130
    assert 445 + 120 <= ended_s <= 445 + 130
    assert began.text.startswith(
        "fibre is down on the access line; traffic moved to copper and has not come back; people were cut off for 15."
    )
    assert "traffic moved to copper and came back" in ended.text


def test_the_power_fails_and_both_lines_are_told_in_one_letter() -> None:
    """Lines that fall at once are one notice, with what to do about both."""
    down = [(100, 300)]
    found = told(700, cuts={"fibre": down, "copper": down})
    assert [kind for _, kind, _ in found] == [Kind.BEGAN, Kind.ENDED]
    text = found[0][2].text
    assert "In trouble: fibre, copper\n" in text
    assert CUT_OFF in text
    assert AT_ONCE in text


def test_the_second_line_fails_in_silence_and_then_the_first_one_does() -> None:
    """What people have to know is told each time: that nothing is behind, that nothing is left, what is back."""
    found = told(800, cuts={"copper": [(100, 800)], "fibre": [(300, 500)]})
    assert [kind for _, kind, _ in found] == [Kind.BEGAN, Kind.WORSE, Kind.BETTER]
    assert [letter.facts["lines"] for _, _, letter in found] == [["copper"], ["copper", "fibre"], ["copper"]]
    assert found[1][0] == 330


def test_a_gateway_that_does_not_move_is_told_as_stuck_in_the_first_letter() -> None:
    """Half a minute is when a failover that has not come counts as stuck; somebody has to act."""
    found = told(500, cuts={"fibre": [(100, 300)]})
    assert [kind for _, kind, _ in found][:1] == [Kind.BEGAN]
    assert any(BY_SIGN[0][1] in letter.text for _, _, letter in found[:2])


def test_a_blink_is_one_letter_when_it_is_over() -> None:
    """Twelve seconds without the line, and half a minute until it is known to be back."""
    minute = replace(TERMS, begin_after_ns=60 * NS_PER_S)
    found = told(400, minute, cuts={"fibre": [(100, 112)]})
    assert brief(found) == [(Kind.PASSED, "s: passed: fibre was down on the access line for 12.0 s")]


def test_a_line_that_flaps_for_twenty_minutes_is_told_a_few_times() -> None:
    """A cut of 20 s every 2 minutes makes ten outages and four letters."""
    cuts = [(start, start + 20) for start in range(100, 1300, 120)]
    found = told(2300, cuts={"fibre": cuts})
    assert len(found) <= 4
    assert found[-1][1] in {Kind.ENDED, Kind.PASSED}
