"""What axe-core finds on a page, by the rules it marks as WCAG 2.0 to 2.2, levels A and AA.

https://www.w3.org/TR/WCAG22/
"""

from __future__ import annotations

import json

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

WCAG = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],  # of what passes nobody reads more than that it does
}
RUN = """
async (options) => {
  const found = (await axe.run(options)).violations;
  return found.map(({ help, nodes }) =>
    [help, nodes.slice(0, 3).map((node) => node.target.join(" "))]);
}
"""


def violations(page: Page) -> list[str]:
    """Each rule that the page breaks, with the first places where it does."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    return [f"{rule}: {json.dumps(places)}" for rule, places in page.evaluate(RUN, WCAG)]
