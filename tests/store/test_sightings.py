"""Sightings: what is news is kept, and what was said before is not kept again."""

import pytest

from tests.fakes.clock import FakeClock
from tests.store.backends import ALWAYS, SITE, SqliteBackend
from wanwatch.core.model import (
    NS_PER_S,
    Cause,
    Kind,
    Learnt,
    LinkSeen,
    Observation,
    Outcome,
    PinsSeen,
    Role,
    RouteSeen,
    Sample,
    Series,
)
from wanwatch.core.sighting import Sighting, observation, usuals
from wanwatch.core.way import Way

STUN = Series("fibre", "stun-1", Kind.STUN, Role.EGRESS)
PAGE = Series("fibre", "http://192.0.2.80/address", Kind.HTTP, Role.EGRESS)
PORT = Series("fibre", "near", Kind.TCP, Role.LINE)
DAY_S = 86_400.0


def stun(clock: FakeClock, address: str, *, ago_s: float = 0.0) -> Sample:
    """A STUN server's answer."""
    sent_ns, unix_ns = clock.now_ns() - int(ago_s * NS_PER_S), clock.now_unix_ns() - int(ago_s * NS_PER_S)
    return Sample(STUN, sent_ns, unix_ns, clock.now_ns(), Outcome.ANSWERED, 1_000_000, facts={"address": address})


def port(clock: FakeClock, outcome: Outcome, cause: Cause | None = None) -> Sample:
    """What came of a connection."""
    return Sample(PORT, clock.now_ns(), clock.now_unix_ns(), clock.now_ns(), outcome, None, cause)


async def kept(backend: SqliteBackend, clock: FakeClock, *seen: Observation) -> list[Sighting]:
    """What a keeper's run leaves in the record of these."""
    keeper = backend.keeper(clock)
    keeper.open()
    for one in seen:
        if isinstance(one, Sample):
            keeper.sample(one)
        else:
            keeper.sighting(one)
    await keeper.close()
    record = backend.record()
    try:
        return list(record.sightings(SITE, ALWAYS))
    finally:
        record.close()


