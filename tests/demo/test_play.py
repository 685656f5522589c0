"""The whole demo, once, as a newcomer runs it."""

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

COMMAND = (sys.executable, "-m", "wanwatch", "demo")


def test_a_demo_without_a_folder_says_what_to_do(tmp_path: Path) -> None:
    """A folder that cannot be made is a mistake of usage: exit code 2, and how to mend it."""
    (tmp_path / "file").write_text("in the way")
    ended = subprocess.run(
        [*COMMAND, "--once", "--out", tmp_path / "file"], capture_output=True, text=True, timeout=30, check=False
    )
    assert ended.returncode == 2
    assert (
        f"demo: cannot write into {tmp_path / 'file'}: Not a directory; give another folder with --out" in ended.stderr
    )


def test_a_story_stopped_early_ends_at_once_and_says_so(tmp_path: Path) -> None:
    """Ctrl-C in the middle: nothing could be compared, which is exit code 3."""
    with subprocess.Popen([*COMMAND, "--out", tmp_path / "out"], stdout=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        for line in running.stdout:
            if "traffic takes fibre" in line:
                break
        running.send_signal(signal.SIGINT)
        rest = running.stdout.read()
        assert running.wait(10) == 3
    assert "stopped before the story's end" in rest


@pytest.mark.timeout(240)
def test_the_story_ends_in_a_report_that_tells_it(tmp_path: Path) -> None:
    """The real daemon concludes what the story did, and the report tells the outage and the failover."""
    out = tmp_path / "out"
    environ = {**os.environ, "NO_COLOR": "1"}
    ended = subprocess.run(
        [*COMMAND, "--once", "--out", out], capture_output=True, text=True, timeout=200, check=False, env=environ
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert not ended.stderr
    assert "\x1b" not in ended.stdout
    for file in ("wanwatch.toml", "report.html", "report.json"):
        assert f"  {out / file}\n" in ended.stdout
    assert re.search(r"^  metrics  http://127\.0\.0\.1:\d+/metrics$", ended.stdout, re.MULTILINE)
    report = json.loads((out / "report.json").read_text())
    fibre, copper = report["uplinks"]
    assert [event["kind"] for event in fibre["outages"]] == ["outage"]
    assert fibre["down_s"] == pytest.approx(18, abs=0.5)
    assert copper["outages"] == []
    assert [(switch["kind"], switch["from"], switch["to"]) for switch in report["switches"]] == [
        ("failover", "fibre", "copper"),
        ("failback", "copper", "fibre"),
    ]
    assert report["switches"][0]["interruption_s"] == pytest.approx(5, abs=0.25)
    page = (out / "report.html").read_text()
    assert "This is a demonstration" in page
    assert "fibre was down once" in re.sub(r"<[^>]+>", "", page)
