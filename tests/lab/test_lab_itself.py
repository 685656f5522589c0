"""The lab tells the truth about itself: else no story judged against it proves anything."""

import re
import signal
import subprocess
import time
from itertools import pairwise
from pathlib import Path

import pytest

from tests.lab.enclosure import Enclosure, LabError
from tests.lab.office import (
    COPPER,
    FIBRE,
    NEXT_HOP,
    ONE_WAY_S,
    PUBLIC,
    RESOLVER,
    STUN,
    TARGETS,
    TARGETS_V6,
    WEB,
    Office,
)
from tests.lab.python import PYTHON

pytestmark = pytest.mark.lab
TARGET = TARGETS[0]
ASK = """
import sys, dns.message, dns.query
_, resolver, source = sys.argv
print(dns.query.udp(dns.message.make_query("www.example.com", "A"), resolver, 5, source=source).answer[0][0])
"""


def _pin(office: Office, line: str, *, six: bool = False) -> str:
    """What makes ping and curl use a line."""
    if office.mini_pc_routes:
        return f"{line}0"
    return {FIBRE: ("10.20.0.11", "2001:db8:1::11"), COPPER: ("10.20.0.12", "2001:db8:2::12")}[line][six]


def _ping(office: Office, *arguments: str, target: str = TARGET) -> list[float]:
    """Round-trip times in seconds of the answers that `ping` got."""
    said = office.world.run("pc", "ping", "-n", *arguments, target).stdout
    return [float(ms) / 1000 for ms in re.findall(r" time=([\d.]+) ms", said)]


@pytest.mark.parametrize("line", [FIBRE, COPPER])
@pytest.mark.parametrize("six", [False, True], ids=["v4", "v6"])
def test_a_line_has_the_round_trip_time_it_was_given(office: Office, line: str, *, six: bool) -> None:
    """Delay is the forwarder's, to within what a busy machine adds; never less than asked for."""
    rtts = _ping(office, "-c10", "-i0.05", "-I", _pin(office, line, six=six), target=TARGETS_V6[0] if six else TARGET)
    assert len(rtts) == 10
    assert 2 * ONE_WAY_S[line] <= min(rtts) <= 2 * ONE_WAY_S[line] + 0.002


def test_ordinary_traffic_follows_the_gateway(office: Office) -> None:
    """A move of the default route changes which line unpinned traffic takes, for old flows too."""
    assert min(_ping(office, "-c3", "-i0.05")) < 0.02
    office.move(COPPER)
    assert min(_ping(office, "-c3", "-i0.05")) > 0.03
    office.move(FIBRE)
    assert min(_ping(office, "-c3", "-i0.05")) < 0.02


@pytest.mark.parametrize("ways", [("up", "down"), ("up",), ("down",)])
def test_nothing_is_answered_between_a_cut_and_its_mending(office: Office, ways: tuple[str, ...]) -> None:
    """The truth log brackets what ping sees: every probe sent within the cut is lost, every other one answered.

    The exception is a probe under way when a cut of the way back is mended: it was sent up to a round trip earlier.
    """
    pin = _pin(office, FIBRE)
    command = office.world.command("pc", "ping", "-n", "-D", "-i0.02", "-w2", "-I", pin, TARGET)
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as ping:
        time.sleep(0.7)
        cut = office.cut(FIBRE, *ways)
        time.sleep(0.6)
        mended = office.mend(FIBRE)
        said, _ = ping.communicate()
    answers = [(float(at), float(ms) / 1000) for at, ms in re.findall(r"\[([\d.]+)\].* time=([\d.]+) ms", said)]
    sent = [at - rtt for at, rtt in answers]
    assert answers
    round_trip_ns = 2 * ONE_WAY_S[FIBRE] * 1e9
    assert not [at for at in sent if cut.at_unix_ns < at * 1e9 < mended.at_unix_ns - round_trip_ns]
    last_before, first_after = max(pairwise(sent), key=lambda pair: pair[1] - pair[0])
    assert cut.at_unix_ns / 1e9 - last_before < 0.1
    assert first_after - mended.at_unix_ns / 1e9 < 0.1


def test_loss_is_the_share_that_was_asked_for(office: Office) -> None:
    """30 % each way lets 49 % of round trips through; within four standard deviations of a binomial."""
    office.change(COPPER, {"loss": 0.3})
    rtts = _ping(office, "-c200", "-i0.005", "-W1", "-I", _pin(office, COPPER))
    office.change(COPPER, {"loss": 0.0})
    assert abs(len(rtts) - 98) < 4 * (200 * 0.49 * 0.51) ** 0.5


