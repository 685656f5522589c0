"""A process killed at any instant loses no event that was told to anyone, no letter, and few samples."""

import random
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Final

from tests.store.backends import ALWAYS, NEAR, SITE, words
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.store import SqliteRecord

RUNS: Final = 15
FLUSH_EVERY_S: Final = 0.25
# In use 9 s between flushes leave 1 s of the 10 s for the commit. The flush is shortened here, the second is not.
LIMIT_NS: Final = int((FLUSH_EVERY_S + 1) * NS_PER_S)


def test_a_kill_loses_no_told_event_no_letter_and_no_more_samples_than_promised(tmp_path: Path) -> None:
    """Fifteen processes, one after the other on one record, each killed (SIGKILL) at a random instant."""
    chance = random.Random(20261103)  # noqa: S311 - to be the same in each run
    path = tmp_path / "wanwatch.sqlite"
    told: list[str] = []
    losses_ns: list[int] = []
    for run in range(RUNS):
        killed_unix_ns, ids = _run_and_kill(path, run, after_s=1.3 + chance.random() / 2)
        told.extend(ids)
        with SqliteRecord(path) as record:
            kept = {event.id for event in record.events(SITE)} | {post.letter.id for post in record.posts(SITE)}
            alive_unix_ns = record.last_alive(SITE, killed_unix_ns)
            last_unix_ns = _last_sample_unix_ns(record)
        assert set(told) <= kept, f"run {run}: {set(told) - kept}"
        assert alive_unix_ns is not None
        assert 0 <= killed_unix_ns - alive_unix_ns <= LIMIT_NS, f"run {run}"
        assert killed_unix_ns - last_unix_ns <= LIMIT_NS, f"run {run}"
        assert _integrity(path) == "ok"
        losses_ns.append(killed_unix_ns - last_unix_ns)
    assert len(told) > RUNS * 10
    assert sum(one.startswith("incident-") for one in told) > RUNS * 5
    # Had every run lost next to nothing, the kills would not have fallen between flushes, and shown nothing.
    assert max(losses_ns) > FLUSH_EVERY_S * NS_PER_S / 2


def _run_and_kill(path: Path, run: int, after_s: float) -> tuple[int, list[str]]:
    command = [sys.executable, "-m", "tests.store.hammer", str(path), str(run), str(FLUSH_EVERY_S)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        lines = [child.stdout.readline()]
        reader = threading.Thread(target=lines.extend, args=(child.stdout,))
        reader.start()
        time.sleep(after_s)
        child.kill()
        killed_unix_ns = time.time_ns()
        reader.join()
    # The last line may have been cut short by the kill: it was not told whole.
    return killed_unix_ns, [line.strip() for line in lines if line.endswith("\n")]


def _last_sample_unix_ns(record: SqliteRecord) -> int:
    minute_ns = 60 * NS_PER_S
    recent = record.watched(SITE, ALWAYS)[-1].end_unix_ns - 2 * minute_ns
    last = max(record.blocks(SITE, Span(recent, ALWAYS.end_unix_ns), [NEAR]), key=lambda block: block.minute)
    return last.minute * minute_ns + max(words(last.offsets)) * 1_000


def _integrity(path: Path) -> str:
    db = sqlite3.connect(path)
    try:
        found: str = db.execute("PRAGMA integrity_check").fetchone()[0]
        return found
    finally:
        db.close()
