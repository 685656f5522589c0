"""`wanwatch password`, as it is typed and as it is piped."""

import os
import pty
import subprocess
import sys

import pytest

from wanwatch.core.door import Password, read_tokens, token_line

COMMAND = [sys.executable, "-m", "wanwatch", "password"]
SAID = "four words of mine"


def test_a_password_is_read_from_standard_input() -> None:
    """For scripts: one line, without its end."""
    done = subprocess.run(COMMAND, input=f"{SAID}\n", capture_output=True, text=True, check=True)
    kept = Password.from_line(done.stdout.removesuffix("\n"))
    assert kept.is_it(SAID)
    assert SAID not in done.stdout + done.stderr
    assert len(kept.salt) == 16


def test_a_weak_password_is_refused() -> None:
    """Exit code 2, and nothing for a file."""
    done = subprocess.run(COMMAND, input="seven77\n", capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("wanwatch: password: shorter than 8 letters")
    assert "seven77" not in done.stderr


def test_a_token_is_shown_once_beside_its_line() -> None:
    """The line goes to a file, the token to the terminal; each time another one of 256 bits."""
    made = set()
    for _ in range(2):
        done = subprocess.run([*COMMAND, "--token"], capture_output=True, text=True, check=True)
        token = done.stderr.strip().rpartition(" ")[2]
        assert done.stdout.strip() == token_line(token)
        assert len(read_tokens(done.stdout)) == 1
        assert len(token) == 43
        made.add(token)
    assert len(made) == 2


@pytest.mark.parametrize(("second", "asked"), [(SAID, 2), ("four words of hers", 4)])
def test_at_a_terminal_it_is_asked_for_twice_and_never_shown(second: str, asked: int) -> None:
    """Two that differ are asked for again; the line alone goes to standard output."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        COMMAND, stdin=theirs, stderr=theirs, stdout=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        os.close(theirs)
        shown = ""
        for number, typed in enumerate([SAID, second, SAID, SAID][:asked], start=1):
            while shown.count("Password: ") + shown.count("Once more: ") < number:
                shown += os.read(ours, 1000).decode()
            os.write(ours, f"{typed}\n".encode())
        assert running.stdout is not None
        line = running.stdout.read()
    os.close(ours)
    assert running.returncode == 0
    assert Password.from_line(line.strip()).is_it(SAID)
    assert "four words" not in shown
