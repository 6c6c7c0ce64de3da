"""What would it come to? A plan's links proved again with one carrier changed, or on a shoot that was changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan, PlannedCall, Verdict
from linkwright.plan.prove import CallToProve, Decided, Standing, decided, floored, prove, verdict
from linkwright.plan.radio import narrow
from linkwright.plan.site import Slots
from linkwright.plan.solve import far_of_plan
from linkwright.shoot.view import LiveCall


@dataclass(frozen=True, slots=True)
class LinkOutcome:
    """What a link would come to in a call: carrier, power, margin where it decides, what is in hand, what
    the fading takes, how sure, verdict, and the level that its receiver needs there [dBm]."""

    call: str
    link: str
    carrier_khz: int
    power_mw: float
    margin_db: float
    in_hand_db: float
    fading_db: float
    sure: float
    verdict: Verdict
    worst_at: str
    need_dbm: float


def outcomes(
    scene: Scene,
    plan: Plan,
    moved: Mapping[str, int] | None = None,
    only: frozenset[str] | None = None,
) -> tuple[LinkOutcome, ...]:
    """The links of a plan proved on a scene (the plan's own or a changed one), some moved to other carriers [kHz].

    Powers are settled anew. `only` names the calls that are asked about. A link whose carrier is none of its slots,
    or that the shoot does not have any more, is left out.
    """
    calls = {call.name: call for call in scene.calls}
    known = replace_calls(
        plan,
        tuple(call for call in plan.calls if call.call in calls and call.site == calls[call.call].site.name),
        {link.name for link in scene.shoot.link},
    )
    slots = Slots.of(scene)
    if len(known.calls) == len(scene.calls):
        slots = replace(slots, far=far_of_plan(scene, known))
    link_outcomes = []
    for planned in known.calls:
        if only is not None and planned.call not in only:
            continue
        live = calls[planned.call]
        standing = _standing(scene, slots, planned, live, moved or {})
        proofs = prove(CallToProve(tuple(standing), narrow(scene.others_during(live)), scene.large))
        link_outcomes += [_outcome(planned.call, proved) for proved in decided(standing, proofs)]
    return tuple(link_outcomes)


def _standing(
    scene: Scene, slots: Slots, planned: PlannedCall, live: LiveCall, moved: Mapping[str, int]
) -> list[Standing]:
    """Every link of a call on its carrier, or on the one it was moved to [kHz]; a block's stands once."""
    by_name = {link.name: link for link in live.links}
    afar = slots.afar(live.site)
    while_live = afar.during([live])
    standing: list[Standing] = []
    here = {link.link for link in planned.links if link.link in by_name}
    carriers = {scene.blocks.carrier_of(link.link): link for link in reversed(planned.links) if link.link in here}
    for carrier in reversed(carriers.values()):
        chain = scene.live_chain(by_name[carrier.link], live.site)
        tuning = slots.tuning(chain, [live], afar)
        khz = moved.get(carrier.link, carrier.carrier_khz)
        if tuning.index(khz) is not None and tuning.powers_mw(chain.transmitter, khz):
            standing += Standing.all_of(chain, tuning, khz, afar, while_live, here)
    return standing


def _outcome(call: str, proved: Decided) -> LinkOutcome:
    standing, proof = proved.standing, proved.proof
    return LinkOutcome(
        call, standing.chain.link.name, standing.carrier_khz, proof.power_mw,
        round(proof.margin_db, 2), floored(proof.told.in_hand_db),
        round(proof.margin_db - proof.told.median_db, 2), proof.told.sure,
        verdict(proof.told.sure, standing.chain.wanted.sure), proof.budget.worst_spot,
        round(proof.n_and_i_dbm + proof.budget.required_cnr_db, 2),
    )  # fmt: skip


def replace_calls(plan: Plan, calls: tuple[object, ...], links: set[str]) -> Plan:
    """The plan with these of its calls, and in them the links that are still there."""
    kept = tuple(
        call.model_copy(update={"links": tuple(link for link in call.links if link.link in links)})
        for call in plan.calls
        if call in calls
    )
    return plan.model_copy(update={"calls": kept})
