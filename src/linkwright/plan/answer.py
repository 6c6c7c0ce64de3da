"""The answer as one sentence, for whoever reads no further."""

from __future__ import annotations

import math

from linkwright.plan.model import Plan
from linkwright.units import number_word


def answer_sentence(plan: Plan) -> str:
    """What the plan comes to: how many links hold, which is the weakest, who has no place."""
    links = [link for call in plan.calls for link in call.links]
    unplaced = {gone.link for call in plan.calls for gone in call.unplaced}
    names = {link.link for link in links} | unplaced
    short = {link.link for link in links if link.verdict != "holds"}
    holding = len(names - short - unplaced)
    parts = [_how_many(holding, len(names))]
    if unplaced:
        parts.append(f"{number_word(len(unplaced))} {'has' if len(unplaced) == 1 else 'have'} no carrier")
    worst = min(links, key=lambda link: (link.availability, link.margin_db), default=None)
    if worst is not None and worst.verdict != "holds":
        share = math.floor(10_000 * worst.availability) / 100
        verb = "is thin" if worst.verdict == "thin" else "fails"
        parts.append(f"{worst.link} {verb} at {worst.worst_at}, unbroken {share:.2f} % of the time")
    elif links:
        weakest = min(links, key=lambda link: link.margin_db)
        parts.append(
            f"the weakest is {weakest.link} with {weakest.margin_db:.0f} dB to spare at {weakest.worst_at}"
        )
    return "; ".join(parts) + "."


def _how_many(holding: int, of: int) -> str:
    if holding == of:
        return "The link holds" if of == 1 else f"All {number_word(of)} links hold"
    if of == 1:
        return "The link does not hold"
    verb = "holds" if holding == 1 else "hold"
    return f"{number_word(holding).capitalize()} of {number_word(of)} links {verb}"


def unbroken(availability: float) -> str:
    """A share of time as people read it: never rounded up to all of it."""
    if availability >= 0.9999:
        return "> 99.99 %"
    return f"{math.floor(10_000 * availability) / 100:.2f} %"
