"""Other crews' carriers against our plan: whom they hit, before anything is planned again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan, Verdict
from linkwright.plan.what_if import outcomes
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Other

#: A link that loses less than this is not told [dB].
TOLD_DB = 0.5


@dataclass(frozen=True, slots=True)
class Hit:
    """A planned link with the neighbours on: in hand [dB] and verdict before and then; nothing then: no carrier.

    shown : its carrier, behind what the display calls it where that is known.
    """

    call: str
    link: str
    carrier_khz: int
    shown: str
    before_db: float
    before: Verdict
    then_db: float | None
    then: Verdict

    @property
    def breaks(self) -> bool:
        """Whether it held before and does not then."""
        return self.before == "holds" and self.then != "holds"


def with_others(shoot: Shoot, others: Sequence[Other]) -> Shoot:
    """The shoot with these others on its sites as well."""
    return shoot.model_copy(update={"other": (*shoot.other, *others)})


def hits(scene: Scene, plan: Plan, others: Sequence[Other]) -> tuple[Hit, ...]:
    """The links of a plan that these others cost something, the worst first; the plan's carriers stay."""
    then = {
        (outcome.call, outcome.link): outcome
        for outcome in outcomes(scene.moved(with_others(scene.shoot, others)), plan)
    }
    now = {(outcome.call, outcome.link): outcome for outcome in outcomes(scene, plan)}
    all_hits = []
    for call in plan.calls:
        for link in call.links:
            key = call.call, link.link
            if key not in now:
                continue
            before, after = now[key], then.get(key)
            mine = *key, link.carrier_khz, link.shown(link.carrier_khz), before.in_hand_db, before.verdict
            if after is None:
                all_hits.append(Hit(*mine, None, "fails"))
            elif before.in_hand_db - after.in_hand_db >= TOLD_DB or before.verdict != after.verdict:
                all_hits.append(Hit(*mine, after.in_hand_db, after.verdict))
    return tuple(sorted(all_hits, key=lambda hit: (not hit.breaks, -1e9 if hit.then_db is None else hit.then_db)))


def hits_sentence(all_hits: Sequence[Hit], count: int) -> str:
    """What the neighbours come to, as one sentence."""
    many = "One carrier of a neighbour" if count == 1 else f"{count} carriers of neighbours"
    verb = "is" if count == 1 else "are"
    broken = [hit.link for hit in all_hits if hit.breaks]
    if broken:
        names = ", ".join(dict.fromkeys(broken))
        return f"{many} {verb} here; {names} would not hold any more. Plan again, keeping the rest."
    if all_hits:
        return f"{many} {verb} here; every link keeps its verdict, {all_hits[0].link} loses most."
    return f"{many} {verb} here; no link of ours loses anything."
