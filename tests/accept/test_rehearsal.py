"""The failover rehearsal of an acceptance test, where there can be none."""

from io import StringIO
from pathlib import Path

from wanwatch.accept import Person, Screen
from wanwatch.accept.rehearsal import rehearse
from wanwatch.clock import RealClock
from wanwatch.config import load
from wanwatch.core.acceptance import Verdict
from wanwatch.publish.terminal import Terminal

EXAMPLE = Path(__file__).parents[2] / "examples" / "two-lines.toml"


def test_without_a_daemon_nothing_is_rehearsed_and_nobody_is_asked(tmp_path: Path) -> None:
    """Nobody would watch: the item is not decided, and says how to mend that."""
    file = tmp_path / "wanwatch.toml"
    written = EXAMPLE.read_text("utf-8")
    assert "127.0.0.1:9470" in written
    file.write_text(written.replace("127.0.0.1:9470", "127.0.0.1:9"))  # RFC 863: nobody serves pages there
    screen = Screen(Terminal(StringIO(), {}, 100), 100)
    item = rehearse(load(file), Person(lambda _question: "yes", print), screen, RealClock(), None)
    assert item.verdict is Verdict.NOT_DECIDED
    assert item.reason.startswith("No daemon answers on 127.0.0.1:")
