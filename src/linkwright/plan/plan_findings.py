"""What a finished plan has to tell: who fails and why, what was given up, what moved, which rules are assumed."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from typing import Final

from linkwright.assign.calls import CallAnswer, Kept
from linkwright.plan.answer import hand_says, worst_says
from linkwright.plan.chain import Scene
from linkwright.plan.findings import finding
from linkwright.plan.input_findings import rule_reason
from linkwright.plan.model import Finding, Move, PlannedCall, PlannedLink, Unplaced
from linkwright.plan.products import products_sentence
from linkwright.plan.prove import ON_THE_CARRIER, Proof, Standing
from linkwright.plan.reach_findings import squelch_finding
from linkwright.plan.site import SiteProblem, locked_khz
from linkwright.plan.tuning import BUSY_RISE_DB
from linkwright.plan.why import air_reasons, slot_reasons
from linkwright.rules import Row
from linkwright.shoot.catalogue import called
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.seats import stand_of
from linkwright.shoot.view import LiveCall, receiver_of
from linkwright.units import counted, dbm_from_mw, number_word, sum_dbm, together


def link_findings(call: str, standing: Standing, proof: Proof, link: PlannedLink) -> Iterator[Finding]:
    """What is to be told of one planned link in one call."""
    yield from _on_the_carrier(standing)
    wished = standing.chain.link.spares
    if len(link.spares_khz) < wished:
        yield finding(
            "spare-missing",
            link.link,
            f'{link.link} asks for {counted(wished, "spare")} and has {len(link.spares_khz)} in call "{call}".',
        )
    distant = max((a for a in standing.air if a.code in ON_THE_CARRIER), key=lambda a: a.power_mw, default=None)
    yield from squelch_finding(link, "" if distant is None else distant.part)
    if proof.driven_by:
        says = (
            f"The receiver of {link.link} is driven over its range by {proof.driven_by}: products are told too low."
        )
        yield finding("overdriven", link.link, says)
    if link.verdict == "holds":
        return
    yield from _near_far(standing, link)
    higher = [power for power in standing.chain.transmitter.powers_mw if power > max(standing.steps_mw)]
    state = "is thin" if link.verdict == "thin" else "fails"
    short = (
        f'{link.link} {state} in call "{call}", {hand_says(link)}: {link.margin_db:.1f} dB of margin at '
        f"{link.worst_place} with {link.power_mw:g} mW, {link.fading_db:.1f} dB for fading, {link.doubt_db:.1f} dB "
        f"for what is not known"
    )
    held = [power for power in sorted(higher) if proof.at(power).in_hand_db >= 0.0]
    if held:
        yield finding("power-short", link.link, f"{short}; {held[0]:g} mW would hold but is not allowed here.")
    else:
        highest = ", the highest step that may be used" if link.power_mw >= max(standing.steps_mw) else ""
        alone = f" {worst_says(link)}." if link.alone_db is not None else ""
        yield finding("reach-short", link.link, f"{short}{highest}.{alone}")


#: How the ledger's lines of strong neighbours begin, and the code of each.
NEIGHBOURS: Final = {"adjacent": ("adjacent ", "all other adjacent"), "near-far": ("blocking ", "all other strong")}


def _near_far(standing: Standing, link: PlannedLink) -> Iterator[Finding]:
    """Whether strong neighbours take a link's margin, and which is the strongest."""
    for code, starts in NEIGHBOURS.items():
        lines = [line for line in link.ledger.rows if line.part.startswith(starts) and line.dbm is not None]
        levels = [line.dbm for line in lines if line.dbm is not None]
        if levels and sum_dbm(levels) > standing.noise_dbm:
            rise = sum_dbm([standing.noise_dbm, *levels]) - standing.noise_dbm
            says = f"{link.link} has its noise raised by {rise:.1f} dB, most of all by {lines[0].part}."
            yield finding(code, link.link, says)


def _on_the_carrier(standing: Standing) -> Iterator[Finding]:
    """Whoever else is on the link's carrier."""
    name, carrier = standing.chain.link.name, standing.chain.shown(standing.carrier_khz)
    for arrival in standing.air:
        rise = sum_dbm([standing.noise_dbm, dbm_from_mw(arrival.power_mw)]) - standing.noise_dbm
        if rise > BUSY_RISE_DB:
            says = f"{name} on {carrier} MHz hears {arrival.part}: the noise rises by {rise:.1f} dB."
            yield finding(arrival.code, name, says)
    if standing.busy and not any(arrival.code == "busy" and arrival.power_mw > 0 for arrival in standing.air):
        yield finding("busy", name, f"{name} on {carrier} MHz stands on something that the sweep shows.")


