"""The rules of accessibility, for a page that is open in a browser.

Source: the rules of axe-core, which test against WCAG 2.1; the package `axe-core-python` brings them as one file.
"""

import importlib.resources
from typing import Any, Final

from playwright.async_api import Page

_FOUND: Final = """axe.run(document, {resultTypes: ["violations"]}).then(found => found.violations
  .map(v => [v.impact, v.id, v.nodes.length, v.nodes[0].html.slice(0, 200)]))"""


async def faults(page: Page) -> list[Any]:
    """What the rules find serious or critical in an open page: impact, rule, how often, and an element."""
    rules = importlib.resources.files("axe_core_python").joinpath("axe.min.js").read_text("utf-8")
    await page.evaluate(rules)  # not as a script of the page's own, which its policy would keep out
    return [fault for fault in await page.evaluate(_FOUND) if fault[0] in {"serious", "critical"}]
