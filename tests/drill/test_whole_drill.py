"""Drills beside the whole daemon, on the demo's simulated office: loopback addresses, real sockets, a real terminal."""

import asyncio
import contextlib
import json
import os
import random
import socket
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from tests.fakes.person import Person
from wanwatch.config import Config, load
from wanwatch.config.plan import store_path
from wanwatch.core.event_json import event_to_json
from wanwatch.core.model import EventKind
from wanwatch.daemon import Daemon
from wanwatch.demo import configuration
from wanwatch.demo.office import COPPER, FIBRE, QUIET
from wanwatch.demo.roads import Roads
from wanwatch.demo.servers import Place, free_place, serving
from wanwatch.store import SqliteRecord

pytestmark = pytest.mark.timeout(300)
MOVES_AFTER_S = 1.5
QUICK = ("--steady", "1s", "--move-within", "20s", "--stay", "3s", "--back-within", "20s")


@dataclass
class Site:
    """A watched office."""

    config: Config
    path: Path
    roads: Roads
    daemon: Daemon

    def cut(self) -> None:
        """Pull the fibre's plug."""
        silent = replace(FIBRE.usual, silent=True)
        self.roads.change(self.roads.scene.with_line(FIBRE.name, silent))

    def mend(self) -> None:
        """Put it back."""
        self.roads.change(self.roads.scene.with_line(FIBRE.name, FIBRE.usual))

    def move(self, line: str) -> None:
        """Let the gateway move traffic."""
        self.roads.change(self.roads.scene.carried_by(line))

    def person(self, *words: str) -> Person:
        """Somebody who runs a command on a terminal."""
        where = [str(self.path)] if words == ("check",) else ["--config", str(self.path)]
        command = [sys.executable, "-m", "wanwatch", *words, *where]
        return Person(command, os.environ)

    def events(self, *kinds: EventKind) -> list[dict[str, Any]]:
        """What the record holds."""
        with SqliteRecord(store_path(self.config)) as record:
            return [event_to_json(event) for event in record.events(self.config.site.name, None, kinds)]


@contextlib.asynccontextmanager
async def watched(folder: Path) -> AsyncIterator[Site]:
    roads = Roads(QUIET, random.Random(1).random)  # noqa: S311 - a simulation
    async with serving(roads) as places:
        (folder / "record").mkdir()
        listen = free_place(Place("127.0.0.1", 0), socket.SOCK_STREAM)
        path = configuration.write(folder, places, str(listen))
        text = path.read_text("utf-8")
        for written, instead in (
            ("[site]\n", '[site]\ndrill_needs = "20Mbps"\n'),
            ("[uplink.contract]", 'drill_every = "90d"\n\n[uplink.contract]'),
            ('up_after = "6s"', 'up_after = "1s"'),
            ('down_after = "2s"', 'down_after = "1s"'),
        ):
            assert written in text
            text = text.replace(written, instead)
        path.write_text(text, "utf-8")
        daemon = Daemon(load(path), path=path)
        await daemon.start()
        try:
            yield Site(load(path), path, roads, daemon)
        finally:
            await daemon.stop()


async def until_all_is_known(site: Site) -> None:
    for _ in range(100):
        health: Any = site.daemon.health()
        if health["carrying"]["known"] and all(line["state"] == "up" for line in health["uplinks"]):
            return
        await asyncio.sleep(0.1)
    pytest.fail(f"never steady: {health}")


def overdue(site: Site) -> list[bool]:
    drills: Any = site.daemon.health()["drills"]
    return [drill["overdue"] for drill in drills]


async def test_a_drill_is_led_from_the_yes_to_its_record(tmp_path: Path) -> None:
    """Each thing is asked for when it is due, and the record answers what was asked, with its evidence."""
    async with watched(tmp_path) as site:
        await until_all_is_known(site)
        assert overdue(site) == [True]
        with site.person("drill", "fibre", *QUICK) as person:
            await asyncio.to_thread(person.expect, 'Type "yes" to begin')
            assert site.events(EventKind.DRILL) == []
            person.type("yes")
            await asyncio.to_thread(person.expect, "Pull the plug of fibre now")
            (running,) = site.events(EventKind.DRILL)
            site.cut()
            cut_off = -time.monotonic()  # a busy machine wakes us late: what we did counts, not what we meant to
            await asyncio.sleep(MOVES_AFTER_S)
            site.move(COPPER.name)
            cut_off += time.monotonic()
            await asyncio.to_thread(person.expect, "Plug fibre back in now")
            site.mend()
            await asyncio.to_thread(person.expect, "fibre is up again")
            site.move(FIBRE.name)
            code = await asyncio.to_thread(person.ended)
        (drill,), others = site.events(EventKind.DRILL), site.events(EventKind.OUTAGE, EventKind.FAILOVER)
        await site.daemon._look_at_drills()
        assert overdue(site) == [False]
        async with aiohttp.ClientSession() as http, http.get(site.daemon.address + "/metrics") as answer:
            metrics = await answer.text()
    assert code == 0, person.read
    assert "EMERGENCY CALLS" in person.read
    assert f"Kept as {drill['id']}" in person.read
    assert (running["id"], running["end"], running["drill"]) == (drill["id"], None, True)
    assert drill["detail"]["outcome"] == "done"
    assert len(others) == 2
    assert all(event["drill"] for event in others)
    answers = {answer["about"]: answer for answer in drill["detail"]["answers"]}
    assert {about: answer["answer"] for about, answer in answers.items()} == {
        "moved": "yes", "cut-off": "measured", "names": "yes", "connections": "yes", "held": "not-measured",
        "speed": "not-measured", "back": "yes",
    }  # fmt: skip
    assert answers["cut-off"]["values"]["interruption_s"] == pytest.approx(cut_off, abs=0.5)  # the lab says how exact
    assert sorted(answers["moved"]["evidence"]) == sorted(event["id"] for event in others)
    assert 'wanwatch_drill_overdue{site="demo-harbour-lane",uplink="fibre"} 0.0' in metrics
    assert 'wanwatch_drill_age_seconds{site="demo-harbour-lane",uplink="fibre"}' in metrics


