"""The daemon's side: start the helper process, hand it the questions, and take its answers."""

import asyncio
import sys
from collections.abc import Sequence
from typing import Final

from wanwatch.core.model import NS_PER_S, Cause
from wanwatch.measure.route.protocol import Answer, BadWordsError, Failed, FindMtu, Question, dump, read_answers
from wanwatch.process import end, last_line, start

COMMAND: Final = (sys.executable, "-P", "-m", "wanwatch.measure.route")
_START_S: Final = 20.0
"""For the helper to load, also on a slow and busy machine."""
_MTU_PROBES: Final = 3 * 14
"""Bisection from 576 to 9216 bytes takes 14 steps; each may be tried three times."""


async def ask(questions: Sequence[Question], *, command: Sequence[str] = COMMAND) -> list[Answer]:
    """Ask the helper process these *questions*, one after the other.

    Returns:
        One answer for each, in their order. If the helper does not start, does not end or does not make sense, every
        answer is a `Failed` that says so.
    """
    if not questions:
        return []
    try:
        process = await start(command, stdin=asyncio.subprocess.PIPE)
    except OSError as error:
        return _failed(questions, f"the helper process does not start: {error.strerror}")
    try:
        async with asyncio.timeout(_START_S + sum(_longest_s(question) for question in questions)):
            said, grumbled = await process.communicate(dump(questions))
        answers = read_answers(said)
    except TimeoutError:
        return _failed(questions, "the helper process did not end")
    except BadWordsError:
        why = last_line(grumbled, str(process.returncode))
        return _failed(questions, f"the helper process failed: {why}")
    finally:
        await end(process)
    return answers if len(answers) == len(questions) else _failed(questions, "the helper process answered in part")


def _longest_s(question: Question) -> float:
    attempts = _MTU_PROBES if isinstance(question, FindMtu) else 3
    return attempts * question.wait_ns / NS_PER_S


def _failed(questions: Sequence[Question], why: str) -> list[Answer]:
    return [Failed(Cause.ERROR, why) for _ in questions]
