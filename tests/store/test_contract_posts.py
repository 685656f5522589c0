"""Contract of every store: the outbox."""

from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from tests.fakes.clock import FakeClock
from tests.store.backends import SITE, Backend, SqliteBackend, letter
from wanwatch.core.incident import Sign
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.core.notices import Answer, Attachment, Kind, Notice, PostState, Sent, answered
from wanwatch.core.notices.as_json import notice_from_json, notice_to_json
from wanwatch.store import SqliteRecord, put_in_outbox

HOOK = "https://hooks.example.net/wan"
DAY_NS = 86_400 * NS_PER_S
names = st.text(max_size=8)
notices = st.builds(
    Notice, names, names, st.sampled_from(Kind), names, st.integers(1, 9), st.integers(0, 2**62),
    lines=st.lists(names).map(tuple), signs=st.lists(st.sampled_from(Sign)).map(tuple), also=st.lists(names).map(tuple),
)  # fmt: skip


async def test_a_letter_can_be_read_once_it_was_kept(backend: Backend, clock: FakeClock) -> None:
    """Every field comes back, the attachment's too; told again, the last telling holds."""
    now = clock.now_unix_ns()
    waits = letter("incident-a", now)
    attached = Attachment("/srv/reports/2026-10.html", "2026-10.html", "text/html")
    report = replace(letter("report-2026-10", now + 1), letter=replace(waits.letter, attachment=attached))
    report = replace(report, letter=replace(report.letter, id=report.notice.id))
    keeper = backend.keeper(clock)
    keeper.open()
    for post in (waits, report):
        assert await keeper.post(post) is True
    tried = answered(waits, Sent(Answer.AGAIN, "no line is up"), now + 5)
    assert await keeper.post(tried) is True
    record = backend.record()
    found = record.posts(SITE)
    record.close()
    await keeper.close()
    assert found == [tried, report]


async def test_what_was_taken_or_refused_never_waits_again(backend: Backend, clock: FakeClock) -> None:
    """A daemon that forgot must not be able to send it twice."""
    waits = letter("incident-a", clock.now_unix_ns())
    taken = answered(waits, Sent(Answer.TAKEN, "250 queued"), clock.now_unix_ns() + 1, "copper")
    keeper = backend.keeper(clock)
    keeper.open()
    for post in (waits, taken, waits):
        assert await keeper.post(post)
    await keeper.close()
    record = backend.record()
    assert record.posts(SITE) == [taken]
    record.close()


async def test_letters_are_found_by_span_address_and_state(backend: Backend, clock: FakeClock) -> None:
    """A span is half open; in the order in which they were made, and kept where they were made at once."""
    now = clock.now_unix_ns()
    told = [letter("c", now), letter("b", now), letter("a", now, HOOK), letter("d", now + 9)]
    refused = answered(told[1], Sent(Answer.REFUSED, "550"), now + 1)
    keeper = backend.keeper(clock)
    keeper.open()
    for post in (*told, refused):
        await keeper.post(post)
    await keeper.close()
    record = backend.record()
    assert record.posts(SITE, Span(now, now + 9)) == [told[0], refused, told[2]]
    assert record.posts(SITE, to=HOOK) == [told[2]]
    assert record.posts(SITE, state=PostState.WAITING) == [told[0], told[2], told[3]]
    assert record.notices(SITE) == [post.notice for post in told]
    assert record.notices(SITE, HOOK) == [told[2].notice]
    assert record.posts("elsewhere") == []
    assert record.notices("elsewhere") == []
    record.close()


async def test_notices_stay_in_order_when_the_clock_is_set_back(backend: Backend, clock: FakeClock) -> None:
    """What was told last stands last, though it may bear an earlier instant."""
    now = clock.now_unix_ns()
    told = [letter("a", now), letter("b", now - 9)]
    keeper = backend.keeper(clock)
    keeper.open()
    for post in told:
        await keeper.post(post)
    await keeper.close()
    record = backend.record()
    assert record.notices(SITE) == [post.notice for post in told]
    record.close()


async def test_letters_go_with_the_events_that_they_tell_of(backend: Backend, clock: FakeClock) -> None:
    """Retention of rows, not of raw samples."""
    now = clock.now_unix_ns()
    keeper = backend.keeper(clock)
    keeper.open()
    for about, at in (("old", now - 900 * DAY_NS), ("new", now - 300 * DAY_NS)):
        await keeper.post(letter(about, at))
    assert await keeper.prune(now - 100 * DAY_NS, now - 700 * DAY_NS)
    await keeper.close()
    record = backend.record()
    assert [post.notice.about for post in record.posts(SITE)] == ["new"]
    record.close()


async def test_a_command_puts_a_letter_in_beside_a_running_keeper(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """Neither keeps the other from writing."""
    now = clock.now_unix_ns()
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    put_in_outbox(sqlite_backend.path, SITE, letter("test-1", now, kind=Kind.TEST))
    assert await keeper.post(letter("incident-a", now + 1))
    await keeper.close()
    with SqliteRecord(sqlite_backend.path) as record:
        assert [post.notice.about for post in record.posts(SITE)] == ["test-1", "incident-a"]


def test_a_command_makes_a_record_that_is_not_there(tmp_path: Path) -> None:
    """A test may be asked for before the daemon's first start."""
    path = tmp_path / "new" / "wanwatch.sqlite"
    put_in_outbox(path, SITE, letter("test-1", 5))
    with SqliteRecord(path) as record:
        assert len(record.posts(SITE)) == 1


@given(notices, st.lists(notices, max_size=2))
def test_a_notice_comes_back_from_json_as_it_was(notice: Notice, parts: list[Notice]) -> None:
    """With all that decides what is told next."""
    whole = replace(notice, parts=tuple(parts))
    assert notice_from_json(notice_to_json(whole)) == whole