async def test_traffic_that_does_not_move_is_told_with_exit_code_1(tmp_path: Path) -> None:
    """After the stated time the person is asked to put the plug back, and the record says no."""
    async with watched(tmp_path) as site:
        await until_all_is_known(site)
        with site.person("drill", "fibre", "--yes", "--json", "--steady", "1s", "--move-within", "2s") as person:
            await asyncio.to_thread(person.expect, "Pull the plug of fibre now")
            site.cut()
            await asyncio.to_thread(person.expect, "Plug fibre back in now")
            site.mend()
            code = await asyncio.to_thread(person.ended)
    assert code == 1, person.read
    told = json.loads(person.read[person.read.index("\n{\n") :])
    moved = told["detail"]["answers"][0]
    assert (moved["answer"], moved["says"]) == ("no", "not within 2.0 s: it stayed on fibre")


async def test_a_drill_stopped_by_hand_leaves_a_record_that_says_so(tmp_path: Path) -> None:
    """Ctrl-C while the plug is out: exit code 3, and the person is told to put it back."""
    async with watched(tmp_path) as site:
        await until_all_is_known(site)
        with site.person("drill", "fibre", "--yes", "--steady", "1s") as person:
            await asyncio.to_thread(person.expect, "Pull the plug of fibre now")
            with site.person("drill", "fibre", "--yes") as second:
                assert await asyncio.to_thread(second.ended) == 1
            site.cut()
            await asyncio.to_thread(person.expect, "fibre is gone")
            person.interrupt()
            code = await asyncio.to_thread(person.ended)
        (drill,) = site.events(EventKind.DRILL)
    assert "a drill is going on already" in second.read
    assert code == 3, person.read
    assert "undo that now" in person.read
    assert drill["end"] is not None
    assert (drill["detail"]["outcome"], drill["detail"]["why"]) == ("given-up", "it was stopped by hand")


async def test_a_terminal_that_is_closed_gives_the_drill_up(tmp_path: Path) -> None:
    """Nobody would read what to do next; the record says that it ended."""
    async with watched(tmp_path) as site:
        await until_all_is_known(site)
        with site.person("drill", "fibre", "--yes", "--steady", "1s") as person:
            await asyncio.to_thread(person.expect, "Pull the plug of fibre now")
            person.leave()
            await asyncio.to_thread(person.gone)
        (drill,) = site.events(EventKind.DRILL)
    assert drill["detail"]["outcome"] == "given-up"


async def test_without_a_yes_nothing_is_announced(tmp_path: Path) -> None:
    """Another word, Ctrl-C at the question, or nobody at a terminal: no record."""
    async with watched(tmp_path) as site:
        await until_all_is_known(site)
        with site.person("drill", "fibre") as person:
            await asyncio.to_thread(person.expect, 'Type "yes" to begin')
            person.type("y")
            code = await asyncio.to_thread(person.ended)
        command = [sys.executable, "-m", "wanwatch", "drill", "fibre", "--config", str(site.path)]
        alone = await asyncio.to_thread(
            subprocess.run, command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
        )
        assert site.events(EventKind.DRILL) == []
    assert code == 3
    assert "Nothing was announced" in person.read
    assert alone.returncode == 2
    assert alone.stderr == (
        "wanwatch: drill of uplink 'fibre': nobody is here to say yes; run it on a terminal, or add --yes once "
        "everybody knows\n"
    )


async def test_without_a_daemon_there_is_no_drill_and_check_tells_that_one_is_due(tmp_path: Path) -> None:
    """Nobody would watch: exit code 3, with the mend; a drill never done is worth knowing."""
    async with watched(tmp_path) as site:
        pass
    for words, code, said in (
        (("drill", "fibre", "--yes"), 3, "; start it with: wanwatch run"),
        (("drill", "fiber", "--yes"), 2, "there is no such uplink; take one of: fibre, copper"),
        (("check",), 0, "fibre: failover never rehearsed, and it should be every 90 days"),
    ):
        with site.person(*words) as person:
            assert await asyncio.to_thread(person.ended) == code
        assert said in person.read.replace("\n", " ")
