"""A dossier goes to a stranger's desk: nothing that was given to the program in confidence may be in it."""

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.fakes.month import PERIOD, at, event
from tests.fakes.record import MINUTE_NS, FakeRecord, minute_block
from wanwatch.config import load
from wanwatch.config.plan import questions
from wanwatch.core.model import EventKind
from wanwatch.report.dossier import FORMS, dossier_command

SECRET = "correct-horse-battery"  # noqa: S105 - a test's own
CONFIG = f"""
[site]
name = "harbour-lane"
data_dir = "data"

[[uplink]]
name = "fibre"
pin = {{ source = "10.20.0.11" }}
resolvers = ["https://192.0.2.53/{SECRET}-of-resolver"]

[uplink.contract]
provider = "Example Fibre"
reference = "EX-0001"
starts = 2026-10-01

[[target]]
name = "near"
stamp = "192.0.2.1"
stamp_key_file = "key"

[[target]]
name = "page"
https = "https://www.example.com/{SECRET}-of-page?key={SECRET}-of-query"
uplinks = ["fibre"]

[names]
ask = ["www.example.com"]

[carrying]
stun = ["192.0.2.78", "192.0.2.79"]
address_url = "http://192.0.2.80:9471/{SECRET}-of-address?key={SECRET}"
address_token_file = "token"

[speed]
server = "http://192.0.2.80/"
token_file = "token"

[listen]
token_file = "token"

[smtp]
host = "mail.example.net"
sender = "ops@example.net"
user = "{SECRET}-of-user"
password_file = "token"

[[notice]]
to = "https://hooks.example.net/{SECRET}-of-hook"
"""


@pytest.mark.parametrize("form", FORMS)
def test_no_secret_of_the_configuration_is_in_a_dossier(form: str, tmp_path: Path) -> None:
    """Keys, tokens, passwords and what stands in a URL behind its host; every series of the plan has a probe in it."""
    for name in ("key", "token"):
        (tmp_path / name).write_text(SECRET, "utf-8")
    (tmp_path / "wanwatch.toml").write_text(CONFIG, "utf-8")
    config = load(tmp_path / "wanwatch.toml", {})
    series = [question.series for question in questions(config)]
    assert any(SECRET in one.target for one in series)
    start = at("13 13:03:20")
    failure = event(
        EventKind.NAMES_FAILURE, "13 13:03:00", "13 13:03:10", detail={"resolvers": [one.target for one in series]}
    )
    outage = event(EventKind.OUTAGE, "13 13:03:20", "13 13:03:50", detail={"where": {"asked": series[-1].target}})
    blocks = [minute_block(one, start // MINUTE_NS, [1_000_000], [9_000]) for one in series]
    record = FakeRecord("harbour-lane", [failure, outage], [PERIOD], blocks)
    out = tmp_path / f"dossier.{form}"
    dossier_command(config, record, outage.id, form=form, out=out, now_unix_ns=PERIOD.end_unix_ns, clock_error_us=4200)
    text = text_of(out)
    assert "192.0.2.53" in text
    assert SECRET not in text


def text_of(out: Path) -> str:
    """What is in a file, of a PDF what is on its sheets and about it."""
    if out.suffix != ".pdf":
        return out.read_text("utf-8")
    if not shutil.which("pdftotext"):
        pytest.skip("there is no pdftotext on this machine")
    told = [["pdftotext", str(out), "-"], ["pdfinfo", str(out)]]
    return "".join(subprocess.run(words, capture_output=True, text=True, check=True).stdout for words in told)
