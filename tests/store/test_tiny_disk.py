"""Real file systems that are full or read-only: a small tmpfs in a mount namespace of its own."""

import subprocess
import sys
from pathlib import Path

import pytest

UNSHARE = ["unshare", "--user", "--map-root-user", "--mount"]
FULL = "database or disk is full"
READ_ONLY = "unable to open database file (its file system is read-only)"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder to mount on, where this machine lets us mount."""
    attempt = subprocess.run(
        [*UNSHARE, "mount", "-t", "tmpfs", "none", str(tmp_path)], check=False, capture_output=True
    )
    if attempt.returncode:
        pytest.skip(f"no mount namespace can be made here: {attempt.stderr.decode().strip()}")
    return tmp_path


def told(story: str, folder: Path) -> list[str]:
    """Play the story on a tmpfs of 4 MB; return the lines that it told."""
    script = 'mount -t tmpfs -o size=4m none "$2" && exec "$0" -m tests.store.tiny_disk "$1" "$2"'
    done = subprocess.run(
        [*UNSHARE, "sh", "-c", script, sys.executable, story, str(folder)],
        check=False, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def trouble(folder: Path, reason: str) -> str:
    """The one sentence for the trouble."""
    return (
        f"store '{folder}/wanwatch.sqlite': cannot write: {reason}; probing goes on, every event and up to 60 minutes"
        " of samples wait in memory; free space or make it writable, and writing resumes by itself"
    )


def test_a_disk_that_fills_up_is_told_once_and_loses_nothing_once_freed(folder: Path) -> None:
    """Events and samples of the time in between are in the record, and the run is one alive span."""
    assert told("full", folder) == [
        trouble(folder, FULL),
        f"store '{folder}/wanwatch.sqlite': writing works again after 5 s; nothing that waited was lost",
        "kept 4 samples, 20 s: before while while-too after",
    ]


def test_a_read_only_file_system_does_not_stop_a_daemon_from_starting(folder: Path) -> None:
    """It watches, tells once, and keeps everything once the file system is writable."""
    assert told("read-only", folder) == [
        trouble(folder, READ_ONLY),
        f"store '{folder}/wanwatch.sqlite': writing works again after 5 s; nothing that waited was lost",
        "kept 3 samples, 15 s: before while after",
    ]


def test_a_record_is_read_from_a_read_only_file_system(folder: Path) -> None:
    """A backup on a disc, or a user who may not write: reading needs no log of its own."""
    assert told("reader", folder) == ["kept 1 samples, 5 s: before"]


def test_work_is_not_announced_on_a_read_only_file_system(folder: Path) -> None:
    """It is said why not, and what to mend; the record stays as it was."""
    why = (
        f"store '{folder}/wanwatch.sqlite': cannot be written: unable to open database file; check that site.data_dir"
        " is writable for this user and its disk is neither full nor read-only"
    )
    assert told("announce", folder) == [why, "kept 1 samples, 5 s: before"]
