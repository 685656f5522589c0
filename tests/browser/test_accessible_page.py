"""The month's page holds what people need who do not see it, or not well.

Source: the rules of axe-core, which test against WCAG 2.1; the package `axe-core-python` brings them as one file.
"""

import html
import importlib.resources
import json
import re
from dataclasses import replace
from pathlib import Path

from tests.browser.chromium import NEEDED, chromium
from tests.fakes.month import PERIOD, SUBJECT, at, record
from wanwatch.core.account.period import month_before, month_of
from wanwatch.core.account.speed_tests import SpeedTest, speeds
from wanwatch.core.account.working import WorkingTime
from wanwatch.report.command import make
from wanwatch.report.html import render_html
from wanwatch.report.values import MonthReport

pytestmark = NEEDED
RUN = """<script>{rules}</script><script>
window.addEventListener("load", () => axe.run(document, {{resultTypes: ["violations"]}}).then(found => {{
  const told = found.violations.map(v => [v.impact, v.id, v.nodes.length, v.nodes[0].html.slice(0, 200)]);
  document.documentElement.innerHTML = "<pre>" + JSON.stringify(told).replace(/</g, "&lt;") + "</pre>";
}}));
</script>"""


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


def faults(folder: Path, page: str) -> list[list[object]]:
    """What the rules find serious or critical in a page: impact, rule, how often, and an element."""
    rules = importlib.resources.files("axe_core_python").joinpath("axe.min.js").read_text("utf-8")
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)  # it would keep the rules out
    script = RUN.format(rules=rules.replace("</script", "<\\/script"))
    tested = folder / "month.html"
    tested.write_text(page.replace("</body>", script + "</body>"), "utf-8")
    printed = chromium(folder, "--virtual-time-budget=60000", "--dump-dom", tested.as_uri())
    told = re.search(r"<pre>(.*)</pre>", printed, re.DOTALL)
    assert told is not None
    return [fault for fault in json.loads(html.unescape(told[1])) if fault[0] in {"serious", "critical"}]


def test_the_page_has_no_serious_fault_by_the_rules_of_accessibility(tmp_path: Path) -> None:
    """Names, headings, tables, contrast, what can be reached by keyboard: nothing serious and nothing critical."""
    assert faults(tmp_path, render_html(full())) == []


def test_the_rules_do_find_faults(tmp_path: Path) -> None:
    """A page without its language and with pale print is told as such, so that silence means something."""
    spoilt = render_html(full()).replace(' lang="en"', "").replace("--quiet: #56636f", "--quiet: #c9ccd0")
    assert {fault[1] for fault in faults(tmp_path, spoilt)} >= {"html-has-lang", "color-contrast"}
