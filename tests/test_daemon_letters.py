"""What the daemon reads of the record to find out who is to be told of what."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.publish.notices.posts import post_to
from tests.test_daemon import office
from tests.test_daemon_noticing import SITE, smtp
from wanwatch.config import load
from wanwatch.config.plan import store_path
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.core.notices.case import STALE_NS
from wanwatch.daemon.letters import letters_due
from wanwatch.store import SqliteRecord
from wanwatch.store.announcing import put_in_outbox

DAY_NS = 86_400 * NS_PER_S
NOW_UNIX_NS = 1_800_000_000 * NS_PER_S


@pytest.mark.parametrize(("to", "days"), [("mailto:ops@example.net", 300), ("mailto:gone@example.net", 2)])
def test_an_end_is_looked_for_as_long_as_there_is_somebody_to_tell(
    to: str, days: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was told 300 days ago and has not ended is still to be told as over; but to nobody who has gone since.

    Each minute all events would be read from then on, more each day.
    """
    config = load(office(tmp_path, 9, extra=f'[[notice]]\nto = "mailto:ops@example.net"\n{smtp(9)}'))
    old = post_to(to)
    began = replace(old, notice=replace(old.notice, made_unix_ns=NOW_UNIX_NS - 300 * DAY_NS))
    put_in_outbox(store_path(config), SITE, began)
    asked: list[Span] = []
    events = SqliteRecord.events

    def noted(record: SqliteRecord, site: str, span: Span, *kinds: Any) -> Any:
        asked.append(span)
        return events(record, site, span, *kinds)

    monkeypatch.setattr(SqliteRecord, "events", noted)
    assert letters_due(config, {"mailto:ops@example.net": 0}, NOW_UNIX_NS) == []
    first_ns = min(span.start_unix_ns for span in asked)
    assert days * DAY_NS <= NOW_UNIX_NS - first_ns <= days * DAY_NS + STALE_NS