async def test_the_connection_that_an_echo_came_on_is_kept_when_it_is_another_one(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """A replay has to tell whether a connection survived; its age, which is always another one, is not kept."""
    held = Series("unpinned", "192.0.2.80:7", Kind.HELD, Role.TRAFFIC)
    seen = []
    for number, age_ns in ((1, 0), (1, 10), (2, 0), (2, 10)):
        seen.append(stun(clock, "")._replace(series=held, facts={"connection": number, "age_ns": age_ns}))
        clock.advance(5.0)
    found = await kept(sqlite_backend, clock, *seen)
    assert [one.said for one in found] == [{"connection": 1}, {"connection": 2}]


@pytest.mark.parametrize("series", [STUN, PAGE], ids=["by STUN", "by HTTP"])
async def test_an_address_is_kept_when_it_changes(
    sqlite_backend: SqliteBackend, clock: FakeClock, series: Series
) -> None:
    """Answers that say the same again leave no row."""
    seen = []
    for address in ("192.0.2.1", "192.0.2.1", "192.0.2.2", "192.0.2.2", "192.0.2.1"):
        seen.append(stun(clock, address))
        clock.advance(5.0)
    seen = [sample._replace(series=series) for sample in seen]
    found = await kept(sqlite_backend, clock, *seen)
    assert [one.said for one in found] == [{"address": "192.0.2.1"}, {"address": "192.0.2.2"}, {"address": "192.0.2.1"}]
    assert [one.at_unix_ns for one in found] == [seen[at].sent_unix_ns for at in (0, 2, 4)]


async def test_what_does_not_change_is_kept_once_a_day(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """So that a day's sightings can be let go with its samples."""
    seen = []
    for _ in range(6):
        seen.append(stun(clock, "192.0.2.1"))
        clock.advance(DAY_S / 2)
    found = await kept(sqlite_backend, clock, *seen)
    assert len({one.at_unix_ns // int(DAY_S * NS_PER_S) for one in found}) == len(found) == 3


async def test_an_answer_that_overtook_another_does_not_speak_for_what_was_sent_before_it(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """Read by instant of sending, each probe finds its own word standing."""
    clock.advance(10.0)
    seen = [stun(clock, "192.0.2.2"), stun(clock, "192.0.2.1", ago_s=1.0)]
    clock.advance(1.0)
    seen.append(stun(clock, "192.0.2.1"))
    found = await kept(sqlite_backend, clock, *seen)
    assert [one.said for one in found] == [{"address": f"192.0.2.{number}"} for number in (1, 2, 1)]


async def test_causes_are_kept_for_each_outcome(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """A loss in between does not make a refusal's cause news; another cause does, and so does none."""
    refused, not_sent = Outcome.REFUSED, Outcome.NOT_SENT
    seen = []
    for outcome, cause in (
        (refused, Cause.RESET), (Outcome.LOST, None), (refused, Cause.RESET), (not_sent, Cause.NO_ROUTE),
        (not_sent, None), (refused, Cause.NET_UNREACHABLE), (Outcome.MALFORMED, None),
    ):  # fmt: skip
        seen.append(port(clock, outcome, cause))
        clock.advance(1.0)
    found = await kept(sqlite_backend, clock, *seen)
    assert [(one.about[1], one.said) for one in found] == [
        ("refused", "reset"), ("not-sent", "no-route"), ("not-sent", None), ("refused", "net-unreachable"),
    ]  # fmt: skip


async def test_a_word_that_changes_is_kept_with_the_last_one_before_it(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """When the kernel last said the old thing is the bound of when it became the new one."""
    seen: list[RouteSeen] = []
    for uplink in ("fibre", "fibre", "fibre", None, "copper", "copper"):
        seen.append(RouteSeen(clock.now_ns(), clock.now_unix_ns(), uplink))
        clock.advance(1.0)
    found = await kept(sqlite_backend, clock, *seen)
    news = [seen[place] for place in (0, 2, 3, 4)]
    assert [(one.at_unix_ns, one.said) for one in found] == [(one.at_unix_ns, one.uplink) for one in news]


async def test_words_come_back_as_they_were_said(sqlite_backend: SqliteBackend, clock: FakeClock) -> None:
    """The judge is told the same values again, on one clock."""
    now = clock.now_unix_ns()
    ways = {"fibre": Way("192.0.2.9", ("10.0.0.1", None), 1, bound=True)}
    off = LinkSeen(1, now + 2, "fibre", carrier=True, address=False, interface="eth0", enabled=False)
    seen = (RouteSeen(1, now, None), RouteSeen(1, now + 1, "copper", (4, 16)), off, PinsSeen(1, now + 3, ways))
    found = [observation(one) for one in await kept(sqlite_backend, clock, *seen)]
    assert found == [one._replace(at_ns=one.at_unix_ns) for one in seen]


def test_words_that_an_older_program_kept_are_understood() -> None:
    """A route was a name alone, and a link had three facts; they knew of no interface switched off."""
    assert observation(Sighting(5, ("route",), "fibre")) == RouteSeen(5, 5, "fibre", ())
    told = observation(Sighting(5, ("link", "fibre"), [True, False, "eth0"]))
    assert told == LinkSeen(5, 5, "fibre", carrier=True, address=False, interface="eth0", enabled=True)


async def test_sightings_are_let_go_a_day_after_the_samples_that_they_stand_for(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """What was said in a day still stands for the samples of the next."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    for day in range(4):
        clock.advance(DAY_S)
        keeper.sample(stun(clock, f"192.0.2.{day}"))
    assert await keeper.flush()
    assert await keeper.prune(clock.now_unix_ns() - int(DAY_S * NS_PER_S), 0)
    await keeper.close()
    record = sqlite_backend.record()
    assert [one.said for one in record.sightings(SITE, ALWAYS)] == [{"address": f"192.0.2.{day}"} for day in (1, 2, 3)]
    record.close()


async def test_what_is_usual_is_kept_when_it_changes_and_once_a_day(
    sqlite_backend: SqliteBackend, clock: FakeClock
) -> None:
    """So that a replay may begin at any instant."""
    keeper = sqlite_backend.keeper(clock)
    keeper.open()
    for known, after_s in (([10_000], 3600.0), ([10_000], DAY_S), ([10_000, 11_000], 0.0)):
        keeper.sighting(Learnt(clock.now_unix_ns(), "fibre", "delay-20", {"near": {"20": [*known]}}))
        clock.advance(after_s)
    await keeper.close()
    record = sqlite_backend.record()
    told = list(record.sightings(SITE, ALWAYS))
    record.close()
    assert [one.about for one in told] == [("learnt", "fibre", "delay-20")] * len(told)
    assert usuals(told) == {"fibre": {"delay-20": {"near": {"20": [10_000, 11_000]}}}}
    assert usuals(told[:1]) == {"fibre": {"delay-20": {"near": {"20": [10_000]}}}}
    assert all(observation(one) is None for one in told)
