"""Verdicts: the same trouble again and again at random instants, and how often it was judged right.

Run by hand, as root or not: `python tests/lab/verdicts.py --runs 20 --seed 7 [--only names-dead ...]`. Each trial has a
lab of its own, several of which run side by side; a round waits until all is well, makes the trouble at an instant of
chance, waits for the verdict, mends, and compares everything that was told of the round with what is right. Prints a
table: trial, rounds judged right, and the widest bounds and slowest verdict of its outages. `test_verdicts.py` is the
short form.
"""

import argparse
import json
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.lab import servers
from tests.lab.office import FIBRE, Office, Truth
from tests.lab.stage import Lab, unix_s
from tests.lab.trials import TRIALS, Deed, Trial, Verdict
from tests.lab.watch import Told, Watch

AT_ONCE: Final = 8
VERDICT_WITHIN_S: Final = 40.0
SETTLED_WITHIN_S: Final = 60.0
JUDGE: Final = """
down_after = "1s"
up_after = "2s"
window = "10s"
clear_after = "5s"
stuck_after = "6s"
flapping_changes = 1000
"""
"""Quick verdicts; and so many rounds of one trouble are no flapping."""
SLACK_S: Final = 0.05
"""A probe under way when its line was cut was sent up to one round trip before."""


@dataclass
class Score:
    """What came of a trial.

    Attributes:
        right: Rounds judged right.
        rounds: All rounds.
        misses: What was told wrongly, in words.
        start_wide_s: The widest bounds of an outage's start.
        end_wide_s: The widest bounds of an outage's end.
        named_s: The longest time from the trouble to the record's holding everything that was to be told first.
    """

    right: int = 0
    rounds: int = 0
    misses: list[str] = field(default_factory=list)
    start_wide_s: float = 0.0
    end_wide_s: float = 0.0
    named_s: float = 0.0


@dataclass(frozen=True)
class Mark:
    """When a deed was done: a script takes a moment."""

    before: Truth
    after: Truth

    @classmethod
    def of(cls, deed: Deed, lab: Lab) -> "Mark":
        """Do it."""
        before = Truth.now()
        deed(lab)
        return cls(before, Truth.now())


@contextmanager
def opened(trial: Trial, folder: Path) -> Iterator[Lab]:
    """The trial's lab, with a daemon that knows all of a quiet day."""
    with Office(folder, mini_pc_routes=trial.mini_pc_routes) as office:
        watch = Watch(office, JUDGE)
        lines = watch.file.read_text().splitlines()
        watch.file.write_text("\n".join(line for line in lines if line.partition(" =")[0] not in trial.lacks))
        lab = Lab(office, watch, servers.all_of(office))
        watch.start()
        time.sleep(6)  # each rung has been asked once
        yield lab
        watch.stop()


def verdicts(told: Sequence[Told]) -> frozenset[Verdict]:
    """What was told, in short."""
    return frozenset(
        (event["kind"], event["uplink"], event["domain"])
        if event["uplink"]
        else (event["kind"], f"{event['from'] or 'none'}>{event['to'] or 'none'}", event["detail"].get("cause"))
        for event in told
    )


def play(trial: Trial, lab: Lab, chance: random.Random, score: Score) -> None:
    """One round."""
    score.rounds += 1
    begun = Truth.now()

    def told() -> list[Told]:
        return [event for event in lab.watch.events() if unix_s(event["start_latest"]) >= begun.unix_s]

    time.sleep(chance.uniform(0.5, 2.5))
    harmed = Mark.of(trial.harm, lab)
    if trial.then:
        _wait(lambda: any(event["kind"] == trial.then[0] for event in told() if trial.then), VERDICT_WITHIN_S)
        trial.then[1](lab)
    first = {verdict for verdict in trial.right if not verdict[0].startswith(("restoration", "failback"))}
    if _wait(lambda: first <= verdicts(told()), VERDICT_WITHIN_S if first else 0) and first:
        score.named_s = max(score.named_s, time.monotonic() - harmed.after.at_ns / 1e9)
    time.sleep(chance.uniform(0.0, 1.0) if first else trial.quiet_s)
    healed = Mark.of(trial.heal, lab)
    _wait(lambda: all(event["end"] for event in told()), SETTLED_WITHIN_S)
    if trial.home:
        time.sleep(1)
        trial.home(lab)
    settled = _wait(lambda: trial.right <= verdicts(told()) and _quiet(lab, told()), SETTLED_WITHIN_S)
    events = told()
    faults = [
        *_misjudged(trial, events),
        *(f for event in events for f in _bounds(event, harmed, healed, trial.late_s, score)),
    ]
    if settled and not faults:
        score.right += 1
    else:
        score.misses.append("; ".join(faults) or f"not settled: {json.dumps(events)}")


