"""What benches share: a printed line, a command's output, and two network namespaces joined by a veth."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

ADDRESS: Final = "198.51.100.2"
"""Of the far namespace."""


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def sh(*words: str, given: bytes = b"") -> str:
    """Run a command and return what it says."""
    return subprocess.run(words, check=True, capture_output=True, input=given).stdout.decode()


@contextmanager
def pair(here: str, there: str) -> Iterator[None]:
    """Two namespaces of these names with a veth, `line` on both sides, between them; removed at the end."""
    try:
        sh("ip", "netns", "add", here)
        sh("ip", "netns", "add", there)
        sh("ip", "-n", here, "link", "add", "line", "type", "veth", "peer", "name", "line", "netns", there)
        for space, own in ((here, "198.51.100.1/24"), (there, f"{ADDRESS}/24")):
            sh("ip", "-n", space, "addr", "add", own, "dev", "line")
            sh("ip", "-n", space, "link", "set", "line", "up")
            sh("ip", "-n", space, "link", "set", "lo", "up")
        yield
    finally:
        for space in (here, there):
            subprocess.run(("ip", "netns", "del", space), check=False, capture_output=True)