def test_jitter_spreads_round_trips(office: Office) -> None:
    """A jitter of 5 ms each way shows, and never shortens a line by more than that."""
    office.change(FIBRE, {"delay_s": 0.01, "jitter_s": 0.005})
    rtts = _ping(office, "-c40", "-i0.02", "-I", _pin(office, FIBRE))
    office.change(FIBRE, {"delay_s": ONE_WAY_S[FIBRE], "jitter_s": 0.0})
    assert min(rtts) >= 0.01
    assert max(rtts) - min(rtts) > 0.004


def test_a_shaped_line_carries_its_rate(office: Office) -> None:
    """1000-byte echoes at 400 kbit/s take 21 ms more each way (1042 bytes on Ethernet) than unshaped ones."""
    office.change(COPPER, {"rate_bps": 400_000})
    shaped = _ping(office, "-c5", "-s1000", "-i0.1", "-I", _pin(office, COPPER))
    office.change(COPPER, {"rate_bps": 0})
    free = _ping(office, "-c5", "-s1000", "-i0.1", "-I", _pin(office, COPPER))
    assert min(shaped) - min(free) == pytest.approx(2 * 1042 * 8 / 400_000, abs=0.003)


@pytest.mark.parametrize("line", [FIBRE, COPPER])
def test_names_web_and_stun_answer_over_every_line(office: Office, line: str) -> None:
    """Independent clients get the right answers over each line, from its own public address."""
    pin = _pin(office, line)
    assert "lab answers" in office.world.must("pc", "curl", "-sS", "--interface", pin, f"http://{WEB}/")
    if not office.mini_pc_routes:  # these two pin by address alone, which where the mini PC routes is no pin
        assert office.world.must("pc", PYTHON, "-c", ASK, RESOLVER[line], pin) == f"{WEB}\n"
        for server in STUN:
            said = office.world.must("pc", "turnutils_stunclient", "-L", pin, server)
            assert f"UDP reflexive addr: {PUBLIC[line]}:" in said


def test_the_way_out_is_told_by_the_first_hop(office: Office) -> None:
    """A probe that may cross the gateway only is answered by the provider's access router."""
    ttl = "1" if office.mini_pc_routes else "2"
    for line in (FIBRE, COPPER):
        said = office.world.run("pc", "ping", "-n", "-c1", "-t", ttl, "-I", _pin(office, line), TARGET).stdout
        assert f"From {NEXT_HOP[line]} icmp_seq=1 Time to live exceeded" in said


def test_a_flow_that_is_not_forgotten_stays_with_its_dead_line(tmp_path: Path) -> None:
    """Without a flush an old flow keeps the old line's address and dies; a new flow takes the new line."""
    with Office(tmp_path) as office:
        command = office.world.command("pc", "ping", "-n", "-i0.05", "-w2", TARGET)
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as ping:
            time.sleep(0.5)
            office.cut(FIBRE)
            office.move(COPPER, forget_flows=False)
            assert _ping(office, "-c2", "-i0.05")
            said, _ = ping.communicate()
        assert 5 < len(re.findall(r"time=", said)) < 15


def test_a_silenced_target_says_nothing_at_all(tmp_path: Path) -> None:
    """It is silent, not refused: no router speaks for it."""
    with Office(tmp_path) as office:
        office.silence(TARGETS[1])
        assert "100% packet loss" in office.world.run("pc", "ping", "-n", "-c2", "-W1", TARGETS[1]).stdout
        assert "errors" not in office.world.run("pc", "ping", "-n", "-c2", "-W1", TARGETS[1]).stdout
        assert _ping(office, "-c1")


def test_an_order_for_no_such_line_is_refused(office: Office) -> None:
    """A story with a slip of the pen must not pass as one in which nothing happened."""
    with pytest.raises(LabError, match="cannot obey"):
        office.change("fiber", {"cut": True})
    with pytest.raises(LabError, match="cannot obey"):
        office.change(FIBRE, {"severed": True})


def test_nothing_is_left_of_a_lab(tmp_path: Path) -> None:
    """The end of the pipe ends every process within: the same that happens when a test run is killed."""
    with Office(tmp_path) as office:
        sleepers = [office.spawn("isp1", "sleep", "1000") for _ in range(2)]
        sleepers[1].signal(signal.SIGSTOP)
        assert all(sleeper.alive() for sleeper in sleepers)
    for sleeper in sleepers:
        assert not sleeper.alive()
        assert not Path(f"/proc/{sleeper.pid}").exists()


def test_a_machine_that_allows_no_lab_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """The reason of a skip is the system's own words."""
    monkeypatch.setattr("tests.lab.enclosure.FIRST", "echo no lab today >&2; exit 1")
    with pytest.raises(LabError, match=r"no lab today|not permitted"):
        Enclosure()
