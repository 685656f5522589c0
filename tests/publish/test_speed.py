"""Speed, for people: a result beside what could be and what is sold, and the ceilings of `calc goodput`."""

from click.testing import CliRunner

from wanwatch.cli import main
from wanwatch.core.account.goodput import Framing
from wanwatch.core.account.responsiveness import Responsiveness
from wanwatch.core.account.speed import Goodput, Limit, Mark
from wanwatch.core.account.speed_result import WORDS, Delay, Direction, Ending, Run, SpeedResult, Tcp
from wanwatch.publish.speed import goodput_text, progress, rate, speed_text

AT_UNIX_NS = 1_793_000_000_000_000_000


def delay(ms: float) -> Delay:
    """Probes that all took so long."""
    s = ms / 1e3
    return Delay(kind="stamp", sent=20, lost=1, least_s=s, mean_s=s, median_s=s, high_s=s)


GOOD = Run(
    direction=Direction.DOWN, ending=Ending.DONE, why="",
    goodput=Goodput(bps=874.2e6, seconds=10.0, low_bps=871e6, median_bps=874e6, high_bps=876.3e6, bins=100),
    warm_up_s=1.1, steady=True, used_bytes=1_200_000_000, ip=4, tls=True, connections=4, best_bps=941.482445e6,
    tcp=Tcp(efficiency=None, least_rtt_s=0.008, mean_rtt_s=0.012, buffer_delay=0.5, mss=1448, timestamps=True),
    idle=delay(8), loaded=delay(12), responsiveness=Responsiveness(foreign=2500, loaded=None, rpm=None),
    limited_by=Limit.LINE, sign="a queue stood before the line",
)  # fmt: skip
BAD = Run(direction=Direction.UP, ending=Ending.RESET, why="Connection reset by peer")


def result(*runs: Run) -> SpeedResult:
    """A test of these directions."""
    return SpeedResult(
        site="harbour-lane", uplink="fibre", at_unix_ns=AT_UNIX_NS, server="https://192.0.2.80/", runs=runs
    )


def test_a_result_stands_beside_what_is_sold_and_what_is_possible() -> None:
    """Every figure with its name; what could not be measured is not there, and why is said below."""
    assert speed_text(result(GOOD, BAD), {Direction.DOWN: 900e6}, "Europe/London") == (
        "fibre, 2026-10-26 07:33:20+00:00, against https://192.0.2.80/\n"
        "\n"
        "                        down                             up\n"
        "goodput                 874.2 Mbit/s                     not measured\n"
        "  between               871 Mbit/s and 876.3 Mbit/s      -\n"
        "  of what is sold       97.1% of 900 Mbit/s              -\n"
        "  of the best possible  92.9% of 941.5 Mbit/s            -\n"
        "measured for            10.0 s, after 1.1 s to warm up   -\n"
        "over                    4 TCP connections, IPv4, TLS     -\n"
        "delay idle              8.0 ms, p95 8.0 ms, 5.0% lost    -\n"
        "delay under load        12.0 ms, p95 12.0 ms, 5.0% lost  -\n"
        "round trips a minute    2500 beside the load             -\n"
        "buffer delay            50%                              -\n"
        "limited by              line                             -\n"
        "counts                  yes                              no\n"
        "\n"
        "- down: a queue stood before the line\n"
        "- down: round trips a minute are those of draft-ietf-ippm-responsiveness-09\n"
        "- up: the connection was reset (Connection reset by peer)\n"
    )


def test_a_run_that_says_nothing_of_the_line_says_so() -> None:
    """What our own machine limits never counts against the line."""
    slow = Run(
        direction=Direction.UP, ending=Ending.DONE, goodput=GOOD.goodput, warm_up_s=3.0, steady=False,
        limited_by=Limit.PROCESSOR, sign="this machine's program was busy",
    )  # fmt: skip
    text = speed_text(result(slow), {}, "UTC")
    assert "limited by    processor\n" in text
    assert "- up: it was not the line that showed as the limit, so this says nothing against the line\n" in text
    assert "- up: the rate had not become steady after 3.0 s\n" in text


def test_json_has_every_figure_and_whether_it_counts() -> None:
    """A direction that was not asked for is null; instants are RFC 3339 in UTC."""
    told = result(GOOD).to_json()
    assert (told["at"], told["up"]) == ("2026-10-26T07:33:20.000000Z", None)
    down = told["down"]
    assert isinstance(down, dict)
    assert down["counts"] is True
    assert down["limited_by"] == "line"
    assert down["goodput"] == {
        "bps": 874.2e6, "seconds": 10.0, "low_bps": 871e6, "median_bps": 874e6, "high_bps": 876.3e6, "bins": 100,
    }  # fmt: skip


def test_every_ending_has_its_words() -> None:
    """A trouble without words would be told to nobody."""
    assert set(WORDS) == set(Ending)


def test_progress_is_one_line_with_the_rate_of_the_last_second() -> None:
    """For a terminal: how much of the time has gone by."""
    marks = [Mark(number * 100_000_000, number * 1_250_000) for number in range(51)]
    assert progress(Direction.DOWN, marks, 10.0) == "down  " + "█" * 15 + "·" * 15 + "     100 Mbit/s"
    assert progress(Direction.UP, marks[:1], 10.0).startswith("up    " + "·" * 30)


def test_rates_are_shown_in_the_unit_that_people_use() -> None:
    """Decimal, as lines are sold."""
    assert [rate(bps) for bps in (2.5e9, 80e6, 640e3, 5)] == ["2.5 Gbit/s", "80 Mbit/s", "640 kbit/s", "5 bit/s"]


def test_the_ceiling_of_a_handoff_is_told_with_its_sources() -> None:
    """IEEE 802.3, RFC 2516: PPPoE at 1492 over a gigabit, and 900 Mbit/s by what the provider counts; computed."""
    text = goodput_text(10**9, Framing(mtu=1492, pppoe=True), 900 * 10**6, 20_000_000)
    assert (
        "1538 bytes of wire time carry one IP packet of 1492, so a port of 1 Gbit/s carries 81274 a second, and at "
        in text
    )
    assert "TCP over IPv4              1452 bytes    944.083225 Mbit/s\n" in text
    assert "TCP over IPv6, timestamps  1420 bytes    923.276983 Mbit/s\n" in text
    assert "TCP over IPv4, timestamps    868.632708 Mbit/s    853.754941 Mbit/s\n" in text
    assert "A window of 2360.21 kB fills it over 20 ms (RFC 6349 section 3.3.1).\n" in text


def test_the_command_says_what_the_function_says() -> None:
    """One thin function a command."""
    said = CliRunner().invoke(main, ["calc", "goodput", "1Gbps", "--vlan"])
    assert (said.exit_code, said.output) == (0, goodput_text(10**9, Framing(vlan=True), None, None))
    said = CliRunner().invoke(main, ["calc", "goodput", "1000"])
    assert said.exit_code == 2
    assert "'1000': not a rate; write a number and one of bps, kbps, Mbps, Gbps" in " ".join(said.stderr.split())
