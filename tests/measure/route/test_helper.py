"""The helper process: what goes in and comes out of it, and what the daemon's side makes of a helper that fails."""

import errno
import os
import sys

import pytest

from wanwatch.core.model import Cause, Pin
from wanwatch.measure.route import (
    Dhcp,
    Failed,
    FindDhcp,
    FindMtu,
    FindPppoe,
    Hop,
    Method,
    Mtu,
    Pppoe,
    Trace,
    Traced,
    ask,
)
from wanwatch.measure.route import __main__ as helper_process
from wanwatch.measure.route.protocol import Answer, BadWordsError, Offers, Question, dump, read_answers, read_questions

PIN = Pin(interface="eth0", sources=("192.0.2.10", "2001:db8::10"), mark=7, dscp=46)
QUESTIONS: list[Question] = [
    Trace("192.0.2.1", PIN, Method.TCP, port=443, most=4, wait_ns=5, flow=1),
    FindMtu("2001:db8::1", Pin(targets=True), largest=9000, flow=2),
    FindPppoe("eth0"),
    FindDhcp("eth1"),
]
ANSWERS: list[Answer] = [
    Traced((Hop(1, "192.0.2.1", 5), Hop(2)), reached=False, source="192.0.2.10"),
    Mtu(1492, limited=True, black_hole=False, told_by=("192.0.2.1",)),
    Offers(
        pppoe=(Pppoe("02:00:00:00:00:01", "concentrator", ("", "internet")),),
        dhcp=(Dhcp("192.0.2.1", "192.0.2.9", None, ("192.0.2.1",), (), 3600),),
    ),
    Failed(Cause.NOT_PERMITTED, "Operation not permitted"),
]


def test_questions_and_answers_survive_the_pipe() -> None:
    """Both sides of the helper read what the other one wrote, pins with all their parts."""
    assert read_questions(dump(QUESTIONS)) == QUESTIONS
    assert read_answers(dump(ANSWERS)) == ANSWERS


@pytest.mark.parametrize(
    "said",
    [b"", b"{}", b"3", b"[3]", b"[{}]", b'[{"is": "Hop"}]', b'[{"is": "Mtu", "size": "big"}]', b"\xff", b"[null]"],
)
def test_words_that_make_no_sense_are_an_error_of_their_own(said: bytes) -> None:
    """Whatever a broken helper prints, one kind of error comes of it."""
    with pytest.raises(BadWordsError):
        read_answers(said)


@pytest.mark.parametrize(
    ("program", "why"),
    [
        ("import sys; sys.exit('no scapy here')", "the helper process failed: no scapy here"),
        ("print('[]')", "the helper process answered in part"),
        ("print('nonsense')", "the helper process failed: 0"),
    ],
)
async def test_a_helper_that_fails_is_an_answer(program: str, why: str) -> None:
    """Nothing raises: what could not be measured says why."""
    answers = await ask(QUESTIONS[:2], command=[sys.executable, "-c", program])
    assert answers == [Failed(Cause.ERROR, why)] * 2


async def test_a_helper_that_does_not_exist_is_an_answer() -> None:
    """As is one that cannot be started."""
    (answer,) = await ask(QUESTIONS[:1], command=["/nonexistent/python"])
    assert answer == Failed(Cause.ERROR, "the helper process does not start: No such file or directory")


async def test_nothing_asked_starts_nothing() -> None:
    """Half a second of loading is not spent on no question."""
    assert await ask([], command=["/nonexistent/python"]) == []


async def test_a_real_helper_answers_for_an_interface_that_is_not_there() -> None:
    """The whole process runs, and tells why it could not ask."""
    if os.geteuid():
        pytest.skip("raw sockets need CAP_NET_RAW")
    answers = await ask([Trace("192.0.2.1", Pin(interface="nowhere0")), FindPppoe("nowhere0")])
    assert answers == [Failed(Cause.NO_INTERFACE, "No such device")] * 2


def test_what_is_not_permitted_is_told_with_what_it_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    """An admin who runs a command as nobody in particular learns why nothing was traced."""

    def refused(_question: Question) -> Answer:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setitem(helper_process._WAYS, FindDhcp, refused)
    told = helper_process.answer(FindDhcp("eth0"))
    assert told == Failed(Cause.NOT_PERMITTED, "Operation not permitted (raw sockets take CAP_NET_RAW, as root has)")


async def test_the_helper_needs_no_home() -> None:
    """A service has none that it may write to; the program's own libraries must not insist on one."""
    command = ["env", "-i", f"PYTHONPATH={os.getcwd()}", "HOME=/proc", "XDG_CACHE_HOME=/proc", sys.executable]  # noqa: PTH109 - as a word
    (answer,) = await ask([FindPppoe("nowhere0")], command=[*command, "-P", "-m", "wanwatch.measure.route"])
    assert isinstance(answer, Failed)
    assert answer.cause in {Cause.NO_INTERFACE, Cause.NOT_PERMITTED}
