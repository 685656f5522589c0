"""The courier: what it does with a letter that nobody takes, or by the wrong line, or while it is stopped."""

import asyncio
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest

from tests.fakes.clock import START_UNIX_NS, FakeClock
from tests.publish.notices.posts import Box, line, post_to
from wanwatch.core.notices import Answer, Post, PostState, Sent
from wanwatch.publish.notices.courier import Courier, named
from wanwatch.publish.ways import Line

TAKEN, AGAIN, REFUSED = (Sent(answer, f"said {answer}") for answer in Answer)
BOTH = (line("fibre"), line("copper"))
HOOK = "https://hook.example.net/in?key=sesame"


class Sender:
    """Answers as it is told, by line or by receiver, and notes what it was asked to send."""

    def __init__(self, answers: Callable[[Post, Line], Sent]) -> None:
        self.answers = answers
        self.sent: list[tuple[str, str]] = []

    async def __call__(self, post: Post, by: Line) -> Sent:
        """Try once."""
        self.sent.append((post.letter.subject, by.name))
        await asyncio.sleep(0)
        return self.answers(post, by)


@asynccontextmanager
async def running(
    box: Box, send: Sender, lines: Sequence[Line] | Callable[[], Sequence[Line]] = BOTH,
    shown: list[tuple[int, int | None]] | None = None, clock: FakeClock | None = None, settled: Sequence[Post] = (),
) -> AsyncIterator[Courier]:  # fmt: skip
    """A courier at work, and stopped at the end."""
    show = shown if shown is not None else []
    courier = Courier(
        box, box.waiting, send, lines=lines if callable(lines) else lambda: lines,
        show=lambda number, oldest: show.append((number, oldest)), clock=clock or FakeClock(),
        settled=settled,
    )  # fmt: skip
    task = asyncio.create_task(courier.run())
    try:
        yield courier
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def until(true: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 5
    while not true():
        assert time.monotonic() < deadline
        await asyncio.sleep(0.005)


async def test_letters_go_in_order_by_the_first_line_once_each() -> None:
    """In the order in which they were made; what was taken is kept, with the line, and not sent again."""
    box = Box(*(post_to(number=number) for number in range(5)))
    send = Sender(lambda *_: TAKEN)
    async with running(box, send) as courier:
        await until(lambda: set(box.states()) == {PostState.TAKEN})
        courier.wake()
        await asyncio.sleep(0.02)
    assert send.sent == [(f"letter {number}", "fibre") for number in range(5)]
    assert {post.uplink for post in box.posts.values()} == {"fibre"}
    async with running(box, send):
        await asyncio.sleep(0.02)
    assert len(send.sent) == 5


async def test_what_was_taken_is_known_to_the_next_courier_before_it_is_on_the_disk() -> None:
    """A reload makes a new one, and a disk may be full: it must not send again what its forerunner has brought."""
    box, send = Box(post_to()), Sender(lambda *_: TAKEN)
    box.slow_s = 60.0
    async with running(box, send) as first:
        await until(lambda: bool(first.settled))
    async with running(box, send, settled=first.settled):
        await asyncio.sleep(0.02)
    assert send.sent == [("letter 1", "fibre")]


async def test_what_does_not_go_by_one_line_goes_by_the_next() -> None:
    """A line that is up may still lead to no mail server."""

    def answers(_: Post, by: Line) -> Sent:
        if by.name == "fibre":
            raise ConnectionResetError
        return TAKEN

    box, send = Box(post_to()), Sender(answers)
    async with running(box, send):
        await until(lambda: box.states() == [PostState.TAKEN])
    assert send.sent == [("letter 1", "fibre"), ("letter 1", "copper")]
    assert next(iter(box.posts.values())).uplink == "copper"


@pytest.mark.parametrize(
    ("said", "becomes"),
    [
        ({"fibre": REFUSED, "copper": TAKEN}, (PostState.TAKEN, "said taken")),
        ({"fibre": REFUSED, "copper": AGAIN}, (PostState.WAITING, "said again")),
        ({"fibre": AGAIN, "copper": REFUSED}, (PostState.WAITING, "said again")),
        ({"fibre": REFUSED}, (PostState.REFUSED, "said refused")),
        ({"copper": REFUSED}, (PostState.REFUSED, "said refused")),
        ({}, (PostState.WAITING, "by copper: no answer in time")),
    ],
)
async def test_a_letter_is_refused_only_where_nobody_would_take_it_later(
    said: dict[str, Sent], becomes: tuple[PostState, str]
) -> None:
    """A server may take letters of its own customers only, so a refusal by one line is none by another.

    A receiver's word weighs more than silence on the other line, which may block the server's port for good.
    """

    def answers(_: Post, by: Line) -> Sent:
        if by.name not in said:
            raise TimeoutError
        return said[by.name]

    box = Box(post_to())
    async with running(box, Sender(answers)):
        await until(lambda: next(iter(box.posts.values())).tries == 1)
    (post,) = box.posts.values()
    assert (post.state, post.word) == becomes


async def test_a_bad_receiver_holds_up_nobody_else() -> None:
    """Its own letters wait behind the first, so that they arrive in order; all others go."""
    bad, good = "mailto:bad@example.net", "mailto:good@example.net"
    box = Box(post_to(bad, number=1), post_to(good, number=2), post_to(bad, number=3), post_to(HOOK, number=4))
    send = Sender(lambda post, _: AGAIN if post.letter.to == bad else TAKEN)
    async with running(box, send):
        await until(lambda: box.states().count(PostState.TAKEN) == 2)
        await asyncio.sleep(0.05)
    assert [what for what, _ in send.sent].count("letter 1") == 2  # by either line
    assert "letter 3" not in [what for what, _ in send.sent]


async def test_while_all_lines_are_down_letters_are_kept_and_go_when_one_comes() -> None:
    """Nothing is tried meanwhile, so nothing is counted against them."""
    box, send, lines = Box(post_to(number=1), post_to(number=2)), Sender(lambda *_: TAKEN), list[Line]()
    async with running(box, send, lambda: lines) as courier:
        await asyncio.sleep(0.05)
        assert not send.sent
        lines.append(line("copper"))
        courier.line_came()
        await until(lambda: set(box.states()) == {PostState.TAKEN})
    assert send.sent == [("letter 1", "copper"), ("letter 2", "copper")]
    assert {post.tries for post in box.posts.values()} == {1}


async def test_a_line_that_comes_ends_the_wait_for_silence_but_not_for_a_receiver_that_asked() -> None:
    """RFC 9110 section 10.2.3: who asks for patience gets it."""
    asks = Sent(Answer.AGAIN, "later", 900.0)
    silent = True

    def answers(post: Post, _: Line) -> Sent:
        if post.letter.to == HOOK:
            return asks
        if silent:
            raise TimeoutError
        return TAKEN

    box, send = Box(post_to(number=1), post_to(HOOK, number=2)), Sender(answers)
    async with running(box, send, [line("fibre")]) as courier:
        await until(lambda: len(send.sent) == 2)
        await asyncio.sleep(0.02)
        silent = False
        courier.line_came()
        await until(lambda: box.states()[0] is PostState.TAKEN)
        await asyncio.sleep(0.02)
    assert sorted(send.sent) == [("letter 1", "fibre"), ("letter 1", "fibre"), ("letter 2", "fibre")]


async def test_a_clock_that_was_set_back_makes_nothing_wait_for_long() -> None:
    """The next try stands by the wall clock in the record; the longest pause bounds the wait all the same."""
    clock = FakeClock()
    box = Box(post_to())
    (post,) = box.posts.values()
    courier = Courier(
        box, box.waiting, Sender(lambda *_: TAKEN), lines=lambda: [line()], show=lambda *_: None, clock=clock
    )
    slept: list[float] = []

    async def noted(seconds: float) -> None:
        slept.append(seconds)

    courier._line_or = noted  # type: ignore[method-assign]
    await courier._until_due(replace(post, next_try_unix_ns=clock.now_unix_ns() + 10**18))
    assert slept == [1800.0]


async def test_who_has_mended_something_need_not_wait() -> None:
    """After a reload of the configuration what was put off is tried at once."""
    later = replace(post_to(), next_try_unix_ns=START_UNIX_NS + 600 * 10**9)
    for at_once, state in ((False, PostState.WAITING), (True, PostState.TAKEN)):
        box = Box(later)
        courier = Courier(
            box, box.waiting, Sender(lambda *_: TAKEN), lines=lambda: [line()], show=lambda *_: None,
            clock=FakeClock(), at_once=at_once,
        )  # fmt: skip
        task = asyncio.create_task(courier.run())
        await asyncio.sleep(0.05)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        assert box.states() == [state]


async def test_how_many_wait_and_since_when_is_shown() -> None:
    """For the metrics: nothing waits once the last one is taken."""
    shown: list[tuple[int, int | None]] = []
    box = Box(post_to(number=1), post_to(number=2))
    async with running(box, Sender(lambda *_: TAKEN), shown=shown):
        await until(lambda: shown[-1:] == [(0, None)])
    assert shown[:2] == [(2, START_UNIX_NS + 1), (1, START_UNIX_NS + 2)]


async def test_a_fault_of_ours_stops_no_other_letter(caplog: pytest.LogCaptureFixture) -> None:
    """It is logged with its traceback, and the letter is kept."""

    def answers(post: Post, _: Line) -> Sent:
        if post.letter.to == HOOK:
            raise ZeroDivisionError
        return TAKEN

    box = Box(post_to(HOOK, number=1), post_to(number=2))
    async with running(box, Sender(answers), [line()]):
        await until(lambda: box.states() == [PostState.WAITING, PostState.TAKEN] and bool(box.posts))
        await until(lambda: next(iter(box.posts.values())).tries == 1)
    assert "ZeroDivisionError" in caplog.text
    assert "sesame" not in caplog.text


async def test_an_outbox_that_cannot_be_read_is_looked_into_again(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The courier outlives whatever it meets."""
    monkeypatch.setattr("wanwatch.publish.notices.courier.LOOK_EVERY_S", 0.02)
    box, fails = Box(post_to()), [KeyError("broken row"), KeyError("broken row")]

    async def waiting() -> Sequence[Post]:
        if fails:
            raise fails.pop()
        return await box.waiting()

    courier = Courier(
        box, waiting, Sender(lambda *_: TAKEN), lines=lambda: [line()], show=lambda *_: None, clock=FakeClock()
    )
    task = asyncio.create_task(courier.run())
    await until(lambda: box.states() == [PostState.TAKEN])
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert caplog.text.count("a fault of this program") == 2


async def test_what_was_taken_while_we_are_stopped_is_kept(caplog: pytest.LogCaptureFixture) -> None:
    """A receiver that is about to answer is waited for, briefly, and its word is kept: nothing is sent twice."""
    box = Box(post_to(number=1), post_to(number=2))
    box.slow_s = 0.05
    courier_sees = asyncio.Event()

    async def slow(post: Post, by: Line) -> Sent:
        del post, by
        courier_sees.set()
        await asyncio.sleep(0.05)
        return TAKEN

    courier = Courier(box, box.waiting, slow, lines=lambda: [line()], show=lambda *_: None, clock=FakeClock())
    task = asyncio.create_task(courier.run())
    await courier_sees.wait()
    task.cancel()
    begun = time.monotonic()
    await asyncio.gather(task, return_exceptions=True)
    assert time.monotonic() - begun < 1.0
    assert box.states() == [PostState.TAKEN, PostState.WAITING]
    assert not caplog.records


async def test_who_does_not_answer_does_not_keep_us_from_stopping() -> None:
    """Within the two seconds that a stop may take; the letter is sent after the next start."""
    box = Box(post_to())

    async def never(post: Post, by: Line) -> Sent:
        del post, by
        await asyncio.sleep(60)
        return TAKEN

    courier = Courier(box, box.waiting, never, lines=lambda: [line()], show=lambda *_: None, clock=FakeClock())
    task = asyncio.create_task(courier.run())
    await asyncio.sleep(0.02)
    begun = time.monotonic()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert time.monotonic() - begun < 1.0
    assert box.states() == [PostState.WAITING]


async def test_trouble_and_its_end_are_told_once(caplog: pytest.LogCaptureFixture) -> None:
    """By the receiver's name, without what may be a key; a refusal each time."""
    said = iter([None, None, TAKEN, REFUSED])

    def answers(*_: object) -> Sent:
        if (sent := next(said)) is None:
            raise TimeoutError
        return sent

    box = Box(post_to(HOOK, number=1), post_to(HOOK, number=2))
    async with running(box, Sender(answers), [line()]) as courier:
        for tries in (1, 2):
            await until(lambda tries=tries: next(iter(box.posts.values())).tries == tries)  # type: ignore[misc]
            await asyncio.sleep(0.01)
            courier.line_came()
        await until(lambda: box.states() == [PostState.TAKEN, PostState.REFUSED])
    assert [record.getMessage() for record in caplog.records] == [
        "notices to https://hook.example.net: by fibre: no answer in time; they are kept, and it is tried again",
        "notices to https://hook.example.net: they arrive again",
        "notices to https://hook.example.net: one was refused, and is not sent again: said refused",
    ]


def test_an_address_is_named_without_what_may_be_a_key() -> None:
    """A webhook's path is often all that keeps strangers out."""
    assert named(HOOK) == "https://hook.example.net"
    assert named("mailto:ops@example.net") == "ops@example.net"
