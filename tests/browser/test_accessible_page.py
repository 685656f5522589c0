"""The month's page holds what people need who do not see it, or not well."""

from dataclasses import replace

from playwright.async_api import Browser

from tests.browser.onlooking import IN_A_BROWSER, looking
from tests.browser.rules import faults
from tests.fakes.month import PERIOD, SUBJECT, at, record
from wanwatch.core.account.period import month_before, month_of
from wanwatch.core.account.speed_tests import SpeedTest, speeds
from wanwatch.core.account.working import WorkingTime
from wanwatch.report.command import make
from wanwatch.report.html import render_html
from wanwatch.report.values import MonthReport

pytestmark = IN_A_BROWSER


def full() -> MonthReport:
    """The invented month with all parts of the page: speed tests, working hours, months side by side."""
    subject = replace(SUBJECT, working=WorkingTime(hours_min=(480, 1080)))
    report = make(record(), subject, month_of(2026, 10, subject.zone), now_unix_ns=PERIOD.end_unix_ns)
    tests = [
        SpeedTest(at_unix_ns=at(f"{day:02d} {hour:02d}:12:00"), uplink="fibre", direction="down", bps=9e8 - hour * 1e7)
        for day in range(1, 31)
        for hour in range(0, 24, 2)
    ]
    first = replace(report.uplinks[0], speed={"down": speeds(tests, "down")}, best_bps=941_000_000)
    (this,) = report.months
    before = month_before(report.of, subject.zone)
    months = (replace(this, name=before.name, title=before.title), this)
    return replace(report, uplinks=(first, *report.uplinks[1:]), months=months)


async def test_the_page_has_no_serious_fault_by_the_rules_of_accessibility(browser: Browser) -> None:
    """Names, headings, tables, contrast, what can be reached by keyboard: nothing serious and nothing critical."""
    async with looking(browser) as (page, _):
        await page.set_content(render_html(full()))
        assert await faults(page) == []
