"""What all commands share: whole summaries, words and exit codes for what goes wrong, and no noise on a terminal."""

import errno
import io
import os
import re
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from wanwatch.cli import main
from wanwatch.cli_parts import spare_the_terminal, tells_errors

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("group", [[], ["plan"], ["calc"]])
def test_help_tells_what_each_command_is_for_to_the_end(group: list[str]) -> None:
    """A summary that breaks off in its middle helps nobody."""
    said = CliRunner().invoke(main, [*group, "--help"], terminal_width=80)
    assert said.exit_code == 0
    assert not re.search(r"\w\.\.\.$", said.output, re.MULTILINE)
    assert max(map(len, said.output.splitlines())) <= 80


@pytest.mark.parametrize("stop", [KeyboardInterrupt, click.Abort])
def test_a_command_that_is_stopped_says_so_and_claims_nothing(stop: type[BaseException]) -> None:
    """Exit code 3, as nothing came of it; 1 would say that the thing asked about is not as it should be."""

    @click.command()
    @tells_errors
    def endless() -> None:
        raise stop

    ended = CliRunner().invoke(endless)
    assert (ended.exit_code, ended.output) == (3, "\nwanwatch: stopped before its end\n")


def test_a_configuration_that_may_not_be_read_is_told_with_its_mend(monkeypatch: pytest.MonkeyPatch) -> None:
    """Thing, reason and mend in our own words, and not in those of what reads command lines."""

    def refuse(*_asked: object, **_how: object) -> str:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(os, "access", lambda *_asked, **_how: False)  # what the library would look at
    monkeypatch.setattr(Path, "read_text", refuse)
    ended = CliRunner().invoke(main, ["events", "--config", __file__])
    mend = "name another file with --config, or make one with 'wanwatch init'"
    assert (ended.exit_code, ended.output) == (2, f"wanwatch: {__file__}: cannot be read: Permission denied; {mend}\n")


def test_what_is_no_text_is_not_poured_onto_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """An archive or a PDF would spoil it; a file and a pipe take both."""

    class Screen(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(sys, "stdout", Screen())
    with pytest.raises(click.UsageError, match=r"^--format csv is no text; name a file with --out, or lead the output"):
        spare_the_terminal("csv", None, binary=True)
    spare_the_terminal("csv", Path("out.zip"), binary=True)
    spare_the_terminal("html", None, binary=False)
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    spare_the_terminal("csv", None, binary=True)


def test_a_port_that_no_address_has_is_refused() -> None:
    """Ports have 16 bits (RFC 768, RFC 9293); the system would take what is left of a larger number."""
    ended = CliRunner().invoke(main, ["reflector", "--stamp-port", "99999"])
    assert ended.exit_code == 2
    assert "99999 is not in the range 0<=x<=65535" in ended.output


def test_a_list_without_reports_says_so(tmp_path: Path) -> None:
    """As other lists do; silence could be anything."""
    text = (ROOT / "examples" / "one-line.toml").read_text("utf-8")
    file = tmp_path / "wanwatch.toml"
    file.write_text(text, "utf-8")
    ended = CliRunner().invoke(main, ["report", "--list", "--config", str(file)])
    assert (ended.exit_code, ended.output) == (0, "no reports\n")


@pytest.mark.parametrize("words", [["one-line.toml"], ["--config", "one-line.toml"]])
def test_check_takes_the_file_as_other_commands_do(words: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Its own errors tell people to name it with --config."""
    monkeypatch.chdir(ROOT / "examples")
    assert CliRunner().invoke(main, ["check", *words]).output.startswith("one-line.toml: fit to use")


def test_a_file_that_is_named_twice_is_a_mistake() -> None:
    """Nobody could tell which one was meant."""
    ended = CliRunner().invoke(main, ["check", "a.toml", "--config", "b.toml"])
    assert (ended.exit_code, "it is named twice; leave FILE or --config out" in ended.output) == (2, True)
