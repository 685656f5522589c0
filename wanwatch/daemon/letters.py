"""Letters: what the addresses of the configuration are to be told now, from the record."""

from collections.abc import Mapping

from wanwatch.config import Config
from wanwatch.config.plan import store_path
from wanwatch.core.notices import Post, PostState, cases_in, wanted
from wanwatch.publish.letters import office_of, write
from wanwatch.report.kept import folder_of, to_send
from wanwatch.store import SqliteRecord


def letters_due(config: Config, since: Mapping[str, int], now_unix_ns: int) -> list[Post]:
    """Return the letters to be put into the outbox now.

    Args:
        config: The configuration.
        since: Since when each of its addresses has been known.
        now_unix_ns: The wall clock.

    Raises:
        StoreError: The record cannot be read.
        sqlite3.Error: Nor for now.
        OSError: The folder of reports cannot be read.
    """
    site, zone = config.site.name, config.site.zone
    reports = {one.month: one for one in to_send(folder_of(config.site.data_dir), config.report.monthly)}
    written = {month: one.written_unix_ns for month, one in reports.items()}
    files = {month: one.attachment for month, one in reports.items()}
    with SqliteRecord(store_path(config)) as record:
        # Who is not told any more is told of no end either: what waits for one would be looked for ever.
        told = [notice for notice in record.notices(site) if notice.to in since]
        known = cases_in(record, site, told, now_unix_ns)
        waiting = {post.notice.id for post in record.posts(site, state=PostState.WAITING)}
    made: list[Post] = []
    for table in config.notices:
        terms = table.terms(site, zone, since[table.to])
        mine = [notice for notice in told if notice.to == table.to]
        found = wanted(known, mine, terms, now_unix_ns, reports=written, waiting=waiting)
        made += [Post(notice=one, letter=write(one, known, office_of(config), files)) for one in found]
    return made
