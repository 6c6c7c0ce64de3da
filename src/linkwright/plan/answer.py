"""The answer as one sentence, for whoever reads no further."""

from __future__ import annotations

import math
from typing import Final

from linkwright.plan.model import Plan, PlannedByItself, PlannedLink
from linkwright.units import mhz_text, number_word, together

#: So many seconds an hour that hold a break are most of the time.
MOSTLY_S: Final = 1800.0


def answer_sentence(plan: Plan) -> str:
    """What the plan comes to: how many links hold, which is the weakest, who has no place."""
    links = [link for call in plan.calls for link in call.told]
    unplaced = {gone.link for call in plan.calls for gone in call.unplaced}
    names = {link.link for link in links} | unplaced
    short = {link.link for link in links if link.verdict != "holds"}
    holding = len(names - short - unplaced)
    parts = [_how_many(holding, len(names))]
    if unplaced:
        parts.append(f"{number_word(len(unplaced))} {'has' if len(unplaced) == 1 else 'have'} no carrier")
    worst = min(links, key=lambda link: (link.in_hand_db, link.margin_db), default=None)
    if worst is not None and worst.verdict != "holds":
        verb = "is thin" if worst.verdict == "thin" else "fails"
        parts.append(f"{worst.link} {verb} at {worst.worst_place}, {hand_says(worst)}")
    elif worst is not None:
        parts.append(f"the weakest is {worst.link} with {hand_says(worst)} at {worst.worst_place}")
    return "; ".join(parts) + "."


def decibels(db: float) -> str:
    """Decibels as people say them: whole from one on."""
    return f"{db:.0f} dB" if round(db, 1) >= 1.0 else f"{db:.1f} dB"


def short_says(in_hand_db: float) -> str:
    """What is in hand, or what it is short by: "12 dB in hand"."""
    return f"{decibels(in_hand_db)} in hand" if in_hand_db >= 0.0 else f"short by {decibels(-in_hand_db)}"


def hand_says(link: PlannedLink | PlannedByItself) -> str:
    """What a link has in hand, and what that means where it is short."""
    says = short_says(link.in_hand_db)
    if link.verdict == "thin":
        return f"{says}: {math.floor(100.0 * link.sure)} % sure; walk it"
    if link.verdict == "fails":
        return f"{says}: {breaks_say(link.breaks_per_hour)}"
    return says


def heard_says(link: PlannedLink) -> str:
    """Who listens to a link and what each has in hand, where they are several; nothing otherwise."""
    each = [
        f"{listener.listener} {short_says(listener.in_hand_db)} at {listener.worst_at}"
        for listener in link.listeners or ()
    ]
    return f"is heard by {together(each)}" if each else ""


def itself_says(link: PlannedByItself) -> str:
    """What is to be told of a link that finds its carriers by itself: no carrier, and its reach."""
    word = "is thin" if link.verdict == "thin" else link.verdict
    return (
        f"finds its carriers by itself in {mhz_text(link.from_khz)} to {mhz_text(link.to_khz)} MHz, so it is "
        f"given none; with that band to itself it {word} at {link.worst_place} with {link.power_mw:g} mW, "
        f"{hand_says(link)}"
    )


def breaks_say(per_hour: float) -> str:
    """How often a link would break, in words."""
    if per_hour >= MOSTLY_S:
        return "would be broken most of the time"
    return f"would break about {_about(per_hour)} times an hour"


def _about(count: float) -> str:
    """A number with no more than two digits that count."""
    if count < 10.0:
        return f"{max(count, 2.0):.0f}"
    tens = 10 ** (len(str(int(count))) - 2)
    return f"{round(count / tens) * tens:d}"


def worst_says(link: PlannedLink) -> str:
    """The worst place, as if the talent were there all the time: "if all the time at Store, turned away: short by
    6 dB"."""
    turn = f", {link.alone_turn}" if link.alone_turn else ""
    left = "" if link.alone_db is None else f": {short_says(link.alone_db)}"
    return f"If all the time at {link.alone_at}{turn}{left}"


def _how_many(holding: int, of: int) -> str:
    if holding == of:
        return "The link holds" if of == 1 else f"All {number_word(of)} links hold"
    if of == 1:
        return "The link does not hold"
    verb = "holds" if holding == 1 else "hold"
    return f"{number_word(holding).capitalize()} of {number_word(of)} links {verb}"
