"""The helper process: questions as JSON on standard input, answers on standard output, and it is gone."""

import os
import sys
from collections.abc import Callable
from typing import Any, Final

from wanwatch.core.model import Pin
from wanwatch.measure.route.discovery import find_dhcp, find_pppoe
from wanwatch.measure.route.path_mtu import find_mtu
from wanwatch.measure.route.protocol import (
    Answer,
    BadWordsError,
    Failed,
    FindDhcp,
    FindMtu,
    FindPppoe,
    Question,
    Trace,
    dump,
    read_questions,
)
from wanwatch.measure.route.trace import trace
from wanwatch.measure.sockets import not_sent_cause

_WAYS: Final[dict[type, Callable[[Any], Answer]]] = {
    Trace: trace,
    FindMtu: find_mtu,
    FindPppoe: find_pppoe,
    FindDhcp: find_dhcp,
}


def answer(question: Question) -> Answer:
    """Answer one question; what we could not do is an answer as well."""
    try:
        return _WAYS[type(question)](question)
    except OSError as error:
        pin = question.pin if isinstance(question, Trace | FindMtu) else Pin(interface=question.interface)
        hint = " (raw sockets take CAP_NET_RAW, as root has)" if isinstance(error, PermissionError) else ""
        return Failed(not_sent_cause(error, pin), (error.strerror or str(error)) + hint)


def main() -> int:
    """Answer all questions; exit code 2 if they cannot be read."""
    os.nice(5)  # probing at the second's beat goes first
    try:
        questions = read_questions(sys.stdin.buffer.read())
    except BadWordsError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sys.stdout.buffer.write(dump([answer(question) for question in questions]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
