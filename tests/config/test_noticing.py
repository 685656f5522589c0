"""Whom to tell of what: the table's mistakes, and what it comes to."""

from collections.abc import Callable

import pytest

from wanwatch.config import Config
from wanwatch.core.model import NS_PER_S, EventKind
from wanwatch.core.notices import Terms

Mistakes = Callable[[str], list[str]]
HOOK = 'to = "https://hooks.example.net/wan"\n'


@pytest.mark.parametrize(
    ("written", "told"),
    [
        (
            f"[[notice]]\n{HOOK}[[notice]]\n{HOOK}",
            (
                "notice[1].to = 'https://hooks.example.net/wan': there is a table for this address already; "
                "write what it asks for in one table"
            ),
        ),
        (
            f'[[notice]]\n{HOOK}quiet = "22:00-07:00"\nthrough_quiet = ["outage", "blackout"]',
            "notice[0].through_quiet[1] = 'blackout': it is not told at all; write it in on as well",
        ),
        (
            '[[notice]]\nto = "mailto:a%0D%0ABcc:b@example.net"',
            (
                "notice[0].to = 'mailto:a%0D%0ABcc:b@example.net': not a mail address; "
                'write one such as "mailto:ops@example.net"'
            ),
        ),
        (
            f'[[notice]]\n{HOOK}remind_every = "10s"',
            "notice[0].remind_every = '10s': too often for people; write \"1m\" or longer",
        ),
        (
            f'[[notice]]\n{HOOK}end_after = "2h"',
            "notice[0].end_after = '2h': after an hour it would be another incident; write \"1h\" or shorter",
        ),
        (
            f"[[notice]]\n{HOOK}report = true\n[report]\nmonthly = []",
            "notice[0].report = true: no report is written by itself; name a format in report.monthly",
        ),
    ],
)
def test_a_table_that_cannot_be_meant_is_a_mistake(mistakes: Mistakes, right: str, written: str, told: str) -> None:
    """Told before anybody relies on it, with what to write instead."""
    assert mistakes(f"{right}\n{written}\n") == [told]


@pytest.mark.parametrize("written", ["most_an_hour = 0", 'quiet = "22-7"', 'on = ["fire"]', "planned = 1"])
def test_what_no_key_takes_is_refused(mistakes: Mistakes, right: str, written: str) -> None:
    """Each key takes its own kind of value."""
    assert len(mistakes(f"{right}\n[[notice]]\n{HOOK}{written}\n")) == 1


def test_a_table_comes_to_terms(read: Callable[[str], Config], right: str) -> None:
    """Every key reaches the policy, and what is left out is as the policy has it."""
    written = f"""[[notice]]
{HOOK}on = ["outage", "pin-lost"]
begin_after = "1m"
end_after = "5m"
remind_every = "4h"
quiet = "22:00-07:00"
through_quiet = ["outage"]
most_an_hour = 3
planned = true
drills = true
report = true
[[notice]]
to = "https://hooks.example.net/b"
"""
    config = read(f"{right}\n{written}")
    zone, on = config.site.zone, frozenset({EventKind.OUTAGE, EventKind.PIN_LOST})
    assert config.notices[0].terms("s", zone, 7) == Terms(
        site="s", to="https://hooks.example.net/wan", on=on, zone=zone, begin_after_ns=60 * NS_PER_S,
        end_after_ns=300 * NS_PER_S, remind_every_ns=4 * 3600 * NS_PER_S, quiet=(22 * 60, 7 * 60),
        through=frozenset({EventKind.OUTAGE}), most_an_hour=3, planned=True, drills=True, reports=True,
        since_unix_ns=7,
    )  # fmt: skip
    usual = frozenset({EventKind.OUTAGE, EventKind.STUCK_FAILOVER, EventKind.FAILOVER, EventKind.FAILBACK})
    assert config.notices[1].terms("s", zone, 0) == Terms(
        site="s", to="https://hooks.example.net/b", on=usual, zone=zone
    )
