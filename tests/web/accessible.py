"""What everybody can use: axe on a page, on every ground."""

from __future__ import annotations

from typing import Any

RULES = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]
#: The rules of axe that look at colours: all that another ground can change.
COLOURS = ["color-contrast", "link-in-text-block"]


def violations(page: Any) -> str:
    """What axe finds on the page as it stands: WCAG 2.2 AA on paper, and on the other grounds what colours change.

    A sentence for each ground; "" where nothing is amiss. The page ends on paper.
    """
    from axe_playwright_python.sync_playwright import Axe

    found = []
    for ground, rules in (
        ("sun", {"type": "rule", "values": COLOURS}),
        ("dusk", {"type": "rule", "values": COLOURS}),
        ("paper", {"type": "tag", "values": RULES}),
    ):
        page.locator("[data-ground-choice]").select_option(ground)
        page.wait_for_function("ground => document.documentElement.dataset.ground === ground", arg=ground)
        page.wait_for_timeout(150)  # pages that draw do it anew for another ground
        axe = Axe("0") if page.evaluate("'axe' in window") else Axe()  # once a page: it is half a megabyte
        answer = axe.run(page, options={"runOnly": rules, "resultTypes": ["violations"]})
        if answer.violations_count:
            found.append(f"{ground}: {answer.generate_report()}")
    return "\n".join(found)
