"""An acceptance test on a real terminal, over the demo's simulated office, beside the whole daemon."""

import asyncio
from pathlib import Path

import pytest

from tests.drill.test_whole_drill import until_all_is_known, watched

pytestmark = pytest.mark.timeout(300)


async def test_a_test_asks_for_what_is_missing_and_can_be_left_with_its_steps_kept(tmp_path: Path) -> None:
    """Ctrl-C is exit code 3, what was done and said is kept, and the certificate says how far it came."""
    async with watched(tmp_path) as site:
        await until_all_is_known(site)
        with site.person("accept", "fibre") as person:
            for question, answer in (
                ("What is the line made of", "string"),
                ("not one of the words", "copper"),
                ("Circuit reference", "EX-1"),
                ("public IPv4 address", "."),
            ):
                await asyncio.to_thread(person.expect, question)
                person.type(answer)
            with site.person("accept", "fibre") as second:
                assert await asyncio.to_thread(second.ended) == 3
            await asyncio.to_thread(person.expect, " 7 of 11  idle delay")
            person.interrupt()
            assert await asyncio.to_thread(person.ended) == 3
        with site.person("accept", "fibre", "--show") as shown:
            assert await asyncio.to_thread(shown.ended) == 3
    assert "an acceptance test is under way already" in second.read
    assert "the same command takes it up again" in person.read
    assert "fibre is not tested to the end: 6 of 11 steps are done, and next is the step 'idle delay'" in shown.read
    assert "pass         Resolver answers" in shown.read
    assert "light" not in person.read.lower()  # of copper nobody asks for it


async def test_a_line_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    """Exit code 2, and so is a handover that cannot be used: nothing is measured then."""
    (tmp_path / "handover.toml").write_text('light_level = "18"')
    async with watched(tmp_path) as site:
        for words, said in (
            (("fiber",), "uplink 'fiber': there is no such uplink; write one of fibre, copper"),
            (("fibre", "--handover", str(tmp_path / "handover.toml")), "light_level = '18': not a level"),
            (("copper", "--show"), "no acceptance test of it is kept"),
        ):
            with site.person("accept", *words) as person:
                assert await asyncio.to_thread(person.ended) == 2
            assert said in person.read.replace("\n", " ")
