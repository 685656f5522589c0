"""Calculations for a terminal: the figures of published tables, and every number with its name."""

from decimal import Decimal

import pytest
from click.testing import CliRunner

from wanwatch.cli import main
from wanwatch.publish.calculations import downtime_text, voice_text


def rows(text: str) -> list[str]:
    """The exact seconds that stand at the end of each row."""
    return [line.split("  ")[-1].strip() for line in text.splitlines() if line.startswith("in ")]


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        # year and quarter, a month of 30 days, a week, a day, an hour
        ("0.99", ("315360 s", "77760 s", "25920 s", "6048 s", "864 s", "36 s")),
        ("0.999", ("31536 s", "7776 s", "2592 s", "604.8 s", "86.4 s", "3.6 s")),
        ("0.9995", ("15768 s", "3888 s", "1296 s", "302.4 s", "43.2 s", "1.8 s")),
        ("0.99999", ("315.36 s", "77.76 s", "25.92 s", "6.048 s", "0.864 s", "0.036 s")),
    ],
)
def test_the_downtime_allowed_is_that_of_the_published_table(share: str, expected: tuple[str, ...]) -> None:
    """Google, Site Reliability Engineering, appendix A; it prints 8.76 h and 43.2 min for 99.9 % of a year, a month."""
    year, quarter, _, month, _, week, day, hour = rows(downtime_text(Decimal(share)))
    assert (year, quarter, month, week, day, hour) == expected


def test_months_are_told_by_their_length() -> None:
    """99.9 % of 31 days is 44.64 min, of 28 days 40.32 min; computed."""
    text = downtime_text(Decimal("0.999"))
    assert text.startswith("99.9% availability allows a line to be down for\n")
    assert "in a month of 31 days    44 min 38 s  2678.4 s\n" in text
    assert "in a month of 28 days    40 min 19 s  2419.2 s\n" in text
    assert "in an hour                            3.6 s\n" in text


def test_nothing_is_allowed_where_everything_is_promised() -> None:
    """100 % has no allowance, and is not said to have one."""
    assert set(rows(downtime_text(Decimal(1)))) == {"0 s"}


def test_a_call_is_told_with_its_model_and_all_that_goes_into_it() -> None:
    """ITU-T G.107, G.113 and G.114: 150 ms and 1 % with concealment have R = 89.4, MOS 4.32."""
    assert voice_text(150_000_000, Decimal("0.01"), "g711-plc") == (
        "codec  G.711 with loss concealment (ITU-T G.113: Ie 0, Bpl 25.1)\n"
        "delay  150ms from mouth to ear: short enough for most uses (ITU-T G.114)\n"
        "loss   1%, taken as random\n"
        "\n"
        "best rating                         93.21\n"
        "less for delay (Idd)                 0.16\n"
        "less for codec and loss (Ie,eff)     3.64\n"
        "rating R                            89.40  users satisfied\n"
        "mean opinion score (MOS)             4.32  of 1 to 4.5\n"
        "\n"
        "ITU-T G.107 (E-model) with its default values and echo fully controlled\n"
    )


def test_the_commands_print_what_the_functions_say() -> None:
    """One thin function a command."""
    said = CliRunner().invoke(main, ["calc", "downtime", "99.9%"])
    assert (said.exit_code, said.output) == (0, downtime_text(Decimal("0.999")))
    said = CliRunner().invoke(main, ["calc", "voice", "--delay", "150ms", "--loss", "1%", "--codec", "g729a"])
    assert (said.exit_code, said.output) == (0, voice_text(150_000_000, Decimal("0.01"), "g729a"))


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["downtime", "99.9"], "'99.9': not a share; write a number and a percent sign, such as \"99.9%\""),
        (["voice", "--delay", "150"], "'150': not a duration; write a number and one of us, ms, s, m, h, d"),
        (["voice", "--delay", "1s", "--codec", "pigeon"], "'pigeon' is not one of 'g711', 'g711-plc', 'g729a'"),
    ],
)
def test_bad_usage_is_told_with_its_mend(arguments: list[str], told: str) -> None:
    """Exit code 2, and what to write instead."""
    said = CliRunner().invoke(main, ["calc", *arguments])
    assert said.exit_code == 2
    assert told in " ".join(said.stderr.split())


def test_light_is_told_with_every_figure_and_the_caution() -> None:
    """12 km, 4 connectors, 6 splices, a splitter of 17.5 dB, class B+ (ITU-T G.984.2): 27.1 dB, 0.9 dB to spare."""
    asked = [
        "calc",
        "light",
        "--length",
        "12km",
        "--connectors",
        "4",
        "--splices",
        "6",
        "--split",
        "32",
        "--splitter",
        "17.5dB",
    ]
    done = CliRunner().invoke(main, asked)
    assert done.exit_code == 0
    assert "loss, at the most    27.10 dB  0.90 dB to spare: class B+ allows up to 28 dB\n" in done.output
    assert "-25.60 to -19.60 dBm" in done.output
    assert "margin 1.40 dB, below overload by 11.60 dB: can be received\n" in done.output
    assert "never look into a fibre or a connector" in done.output


@pytest.mark.parametrize(
    ("asked", "reason"),
    [
        ("--length 350", "'350': not a length; write a number and one of mm, m, km, such as \"350m\""),
        ("--length 350m --splice 1", "'1': not a loss; write a number below 100 and dB, such as \"0.3dB\""),
    ],
)
def test_a_length_or_a_loss_without_its_unit_is_refused(asked: str, reason: str) -> None:
    """The value, why, and what to write instead."""
    done = CliRunner().invoke(main, ["calc", "light", *asked.split()])
    assert done.exit_code == 2
    assert reason in " ".join(done.output.split())
