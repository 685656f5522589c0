"""A story of people who are told while lines are cut: by the line that works, each once, and with the true times."""

import json
import time
from collections.abc import Mapping
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any, Final

import pytest

from tests.lab.office import COPPER, FIBRE, PUBLIC, WEB, Truth
from tests.lab.python import PYTHON
from tests.lab.scraped import reconfigure
from tests.lab.servers import MAIL
from tests.lab.stage import Lab, Outcome, Story, tells
from tests.lab.watch import SITE
from wanwatch.core.notices import PostState
from wanwatch.store import SqliteRecord

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]

QUICK: Final = 'down_after = "2s"\nup_after = "1s"\nwindow = "10s"\nclear_after = "10s"\nstuck_after = "60s"'
TABLES: Final = f"""
[[notice]]
to = "mailto:ops@example.net"
on = ["outage"]
begin_after = "3s"
end_after = "1s"
[smtp]
host = "{MAIL}"
port = 25
security = "none"
sender = "wan@example.net"
"""
"""The mail server's name is known to the providers' resolvers, and to nobody whom this machine would ask by itself."""


def mail(folder: Path) -> list[dict[str, Any]]:
    """What the mail server took so far."""
    path = folder / "mail.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def each_line_cut_in_turn_and_both(lab: Lab) -> Mapping[str, Truth]:
    """The fibre is cut and mended, then the copper, then both; and of both the copper comes back first."""
    office, folder = lab.office, lab.office.folder
    office.spawn("net", PYTHON, str(Path(__file__).with_name("mailbox.py")), WEB, str(folder))
    reconfigure(lab, lab.watch.file.read_text() + TABLES)
    marks: dict[str, Truth] = {}

    def told(number: int) -> None:
        lab.watch.until(lambda: len(mail(folder)) >= number, f"{number} letters", within_s=90)

    for line in (FIBRE, COPPER):
        before = len(mail(folder))
        marks[f"{line} cut"] = office.cut(line)
        told(before + 1)
        marks[f"{line} mended"] = office.mend(line)
        told(before + 2)
    before = len(mail(folder))
    marks["both cut"] = office.cut(FIBRE)
    office.cut(COPPER)
    lab.watch.until(lambda: bool((lab.watch.health().get("notices") or {}).get("waiting")), "letter that waits", 20)
    time.sleep(1.5)  # so that a second's grain of Date cannot hide when it was made
    marks["copper back"] = office.mend(COPPER)
    told(before + 1)
    marks["fibre back"] = office.mend(FIBRE)
    lab.watch.until(lambda: "over" in mail(folder)[-1]["Subject"], "last word", within_s=90)
    return marks


TOLD: Final = Story(each_line_cut_in_turn_and_both, judge=QUICK)


def between(outcome: Outcome, begin: str, end: str) -> list[dict[str, Any]]:
    """What arrived between two marks."""
    first, last = outcome.marks[begin].unix_s, outcome.marks[end].unix_s
    return [one for one in mail(outcome.folder) if first < one["at"] < last]


@tells(TOLD)
def test_who_is_told_is_told_by_the_line_that_works(outcome: Outcome) -> None:
    """The mail server sees the public address of the line that is not cut."""
    for cut, works in ((FIBRE, COPPER), (COPPER, FIBRE)):
        assert {one["from"] for one in between(outcome, f"{cut} cut", f"{cut} mended")} == {PUBLIC[works]}
    assert not between(outcome, "both cut", "copper back")
    assert {one["from"] for one in between(outcome, "copper back", "fibre back")} == {PUBLIC[COPPER]}


@tells(TOLD)
def test_each_notice_arrives_once(outcome: Outcome) -> None:
    """As many letters as the outbox holds, each under a name of its own, all taken, in the order of their making."""
    with SqliteRecord(outcome.folder / "data" / "wanwatch.sqlite") as record:
        posts = record.posts(SITE)
    assert {post.state for post in posts} == {PostState.TAKEN}
    came = mail(outcome.folder)
    assert len(came) == len({one["Message-ID"] for one in came}) == len(posts)
    assert [one["Subject"] for one in came] == [post.letter.subject for post in posts]


@tells(TOLD)
def test_what_could_not_leave_tells_when_it_was_made(outcome: Outcome) -> None:
    """RFC 5322 section 3.6.1: the first letter after both were cut was made while they were, to the second."""
    (first, *_) = [one for one in mail(outcome.folder) if one["at"] > outcome.marks["both cut"].unix_s]
    made_unix_s = parsedate_to_datetime(first["Date"]).timestamp()
    assert outcome.marks["both cut"].unix_s + 1 < made_unix_s < outcome.marks["copper back"].unix_s - 1
