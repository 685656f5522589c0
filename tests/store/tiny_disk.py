"""Stories on a file system of 4 MB that fills up or turns read-only; run inside a mount namespace of its own.

Usage: python -m tests.store.tiny_disk full|read-only|reader|announce FOLDER, with a tmpfs mounted on FOLDER. Prints
what was told, then `kept`, how many events and samples the record holds, and how long the alive spans are in seconds.
"""

import asyncio
import os
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path

from tests.fakes.clock import FakeClock
from tests.store.backends import ALWAYS, SITE, event, sample
from wanwatch.core.model import NS_PER_S, Span
from wanwatch.core.planned import announced
from wanwatch.store import SqliteKeeper, SqliteRecord, StoreError, announce


async def fill_up(folder: Path) -> None:
    """The disk fills up under a running keeper, and is freed again."""
    clock = FakeClock()
    keeper = _keeper(folder, clock)
    keeper.open()
    await _keep(keeper, clock, "before", expected=True)
    (folder / "ballast").write_bytes(b"")
    with (folder / "ballast").open("ab", buffering=0) as ballast:
        while _append(ballast.fileno()):
            pass
    # The log may have room of its own left; a big event has not.
    await _keep(keeper, clock, "while", expected=False, detail="x" * 300_000)
    await _keep(keeper, clock, "while-too", expected=False)
    (folder / "ballast").unlink()
    await _resumed(keeper)
    await _keep(keeper, clock, "after", expected=True)
    await keeper.close()


async def turn_read_only(folder: Path) -> None:
    """A daemon starts on a file system that a fault has made read-only, and that is mended later."""
    clock = FakeClock()
    keeper = _keeper(folder, clock)
    keeper.open()
    await _keep(keeper, clock, "before", expected=True)
    await keeper.close()
    _mount("-o", "remount,ro", str(folder))
    keeper = _keeper(folder, clock)
    keeper.open()
    await _keep(keeper, clock, "while", expected=False)
    _mount("-o", "remount,rw", str(folder))
    await _resumed(keeper)
    await _keep(keeper, clock, "after", expected=True)
    await keeper.close()


async def read_without_writing(folder: Path) -> None:
    """A record is read where not even the log's index can be made."""
    clock = FakeClock()
    keeper = _keeper(folder, clock)
    keeper.open()
    await _keep(keeper, clock, "before", expected=True)
    await keeper.close()
    _mount("-o", "remount,ro", str(folder))


async def announce_read_only(folder: Path) -> None:
    """Work is announced in a record that a fault has made read-only."""
    await read_without_writing(folder)
    start = FakeClock().now_unix_ns()
    span = Span(start + NS_PER_S, start + 2 * NS_PER_S)
    try:
        announce(folder / "wanwatch.sqlite", SITE, announced(SITE, span, "x", uplinks=(), known=(), now_unix_ns=start))
    except StoreError as error:
        print(error)  # noqa: T201 - the parent reads it


def _keeper(folder: Path, clock: FakeClock) -> SqliteKeeper:
    return SqliteKeeper(folder / "wanwatch.sqlite", SITE, clock, tell_trouble=print, retry_every_s=0.02)


async def _keep(keeper: SqliteKeeper, clock: FakeClock, name: str, *, expected: bool, detail: str = "") -> None:
    keeper.sample(sample(clock))
    clock.advance(5)
    kept = await keeper.event(event(name, clock.now_unix_ns(), detail={"note": detail}))
    flushed = await keeper.flush()
    if (kept, flushed, keeper.healthy) != (expected, expected, expected):
        sys.exit(f"{name}: event {kept}, flush {flushed}, healthy {keeper.healthy}; expected {expected}")


async def _resumed(keeper: SqliteKeeper) -> None:
    """By itself: nothing is handed over meanwhile."""
    for _ in range(500):
        await asyncio.sleep(0.02)
        if keeper.healthy:
            return
    sys.exit("writing did not resume by itself")


def _append(fd: int) -> bool:
    try:
        return os.write(fd, b"\0" * 4096) > 0
    except OSError:
        return False


def _mount(*words: str) -> None:
    subprocess.run(["mount", *words], check=True)


STORIES: dict[str, Callable[[Path], Awaitable[None]]] = {
    "full": fill_up,
    "read-only": turn_read_only,
    "reader": read_without_writing,
    "announce": announce_read_only,
}


async def _main(story: str, folder: Path) -> None:
    await STORIES[story](folder)
    with SqliteRecord(folder / "wanwatch.sqlite") as record:
        samples = sum(block.sent for block in record.blocks(SITE, ALWAYS))
        watched = sum(span.length_ns for span in record.watched(SITE, ALWAYS)) // NS_PER_S
        names = " ".join(one.id for one in record.events(SITE))
    print(f"kept {samples} samples, {watched} s: {names}")  # noqa: T201 - the parent reads it


if __name__ == "__main__":
    asyncio.run(_main(sys.argv[1], Path(sys.argv[2])))
