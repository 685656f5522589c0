"""Accounts as JSON values: how lines, site and people stood, for programs; times in seconds, ratios in [0, 1]."""

from wanwatch.core.account.allowance import Allowance
from wanwatch.core.account.standing import Standing
from wanwatch.core.account.y1540 import Edition, Intervals
from wanwatch.core.model import NS_PER_S, Json
from wanwatch.report.accounts import Account, Accounts, LineAccount
from wanwatch.report.figures_json import bounded, number


def accounts_to_json(accounts: Accounts) -> Json:
    """Return the accounts: `lines` by name, `site` (some line could carry), `people` (null where nobody watched)."""
    return {
        "lines": {name: _line(line, accounts.edition) for name, line in accounts.lines.items()},
        "site": _account(accounts.site),
        "people": None if accounts.people is None else _account(accounts.people),
    }


def _line(line: LineAccount, edition: Edition) -> Json:
    return {
        "states": _account(line.states),
        "y1540": None if line.y1540 is None else _intervals(line.y1540, edition),
        "allowances": [_allowance(one) for one in line.allowances],
    }


def _account(account: Account) -> Json:
    return {
        "always": _standing(account.always),
        "working_hours": None if account.working is None else _standing(account.working),
    }


def _standing(found: Standing) -> Json:
    return {
        "observed_s": found.times.observed_ns / NS_PER_S,
        "unobserved_s": found.times.unobserved_ns / NS_PER_S,
        "down_s": found.times.down_ns / NS_PER_S,
        "availability": bounded(found.availability),
        "outages": found.outages,
        "longest_s": found.longest_ns / NS_PER_S,
        "between_failures_s": number(found.means.between_failures_ns, NS_PER_S),
        "to_restoration_s": number(found.means.to_restoration_ns, NS_PER_S),
    }


def _intervals(found: Intervals, edition: Edition) -> Json:
    return {
        "c1": float(edition.c1),
        "interval_s": edition.minutes * 60,
        "available": found.available,
        "unavailable": found.unavailable,
        "availability": number(found.percent_available),
    }


def _allowance(one: Allowance) -> Json:
    return {
        "limit": float(one.limit),
        "allowed_s": number(one.allowed_ns, NS_PER_S),
        "used_s": one.used_ns / NS_PER_S,
        "left_s": number(one.left_ns, NS_PER_S),
        "burn": [
            {"window_s": window_ns // NS_PER_S, "rate": number(rate)} for window_ns, rate in sorted(one.rates.items())
        ],
        "alarm": "urgent" if any(alarm.urgent for alarm in one.alarms) else "slow" if one.alarms else None,
    }
