"""The tally: what promises have come to so far is what the report says."""

import json
import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.fakes.month import PERIOD, SUBJECT, at, build_month, record, reported
from wanwatch.cli import main
from wanwatch.core.account.tally import ClauseSoFar, Tally
from wanwatch.core.model import NS_PER_S
from wanwatch.report.as_json import render_json
from wanwatch.report.month import build_period
from wanwatch.report.subject import Contract
from wanwatch.report.tally import tally_of

NOW = at("14 12:00:00")
FIBRE = SUBJECT.uplinks[0]


def test_a_tally_says_what_the_running_month_s_report_says() -> None:
    """The same figures and verdicts, clause by clause; what is open is neither met nor breached."""
    report = reported(SUBJECT, NOW)
    told = json.loads(render_json(report))["uplinks"][0]["clauses"]
    tally = tally_of(report, SUBJECT)
    verdicts = {True: "met", False: "breached", None: "undecided"}
    assert [(one.value, verdicts[one.met]) for one in tally.clauses] == [(one["value"], one["verdict"]) for one in told]
    assert {one.met for one in tally.clauses} == {None}
    undetailed = build_period(record(), SUBJECT, report.of, NOW, detailed=False)
    assert tally_of(undetailed, SUBJECT) == tally
    assert [line.y1540 for line in undetailed.accounts.lines.values()] == [None, None]
    assert (tally.made_unix_ns, tally.until_unix_ns) == (NOW, PERIOD.end_unix_ns)


def test_what_is_left_is_told_of_each_promise_of_availability() -> None:
    """99.9 % of October's 2,682,000 s allow 2682 s; by the 14th the fibre was down for 300 and 1864 of them.

    99 % without what is our own side's allow 26,817 s, since those 300 s are in neither side.
    """
    tally = tally_of(reported(SUBJECT, NOW), SUBJECT)
    assert [one.left_s for one in tally.clauses] == [2682 - 2164, 26_817 - 1864, None, None, None]


def test_a_breach_is_told_once_nothing_can_mend_it() -> None:
    """By the 26th more than 2682 s were lost."""
    first, *_ = tally_of(reported(SUBJECT, at("26 00:00:00")), SUBJECT).clauses
    assert (first.met, first.left_s) == (False, 2682 - 3372)


def test_only_the_contract_in_force_is_spoken_of() -> None:
    """The former one's promises of the same month are the report's matter."""
    promises = FIBRE.contracts[0].promises
    contracts = (
        Contract(provider="Example Fibre", ends=date(2026, 10, 10), promises=promises),
        Contract(provider="Example Fibre", starts=date(2026, 10, 11), promises=promises[:1]),
    )
    subject = replace(SUBJECT, uplinks=(replace(FIBRE, contracts=contracts), *SUBJECT.uplinks[1:]))
    tally = tally_of(build_month(record(), subject, 2026, 10, NOW), subject)
    (one,) = tally.clauses
    assert (one.uplink, one.clause) == ("fibre", "availability at least 99.9%")
    assert one.left_s == 21 * 86.4 + 3.6 - 1864


def test_a_tally_comes_through_json_as_it_was() -> None:
    """It goes from one process to another."""
    clauses = (ClauseSoFar(uplink="fibre", clause="a", value=0.1, met=None, left_s=1 / 3),)
    tally = Tally(made_unix_ns=1_793_700_000 * NS_PER_S + 1, until_unix_ns=2 * NS_PER_S, clauses=clauses, cpu_s=2.5)
    assert Tally.from_json(json.loads(json.dumps(tally.to_json()))) == tally


@pytest.mark.parametrize(
    ("words", "wanted"), [(["--tally"], [(0, os.SCHED_IDLE)]), (["--keep"], [(0, os.SCHED_IDLE)]), ([], [])]
)
def test_what_the_daemon_starts_gives_way_to_all_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], wanted: list[tuple[int, int]]
) -> None:
    """sched(7): SCHED_IDLE runs when nothing else wants to; from the first moment, before anything is loaded."""
    asked: list[tuple[int, int]] = []
    monkeypatch.setattr(os, "sched_setscheduler", lambda pid, policy, _: asked.append((pid, policy)))
    result = CliRunner().invoke(main, ["report", *words, "--config", str(tmp_path / "missing.toml")])
    assert result.exit_code == 2
    assert asked == wanted


def test_a_tally_is_of_the_running_month_only() -> None:
    """What is asked for otherwise is refused, not passed over."""
    result = CliRunner().invoke(main, ["report", "--tally", "--month", "2026-10"])
    assert (result.exit_code, "--tally is of the running month; leave the period out" in result.output) == (2, True)
