"""Links whose kit finds its carriers by itself: they are given none, are proved for reach alone, and are told so.

Such kit (DECT-like, or at 2.4 GHz) listens and goes elsewhere, many times a second. Which carrier it has when, and
what others in its band leave it, nobody can plan; what can be said is whether it would reach with the band to
itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from linkwright.plan.answer import itself_says
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.findings import finding
from linkwright.plan.ledger import Set, planned
from linkwright.plan.model import Finding, PlannedByItself, Severity
from linkwright.plan.prove import Proof, Standing, decided
from linkwright.plan.tuning import SharedTunings
from linkwright.rules import Row, range_text
from linkwright.shoot.view import LiveCall
from linkwright.units import sum_dbm


@dataclass(frozen=True, slots=True)
class ByThemselves:
    """The links of a call that find their carriers by themselves, what is to be told of them, and which row of the
    rules decided for each."""

    links: list[PlannedByItself] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    decided: list[tuple[str, Row]] = field(default_factory=list)


def by_themselves(scene: Scene, call: LiveCall) -> ByThemselves:
    """Those of a call's links that find their carriers by themselves, each at the most that it may send."""
    alone = ByThemselves()
    for link in call.links:
        chain = scene.chain(link, call.site)
        if chain.transmitter.coordinates_itself:
            low, high, power_mw = _most(scene, chain, call, alone)
            link_alone = _proved(chain, call, (low, high), power_mw)
            alone.links.append(link_alone)
            alone.findings.append(_told(link_alone))
    return alone


def _most(scene: Scene, chain: Chain, call: LiveCall, alone: ByThemselves) -> tuple[int, int, float]:
    """The lowest and the highest carrier [kHz] of a link, and the most power that it may send [mW]."""
    steps = sorted(chain.transmitter.powers_mw)
    allowed = SharedTunings().allowed_to(scene.law, chain, scene.terms(chain, [call]))
    lawful = allowed.carriers_khz[allowed.most_mw > 0.0]
    if lawful.size:
        at = int(allowed.most_mw.argmax())
        most = max(step for step in steps if step <= allowed.most_mw[at])
        alone.decided.append((chain.link.name, allowed.rows[int(allowed.row[at])]))
        return int(lawful[0]), int(lawful[-1]), most
    edges = [khz for tunes in chain.transmitter.tunes_khz for khz in tunes]
    says = (
        f"{chain.link.name} finds its carriers by itself in {range_text(min(edges), max(edges))}; the rules that "
        f"are kept here of {scene.law.territory.code} open nothing to it."
    )
    alone.findings.append(finding("by-itself-unknown", chain.link.name, says))
    return min(edges), max(edges), steps[-1]


def _proved(chain: Chain, call: LiveCall, range_khz: tuple[int, int], power_mw: float) -> PlannedByItself:
    """The link in the middle of its range, over its receiver's own noise."""
    middle_khz = sum(range_khz) // 2
    standing = [Standing(way, middle_khz, (), (power_mw,), way.noise_dbm, False) for way in chain.ways]
    proofs = []
    for way in chain.ways:
        budget = way.budget(middle_khz)
        noise_dbm = sum_dbm([round(level.dbm, 2) for level in budget.noise])
        proofs.append(Proof(budget, power_mw, (), noise_dbm, 0.0))
    (link,) = planned(decided(standing, proofs), [Set((), call.seats[chain.link.name], None)])
    return PlannedByItself(
        link=link.link,
        from_khz=range_khz[0],
        to_khz=range_khz[1],
        power_mw=power_mw,
        margin_db=link.margin_db,
        in_hand_db=link.in_hand_db,
        sure=link.sure,
        breaks_per_hour=link.breaks_per_hour,
        worst_at=link.worst_at,
        listener=link.listener,
        verdict=link.verdict,
        ledger=link.ledger,
    )


def _told(link_alone: PlannedByItself) -> Finding:
    """That a link needs no carrier, and what is known of its reach."""
    severity: Severity = "note" if link_alone.verdict == "holds" else "warn"
    return finding("by-itself", link_alone.link, f"{link_alone.link} {itself_says(link_alone)}.", severity=severity)