def unplaced_reason(scene: Scene, problem: SiteProblem, name: str, answer: CallAnswer) -> str:
    """Why a link found no carrier, as a sentence."""
    n = problem.index(name)
    chain, tuning = problem.chains[n], problem.tunings[n]
    locked = locked_khz(chain.link)
    if not tuning.carriers_khz.size:
        sends, hears = called(chain.link.sends.kit), called(chain.link.hears[0].kit)
        return f"transmitter {sends} and receiver {hears} tune no carrier in common"
    if locked is not None and (taken := _locked_too_near(problem, n, locked)):
        return f"it is locked to {chain.shown(locked)} MHz, {taken}: unlock one of them"
    if locked is not None and not problem.problem.wishes[n].slots_khz.size:
        return f"it is locked to {chain.shown(locked)} MHz, which cannot be used here"
    if not (tuning.most_mw > 0.0).any():
        middle = int(tuning.carriers_khz[tuning.carriers_khz.size // 2])
        return rule_reason(scene, chain, middle).rstrip(".")
    if not tuning.legal.any():
        return "the TV channels on the air leave no carrier of its type"
    placed = sum(carrier is not None for carrier in answer.carriers_khz.values())
    spacing, each = (
        chain.transmitter.spacing_khz,
        "link" if all(other_chain.transmitter.carries == 1 for other_chain in problem.chains) else "carrier",
    )
    return (
        f"no carrier of its type is left that is {spacing} kHz from every other: {counted(placed, each)} placed, "
        f"and at most {answer.bound} can be"
    )


def _locked_too_near(problem: SiteProblem, n: int, locked_khz_: int) -> str:
    """Who else is locked there, or nearer than both allow, and on at the same time; "" where nobody is."""
    site = problem.problem
    mine_too = (k for k, members in enumerate(site.calls) if n in members)
    for m in sorted({m for k in mine_too for calls in site.moments_of(k) for m in site.meeting(calls)} - {n}):
        khz, wish, mine = site.wishes[m].locked_khz, site.wishes[m], site.wishes[n]
        spacing_khz = max(wish.spacing_khz, mine.spacing_khz)
        if khz is not None and abs(khz - locked_khz_) < spacing_khz:
            where = "as is" if khz == locked_khz_ else f"{abs(khz - locked_khz_)} kHz (of {spacing_khz}) from"
            return f"{where} {wish.name}"
    return ""


def unplaced_findings(call: str, unplaced: Sequence[Unplaced]) -> Iterator[Finding]:
    """Who has no carrier in a call, each reason once with the names that it concerns."""
    by_reason: dict[str, list[str]] = {}
    for gone in unplaced:
        by_reason.setdefault(gone.because, []).append(gone.link)
    for because, names in by_reason.items():
        have = "has" if len(names) == 1 else "have"
        yield finding(
            "unplaced", ", ".join(names), f'{together(names)} {have} no carrier in call "{call}": {because}.'
        )


def unseated_reason(scene: Scene, name: str) -> str:
    """Why a link has no receiver channel."""
    link = next(link for link in scene.shoot.link if link.name == name)
    receiver = receiver_of(scene.shoot, link)
    units = counted(receiver.count or 1, "unit")
    return f"no receiver channel is left: {called(link.hears[0].kit)} has {receiver.channels} in each of {units}"


def receiver_findings(call: LiveCall, shoot: Shoot) -> Iterator[Finding]:
    """Of which receivers more than one unit is needed at a spot, where nobody said how many there are."""
    first = call.site.spots[0].name if call.site.spots else ""
    groups: dict[tuple[str, str], list[Link]] = {}
    for link in call.links:
        groups.setdefault(stand_of(link, link.hears[0], first), []).append(link)
    for (kind, at), links in groups.items():
        receiver = receiver_of(shoot, links[0])
        units = max(call.seats[link.name].unit for link in links)
        if units > 1 and len(links) > receiver.channels and receiver.count is None:
            where = f" at {at}" if at else ""
            says = (
                f'{number_word(len(links)).capitalize()} links want {kind}{where} in call "{call.name}"; it has '
                f"{counted(receiver.channels, 'channel')}, so {number_word(units)} of it are needed."
            )
            yield finding("receiver-channels", kind, says)


def power_finding(call: PlannedCall, answer: CallAnswer, clean_bound: int) -> Finding:
    """What was given up where the plan is not clean."""
    bad = [link.link for link in call.links if link.verdict != "holds"]
    verb = "does" if len(bad) == 1 else "do"
    outcome = f"{together(bad)} {verb} not hold" if bad else "all links hold all the same"
    return finding(
        "intermodulation",
        call.call,
        f'In call "{call.call}" carriers were chosen by power ({_why_by_power(answer, clean_bound)}). '
        f"{products_sentence(call)} {outcome[:1].upper()}{outcome[1:]}.",
        severity="warn" if bad else "note",
    )


def _why_by_power(answer: CallAnswer, clean_bound: int) -> str:
    compared = answer.compared
    if compared is not None and compared.other_worst_db is not None:
        gain = compared.worst_db - compared.other_worst_db
        more = compared.holding - (compared.other_holding or 0)
        also = f", and {more} fewer would hold" if more > 0 else ""
        return f"kept clean, the worst link would have {gain:.1f} dB less in hand{also}"
    if answer.proved:
        return f"at most {clean_bound} links can be placed clean, as is proved"
    return "the search found no clean set"


def assumed_rows(scene: Scene, decided: Iterable[tuple[str, Row | None]]) -> Iterator[Finding]:
    """The assumed rows that decided for links (name, row), each row once, unless the shoot accepts it."""
    by_row: dict[str, tuple[Row, list[str]]] = {}
    for name, row in decided:
        if row is not None and row.evidence == "assumed" and row.id not in scene.law.accepts and not row.is_licence:
            names = by_row.setdefault(row.id, (row, []))[1]
            if name not in names:
                names.append(name)
    for row, names in by_row.values():
        unknown = " It states no power limit, so the strictest known there is taken." if row.max_mw is None else ""
        doubt = f" ({row.doubt})" if row.doubt else ""
        yield finding(
            "assumed-rule",
            row.id,
            f"The {scene.law.territory.code} rule for {row.from_khz / 1000:g} to {row.to_khz / 1000:g} MHz, "
            f"{row.source}, was read by nobody here{doubt}; it decides for {together(names)}.{unknown}",
            do=f'Read what it rests on; then put accepts = ["{row.id}"] under [shoot].',
        )


def moved_findings(kept: Mapping[str, Kept], moves: Iterable[Move]) -> Iterator[Finding]:
    """Who could not keep the carrier of the earlier plan, and why."""
    for move in moves:
        if move.from_khz is not None:
            spares = kept[move.link].spares_khz
            spare = f", its spare {1 + spares.index(move.to_khz)}" if move.to_khz in spares else ""
            who = move.links or (move.link,)
            verb = "moves" if len(who) == 1 else "move"
            says = f"{move.who} {verb} from {move.before} to {move.after} MHz{spare}: {move.because}."
            yield finding("moved", ", ".join(who), says)


def fewest_finding(site: str, moves: Sequence[Move], answers: Sequence[CallAnswer]) -> Iterator[Finding]:
    """Whether it is not proved that no plan with the same verdicts moves fewer."""
    moved = sum(move.from_khz is not None for move in moves)
    if moved > 1 and not all(answer.fewest for answer in answers):
        says = (
            f"{counted(moved, 'carrier')} at {site} move; that no fewer would do is not proved: the search stopped."
        )
        yield finding("moves-unproved", site, says)


def changing_findings(
    scene: Scene,
    problem_at: Callable[[str], SiteProblem],
    calls: Mapping[str, PlannedCall],
    links: Collection[str] | None = None,
) -> Iterator[Finding]:
    """Who, of all or of some links, does not have one carrier all day, and why not."""
    last: dict[str, tuple[int, str]] = {}
    for live in scene.calls:
        for link in calls[live.name].links:
            if links is not None and link.link not in links:
                continue
            before, where = last.get(link.link, (link.carrier_khz, live.name))
            if before != link.carrier_khz:
                problem = problem_at(live.site.name)
                chain = problem.chains[problem.index(link.link)]
                yield finding(
                    "carrier-changes",
                    link.link,
                    f'{link.link} goes from {chain.shown(before)} MHz in "{where}" to {link.carrier} '
                    f'MHz in "{live.name}": {_why_not_stay(scene, problem, link.link, before)}.',
                )
            last[link.link] = link.carrier_khz, live.name


def _why_not_stay(scene: Scene, problem: SiteProblem, name: str, khz: int) -> str:
    """Why a link does not have a carrier of another call in a call of this site."""
    n = problem.index(name)
    chain, tuning = problem.chains[n], problem.tunings[n]
    at = tuning.index(khz)
    against = [] if at is None else list(air_reasons(tuning, at))
    for reason in (*slot_reasons(scene, chain, tuning, khz), *against):
        return reason.says.rstrip(".")
    return f"staying would cost somebody more than {chain.stay_db:g} dB, or a place"
