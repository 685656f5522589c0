"""The outbox's arithmetic: what an answer does to a letter that waits."""

import math
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.model import NS_PER_S
from wanwatch.core.notices import Answer, Kind, Letter, Notice, Post, PostState, Sent, answered

NOW = 1_790_000_000 * NS_PER_S
DAY = 86_400 * NS_PER_S
MINUTE = 60 * NS_PER_S
NOTICE = Notice("harbour-lane", "mailto:ops@example.net", Kind.BEGAN, "incident-outage-fibre-1", made_unix_ns=NOW)
POST = Post(notice=NOTICE, letter=Letter(NOTICE.id, NOTICE.to, subject="fibre is down", text="It is.\n"))


def test_a_letter_that_is_taken_is_done_and_says_by_which_line() -> None:
    """Taken is the receiver's word, with when and by which uplink."""
    done = answered(POST, Sent(Answer.TAKEN, "250 queued"), NOW + 5, "copper")
    assert done == replace(
        POST, state=PostState.TAKEN, tries=1, word="250 queued", settled_unix_ns=NOW + 5, uplink="copper"
    )


def test_a_letter_that_is_refused_is_never_tried_again() -> None:
    """A receiver's no is final, and kept with its words."""
    done = answered(POST, Sent(Answer.REFUSED, "550 no such box"), NOW + 5)
    assert (done.state, done.word, done.settled_unix_ns, done.uplink) == (
        PostState.REFUSED, "550 no such box", NOW + 5, None,
    )  # fmt: skip


def test_pauses_grow_to_half_an_hour() -> None:
    """RFC 5321 section 4.5.4.1: half an hour between tries, after some that may be closer."""
    post, pauses = POST, []
    for _ in range(9):
        post = answered(post, Sent(Answer.AGAIN, "no line is up"), NOW)
        pauses.append((post.next_try_unix_ns - NOW) / NS_PER_S)
    assert pauses == [15, 30, 60, 120, 240, 480, 960, 1800, 1800]


def test_a_receiver_may_ask_for_a_pause_of_its_own_but_not_for_silence() -> None:
    """RFC 9110 section 10.2.3 lets a server ask; nobody can silence a site for days."""
    asked = [answered(POST, Sent(Answer.AGAIN, "busy", s), NOW).next_try_unix_ns - NOW for s in (7, 0, 1e6)]
    assert asked == [7 * NS_PER_S, NS_PER_S, 30 * MINUTE]


def test_after_five_days_it_is_given_up() -> None:
    """RFC 5321 section 4.5.4.1: not before four or five days; nor while it was hardly tried, for want of a line."""
    early = answered(replace(POST, tries=240), Sent(Answer.AGAIN, "451 busy"), NOW + 5 * DAY - 1)
    hardly = answered(replace(POST, tries=18), Sent(Answer.AGAIN, "451 busy"), NOW + 9 * DAY)
    late = answered(replace(POST, tries=19), Sent(Answer.AGAIN, "451 busy"), NOW + 5 * DAY)
    assert early.state is hardly.state is PostState.WAITING
    assert (late.state, late.word) == (PostState.REFUSED, "given up after 20 tries: 451 busy")


@given(st.text(max_size=1000), st.integers(1, 10**6), st.one_of(st.none(), st.floats(0, 1e12)))
def test_whatever_a_receiver_says_is_one_printable_line(said: str, tries: int, asked_s: float | None) -> None:
    """Strangers' words end in a terminal, a log and a page: no control characters, no length without end."""
    post = answered(replace(POST, tries=tries), Sent(Answer.AGAIN, said, asked_s), NOW)
    assert post.word.isprintable()
    assert len(post.word) <= 300
    assert NOW <= post.next_try_unix_ns <= NOW + 30 * MINUTE
    assert math.isfinite(post.next_try_unix_ns)


def test_an_id_says_what_is_told_and_hides_the_address() -> None:
    """A webhook's URL may be a key; the id goes to logs and lists."""
    hook = replace(NOTICE, to="https://hooks.example.net/secret-path")
    assert hook.id.startswith("incident-outage-fibre-1/began-1/")
    assert "secret-path" not in hook.id
    assert len({NOTICE.id, hook.id, replace(NOTICE, site="mill").id, replace(NOTICE, count=2).id}) == 4
    assert replace(NOTICE, made_unix_ns=1).id == NOTICE.id