def _wait(true: Callable[[], bool], within_s: float) -> bool:
    deadline = time.monotonic() + within_s
    while not true():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.2)
    return True


def _quiet(lab: Lab, told: Sequence[Told]) -> bool:
    if not all(event["end"] for event in told):
        return False
    health = lab.watch.health()
    states = {uplink["state"] for uplink in health.get("uplinks", [])}
    carrying = health.get("carrying", {})
    return states == {"up"} and carrying["known"] and carrying["uplink"] == FIBRE


def _misjudged(trial: Trial, told: list[Told]) -> Iterator[str]:
    said = verdicts(told)
    if said != trial.right or len(told) != len(trial.right):
        wrong = [event for event in told if verdicts([event]) - trial.right]
        yield f"missing {sorted(trial.right - said, key=str)}, told {json.dumps(wrong or told)}"
    elif not trial.proves(told):
        yield f"evidence: {json.dumps(told)}"


def _bounds(event: Told, harmed: Mark, healed: Mark, late_s: float, score: Score) -> Iterator[str]:
    if event["kind"] != "outage" or not event["end"]:
        return
    for edge, mark, late in (("start", harmed, 0.0), ("end", healed, late_s)):
        earliest_s, latest_s = unix_s(event[f"{edge}_earliest"]), unix_s(event[f"{edge}_latest"])
        if not (earliest_s <= mark.after.unix_s + late + 0.001 and latest_s + SLACK_S >= mark.before.unix_s):
            off = f"{earliest_s - mark.after.unix_s:+.3f}..{latest_s - mark.before.unix_s:+.3f} s of the truth"
            yield f"{edge} of {event['id']}: {off}"
        wide_s = latest_s - earliest_s
        if edge == "start":
            score.start_wide_s = max(score.start_wide_s, wide_s)
        else:
            score.end_wide_s = max(score.end_wide_s, wide_s)


def tried(trial: Trial, runs: int, seed: int) -> Score:
    """Play a trial so many times in one lab."""
    score, chance = Score(), random.Random(f"{seed} {trial.name}")  # noqa: S311 - instants that can be had again
    with tempfile.TemporaryDirectory(prefix="wanwatch-verdicts-") as folder, opened(trial, Path(folder)) as lab:
        for _ in range(runs):
            play(trial, lab, chance, score)
    return score


def main() -> int:
    """Return 0 if every round was judged right."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--runs", type=int, default=20)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--only", nargs="*", choices=[trial.name for trial in TRIALS], default=[])
    asked = arguments.parse_args()
    trials = [trial for trial in TRIALS if not asked.only or trial.name in asked.only]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        playing = {pool.submit(tried, trial, asked.runs, asked.seed): trial.name for trial in trials}
        right = True
        print(f"{'trial':24} right   start bounds  end bounds  told within")  # noqa: T201 - a script's answer
        for played in as_completed(playing):
            score = played.result()
            right &= score.right == score.rounds
            rounds = f"{score.right}/{score.rounds}"
            widths = f"{score.start_wide_s:8.3f} s {score.end_wide_s:9.3f} s {score.named_s:9.1f} s"
            print(f"{playing[played]:24} {rounds:7} {widths}", *score.misses, sep="\n  ", flush=True)  # noqa: T201
    return 0 if right else 1


if __name__ == "__main__":
    sys.exit(main())
