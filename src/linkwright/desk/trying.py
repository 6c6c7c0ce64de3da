"""What another carrier of a link would do: what stands against it, and what changes for everybody."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from linkwright.desk.snapshot import Made
from linkwright.plan.what_if import LinkOutcome, outcomes
from linkwright.plan.why import CallReasons, why
from linkwright.units import mhz_text

#: A link that changes by less is not told [dB].
TOLD_DB: Final = 0.1


@dataclass(frozen=True, slots=True)
class Tried:
    """A link by id and name on a carrier [kHz], as its display has it: reasons by call, who changes as (then, now),
    of how many."""

    id: str
    link: str
    khz: int
    shown: str
    reasons: tuple[CallReasons, ...]
    effects: tuple[tuple[LinkOutcome, LinkOutcome | None], ...]
    all: int


def tried(made: Made, link: str, khz: int) -> Tried:
    """What a carrier [kHz] would do to a link, by its id or name, and to everybody. Raises InputError."""
    id_ = made.names.id_of("link", link)
    name = made.names.name_of(id_)
    reasons = tuple(why(made.scene, made.plan, name, khz))
    calls = frozenset(reason.call for reason in reasons)
    after = outcomes(made.scene, made.plan, {name: khz}, calls)
    before = {(outcome.call, outcome.link): outcome for outcome in outcomes(made.scene, made.plan, None, calls)}
    effects = tuple(
        (then, now)
        for then in after
        if (now := before.get((then.call, then.link))) is None
        or then.link == name
        or abs(then.in_hand_db - now.in_hand_db) >= TOLD_DB
        or then.verdict != now.verdict
    )
    planned = (planned_link for call in made.plan.calls for planned_link in call.links if planned_link.link == name)
    shown = next((planned_link.shown(khz) for planned_link in planned), mhz_text(khz))
    return Tried(id_, name, khz, shown, reasons, effects, len(after))
