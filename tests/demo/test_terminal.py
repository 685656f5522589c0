"""What the demo prints: plain where nobody looks, calm where somebody does."""

import io

import pytest

from wanwatch.core.model import EventKind, State
from wanwatch.demo.comparison import Row
from wanwatch.demo.terminal import OFFICE, comparison_table
from wanwatch.publish.terminal import WANWATCH, Terminal, Tone

ESCAPE = "\x1b"


class Screen(io.StringIO):
    """A terminal that remembers what was written."""

    def isatty(self) -> bool:
        """It says that it is one."""
        return True


def test_a_file_gets_plain_lines_and_no_status() -> None:
    """No colours and no cursor movements where the output is not a terminal."""
    out = io.StringIO()
    terminal = Terminal(out, {"TERM": "xterm"}, 80)
    terminal.say(46.04, OFFICE, "A digger cuts the fibre.")
    terminal.status(46.3, {"fibre": State.UP}, "traffic takes fibre")
    terminal.say(48.1, WANWATCH, "fibre is down", Tone.BAD)
    assert out.getvalue() == (
        "  46.0  office    A digger cuts the fibre.\n"
        "  48.1  wanwatch  fibre is down\n"
    )  # fmt: skip


def test_no_color_is_honoured_on_a_terminal() -> None:
    """https://no-color.org: with NO_COLOR set and not empty, no colours are added."""
    out = Screen()
    terminal = Terminal(out, {"TERM": "xterm", "NO_COLOR": "1"}, 80)
    terminal.say(48.1, WANWATCH, "fibre is down", Tone.BAD)
    assert f"{ESCAPE}[3" not in out.getvalue()
    assert "fibre is down" in out.getvalue()


def test_a_terminal_gets_colours_and_each_is_taken_back() -> None:
    """ECMA-48: every SGR sequence that sets something is followed by SGR 0."""
    out = Screen()
    Terminal(out, {"TERM": "xterm"}, 80).say(48.1, WANWATCH, "fibre is down", Tone.BAD)
    assert f"{ESCAPE}[31mfibre is down{ESCAPE}[0m" in out.getvalue()


def test_the_status_line_is_overwritten_by_what_follows() -> None:
    """It never scrolls: the next line erases it first."""
    out = Screen()
    terminal = Terminal(out, {"TERM": "xterm", "NO_COLOR": "1"}, 80)
    terminal.status(1.0, {"fibre": State.UP, "copper": State.DOWN}, "traffic takes fibre")
    status = out.getvalue()
    terminal.line("next")
    assert status == f"\r{ESCAPE}[K   1.0  now       fibre up   copper down   traffic takes fibre"
    assert "\n" not in status
    assert out.getvalue().removeprefix(status) == f"\r{ESCAPE}[Knext\n"


def test_a_status_line_that_would_wrap_is_left_out() -> None:
    """What wraps cannot be erased."""
    out = Screen()
    Terminal(out, {"TERM": "xterm"}, 40).status(1.0, {"fibre": State.UP, "copper": State.UP}, "traffic takes fibre")
    assert not out.getvalue()


@pytest.mark.parametrize("columns", [60, 80, 100, 200])
def test_long_words_are_folded_under_their_own_column(columns: int) -> None:
    """A sentence that does not fit goes on below where it began, never beyond the width."""
    out = io.StringIO()
    Terminal(out, {}, columns).say(1.0, OFFICE, "word " * 40)
    first, *rest = out.getvalue().splitlines()
    assert first.startswith("   1.0  office    word")
    assert rest
    assert all(line.startswith(" " * 18 + "word") for line in rest)
    assert max(map(len, [first, *rest])) <= columns


def test_the_table_says_what_agrees_and_what_does_not() -> None:
    """Words to the left, figures to the right, a dash where there is nothing to compare."""
    rows = [
        Row(EventKind.OUTAGE, "fibre", start_error_ms=60.2, end_error_ms=-5.0),
        Row(EventKind.FAILOVER, None, start_error_ms=0.0, end_error_ms=9.0, cut_off_s=5.0, told_cut_off_s=5.04),
        Row(EventKind.STUCK_FAILOVER, "fibre", fault="told, but it did not happen"),
    ]
    assert comparison_table(rows) == [
        "what happened             start    end  cut off    told  agrees",
        "outage of fibre          +60 ms  -5 ms        -       -  yes",
        "failover                  +0 ms  +9 ms   5.00 s  5.04 s  yes",
        "stuck failover of fibre       -      -        -       -  NO",
    ]
