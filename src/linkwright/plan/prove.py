"""The proof: levels, noise and interference of every link of a call on its carrier, and the least power that holds.

What the links do to each other is worked out by `assign.levels` on their carriers; here each contribution that
matters gets its line, with the names of those who make it.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.assign.levels import Radio, unwanted
from linkwright.assign.placement import CallLevels, settle_powers
from linkwright.assign.verify import level_faults, strong_faults
from linkwright.plan.chain import Chain
from linkwright.plan.contributions import Arrival, switched
from linkwright.plan.mixing import LINES_A_KIND, MixedLevels, Parts
from linkwright.plan.model import LedgerRow, Verdict
from linkwright.plan.neighbours import REUSE, Afar
from linkwright.plan.radio import (
    KnownBudgets,
    doubts_of,
    known_budgets,
    likely_more,
    others_arrays,
    radio_of,
    ties_of,
    wishes_of,
)
from linkwright.plan.tuning import NOTHING_BELOW_NOISE_DB, Tuning
from linkwright.reach.budget import Budget, OffAir, in_air
from linkwright.reach.doubt import PLACES, TV, cases
from linkwright.reach.hand import HandFigures
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Other
from linkwright.units import BoolArray, FloatArray, dbm_from_mw, mw_from_dbm, sum_dbm

#: As sure as this a link is thin, less sure it fails (docs/reference.md).
THIN: Final = 0.5
#: A kind of interference that is this far below the noise in all is left out [dB].
KIND_BELOW_NOISE_DB: Final = 20.0
#: How many others whose time on the air was measured are told apart at a link; the rest is always on.
MOST_SWITCHES: Final = 3
#: What comes and goes with somebody else's transmitter; the rest of the air is taken to be always there.
ON_THE_CARRIER: Final = ("other-cochannel", REUSE)


class PlanFault(AssertionError):
    """The verifier found a plan to be wrong: a bug in the program, told instead of written."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A way of a link that has a carrier in a call: all that its proof needs, and nothing of other carriers.

    `air` is what arrives on the carrier besides the call's own links; `steps_mw` are the powers allowed there,
    ascending; `busy` tells that a sweep shows something there.
    """

    chain: Chain
    carrier_khz: int
    air: tuple[Arrival, ...]
    steps_mw: tuple[float, ...]
    noise_dbm: float
    busy: bool

    @classmethod
    def of(cls, chain: Chain, tuning: Tuning, carrier_khz: int, from_afar: Sequence[Arrival] = ()) -> Standing:
        """A link on one of its slots, with what it hears there of other sites."""
        at = tuning.index(carrier_khz)
        assert at is not None, "a carrier is one of its link's slots"
        here = [heard.on(at) for heard in tuning.heard if heard.code != REUSE]
        steps = tuning.powers_mw(chain.transmitter, carrier_khz)
        air = (*switched(here), *from_afar)
        return cls(chain, carrier_khz, air, steps, tuning.noise_dbm, bool(tuning.busy[at]))

    @classmethod
    def all_of(
        cls,
        chain: Chain,
        tuning: Tuning,
        carrier_khz: int,
        afar: Afar,
        while_live: BoolArray,
        links: Collection[str],
    ) -> list[Standing]:
        """All ways on a carrier of those links that are live, with what each hears of other sites."""
        return [
            cls.of(way, own, carrier_khz, afar.on(way, while_live, carrier_khz))
            for way, own in zip(chain.ways, tuning.each, strict=True)
            if way.link.name in links
        ]


@dataclass(frozen=True, slots=True)
class CallToProve:
    """The ways of a call's links on their carriers, those of one carrier together, and the narrow transmitters of
    others that are on during it.

    `large` as for `radio_of`. Where calls run at the same time and are proved together, a way stands once for
    each moment in which it is on: `moments` has, by standing, the number of its moment, `others_on` the others, by
    index, that are on during its call. What is not on then brings nothing to it.
    """

    standing: tuple[Standing, ...]
    others: tuple[Other, ...]
    large: bool = False
    moments: tuple[int, ...] = ()
    others_on: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, eq=False)
class Proof:
    """A link's numbers at its power, and what they are made of.

    noisier_db (256,) : how much noise and interference are over their median in each case; driven_by : who drives
    its receiver beyond its range, if anybody does.
    """

    budget: Budget
    power_mw: float
    interference: tuple[LedgerRow, ...]
    n_and_i_dbm: float
    noisier_db: FloatArray | float
    driven_by: str = ""

    @property
    def margin_db(self) -> float:
        """Margin at the place that decides [dB]."""
        return self.budget.margin_db(self.power_mw, self.n_and_i_dbm)

    @functools.cached_property
    def told(self) -> HandFigures:
        """What is in hand and what else is told."""
        return self.at(self.power_mw)

    def at(self, power_mw: float) -> HandFigures:
        """The same at another power, with the interference as it is."""
        return self.budget.told(power_mw, self.n_and_i_dbm, self.noisier_db)


def prove(call: CallToProve) -> list[Proof]:
    """The powers of a call's links, and the proof of each way at these powers."""
    return prove_calls((call,))[0]


@dataclass(frozen=True, slots=True)
class Decided:
    """A link with the way that decides, the worst of its listeners, and its proof; `each` are all of its ways."""

    standing: Standing
    proof: Proof
    each: tuple[tuple[Standing, Proof], ...]


def decided(standing: Sequence[Standing], proofs: Sequence[Proof]) -> list[Decided]:
    """The links of a call, each by the worst of its ways: the first of those that have least in hand."""
    ways: dict[str, list[tuple[Standing, Proof]]] = {}
    for s, proof in zip(standing, proofs, strict=True):
        ways.setdefault(s.chain.link.name, []).append((s, proof))
    return [
        Decided(*(of[0] if len(of) == 1 else min(of, key=lambda way: way[1].told.in_hand_db)), tuple(of))
        for of in ways.values()
    ]


def prove_calls(calls: Sequence[CallToProve], known: KnownBudgets | None = None) -> list[list[Proof]]:
    """The powers of the links of calls on one site, and the proofs at these powers; the paths worked out at once.

    `known` are budgets from before. Raises PlanFault where the separate verifier comes to other interference.
    """
    standing = [s for call in calls for s in call.standing]
    known = {} if known is None else known
    budgets = iter(known_budgets(known, [s.chain for s in standing], [s.carrier_khz for s in standing]))
    return [_prove(call, list(itertools.islice(budgets, len(call.standing)))) for call in calls]


def _prove(call: CallToProve, budgets: list[Budget]) -> list[Proof]:
    standing, others = call.standing, call.others
    if not standing:
        return []
    carriers = np.array([s.carrier_khz for s in standing], dtype=np.int64)
    ways = [s.chain for s in standing]
    radio = _in_moments(radio_of(ways, carriers, budgets, others, call.large), call)
    firsts, own_khz = [standing[n] for n in radio.first], carriers[radio.first]
    others_khz, others_mw = others_arrays(others)
    levels_of_call = CallLevels(
        np.arange(radio.own),
        radio,
        tuple(np.array([_air_mw(s)]) for s in standing),
        tuple(np.array(s.steps_mw) for s in firsts),
        tuple(np.array([np.inf]) for _ in firsts),
        others_khz,
        others_mw,
        wishes_of(ways),
        doubts_of(radio, budgets),
    )
    own_mw = settle_powers(levels_of_call, [0] * radio.own, own_khz).powers_mw
    every_khz, powers = np.concatenate([own_khz, others_khz]), np.concatenate([own_mw, others_mw])
    names = (*(s.chain.name for s in firsts), *(other.name for other in others))
    levels = MixedLevels(
        radio, names, every_khz, powers, radio.gain * powers[:, None], unwanted(radio, every_khz, powers),
        ties_of(ways, carriers),
    )  # fmt: skip
    _verify(levels, [way.heard_by for way in ways])
    return [
        _proof(standing[n], levels, n, in_air(budget, off_air(standing[n], others, levels, n)))
        for n, budget in enumerate(budgets)
    ]


def _in_moments(radio: Radio, call: CallToProve) -> Radio:
    """The radio of calls that run at the same time: nobody is heard in a moment in which he is not on."""
    if not call.moments:
        return radio
    moment, own = np.array(call.moments), radio.own
    on = np.zeros((own, max(call.moments) + 1))
    on[radio.of, moment] = 1.0
    heard = np.zeros((radio.transmitters, radio.of.size), dtype=np.bool_)
    heard[:own] = on[:, moment] > 0.0
    for way, others in enumerate(call.others_on):
        heard[own + np.array(others, dtype=np.int64), way] = True
    meet = np.zeros(radio.coupling.shape, dtype=np.bool_)
    meet[:own, :own] = on @ on.T > 0.0
    for link in range(own):
        meet[own:, link] = heard[own:, radio.of == link].any(axis=1)
    gain, coupling = np.where(heard, radio.gain, 0.0), np.where(meet, radio.coupling, 0.0)
    return replace(radio, gain=gain, coupling=coupling)


def _air_mw(standing: Standing) -> float:
    """What the air brings on a link's carrier, what is uncertain as strong as it may well be [mW]."""
    sure = standing.chain.wanted.sure
    return sum(arrival.power_mw * likely_more(arrival.spread_db, sure) for arrival in standing.air)


def _verify(levels: MixedLevels, heard_by: Sequence[str]) -> None:
    radio, of = levels.radio, levels.unwanted
    faults = itertools.chain(
        level_faults(
            heard_by,
            levels.carriers_khz,
            radio.width_khz,
            levels.received_mw,
            levels.radiated,
            radio.iip3_mw,
            of.receiver + of.transmitter,
            radio.noise_mw,
            radio.of,
        ),
        strong_faults(heard_by, levels.received_mw, radio.blocking_mw, of.blocking, radio.noise_mw, radio.of),
    )
    fault = next(faults, None)
    if fault is not None:
        raise PlanFault(fault)


def _proof(standing: Standing, levels: MixedLevels, n: int, budget: Budget) -> Proof:
    lines = (*_air_lines(standing), *_own_lines(levels, n, standing.chain))
    noise = [round(level.dbm, 2) for level in budget.noise]
    total = sum_dbm([*noise, *(line.dbm for line in lines if line.dbm is not None)])
    return Proof(
        budget,
        float(levels.powers_mw[levels.radio.of[n]]),
        lines,
        total,
        _noisier_db(standing, total),
        _driven_by(levels, n),
    )


def off_air(standing: Standing, others: Sequence[Other], levels: MixedLevels, n: int) -> OffAir | None:
    """The states of the n-th link with those off whose share of time on the air was measured; None without any.

    Each is on by itself, those with one switch together; who counts least beyond the first few is always on.
    """
    duty = {a.switch: a.duty for a in standing.air if a.duty < 1.0}
    duty |= {other.name: other.duty for other in others if other.duty is not None and other.duty < 1.0}
    if not duty:
        return None

    def noise_mw(off: frozenset[str]) -> float:
        air = sum(a.power_mw for a in standing.air if a.duty == 1.0 or a.switch not in off)
        return float(levels.radio.noise_mw[n]) + air + float(levels.unwanted_without(off)[n])

    whole = noise_mw(frozenset())
    mattering = {name: whole / noise_mw(frozenset({name})) for name in duty}
    switches = sorted((name for name in duty if mattering[name] > 1.001), key=lambda name: (-mattering[name], name))
    first = switches[:MOST_SWITCHES]
    states = []
    for off in itertools.chain.from_iterable(itertools.combinations(first, n) for n in range(len(first) + 1)):
        share = math.prod(1.0 - duty[s] if s in off else duty[s] for s in first)
        states.append((share, whole / noise_mw(frozenset(off))))
    if len(states) < 2:
        return None
    who = {a.switch: a.part for a in standing.air if a.code in ON_THE_CARRIER}
    says = ", ".join(f"{who.get(s, s)} on for {100.0 * duty[s]:.0f} %" for s in first)
    return OffAir(
        np.array([share for share, _ in states]),
        np.array([10.0 * math.log10(ratio) for _, ratio in states]),
        f"{says} of the time, as measured",
    )


def _noisier_db(standing: Standing, total_dbm: float) -> FloatArray | float:
    """How much noise and interference are over their median in each case [dB]: what is predicted and uncertain of
    them scatters alike at all places."""
    uncertain = [arrival for arrival in standing.air if arrival.spread_db]
    if not uncertain:
        return 0.0
    score, total_mw = cases(PLACES)[:, TV], mw_from_dbm(total_dbm)
    more = sum(a.power_mw * (10.0 ** ((a.spread_db or 0.0) * score / 10.0) - 1.0) for a in uncertain)
    return np.asarray(10.0 * np.log10(np.maximum(1.0 + more / total_mw, 1e-3)))


def _driven_by(levels: MixedLevels, n: int) -> str:
    """Who drives the n-th receiver beyond half of its intercept, the strongest; nothing where nobody does."""
    received = levels.received_mw[:, n].copy()
    received[levels.radio.of[n]] = 0.0
    strongest = int(received.argmax())
    return levels.names[strongest] if received[strongest] > levels.radio.iip3_mw[n] / 2.0 else ""


def _air_lines(standing: Standing) -> tuple[LedgerRow, ...]:
    """What the air brings on the link's carrier, each contribution that counts."""
    return tuple(
        _interference(
            arrival.part, dbm_from_mw(arrival.power_mw), arrival.evidence, arrival.source, arrival.spread_db
        )
        for arrival in standing.air
        if dbm_from_mw(arrival.power_mw) > standing.noise_dbm - NOTHING_BELOW_NOISE_DB
    )


def _interference(
    part: str, dbm: float, evidence: Evidence, source: str, spread_db: float | None = None
) -> LedgerRow:
    spread = None if spread_db is None else round(spread_db, 1)
    return LedgerRow("interference", part, None, round(dbm, 2), evidence, source, spread)


def _own_lines(levels: MixedLevels, n: int, chain: Chain) -> Iterator[LedgerRow]:
    """What the call's own transmitters bring at the n-th receiver, each kind that counts by name."""
    least_mw = float(levels.radio.noise_mw[n]) * mw_from_dbm(-KIND_BELOW_NOISE_DB)
    of, intercepts = levels.unwanted, chain.receiver.measurements("intercept")
    made = f"{RECEIVER_SOURCE}, {intercepts[-1].says}" if intercepts else RECEIVER_SOURCE
    kinds = (
        (of.receiver, "receiver_parts", "all other products", made),
        (of.transmitter, "transmitter_parts", "all other transmitter products", TRANSMITTER_SOURCE),
        (of.adjacent, "adjacent_parts", "all other adjacent carriers", ADJACENT_SOURCE),
        (of.blocking, "blocking_parts", "all other strong carriers", BLOCKING_SOURCE),
    )
    for totals_mw, parts_of, rest, source in kinds:
        known: Evidence = "measured" if source is made and intercepts else "modelled"
        total_mw = float(totals_mw[n])
        if total_mw < least_mw:
            continue
        every: Parts = getattr(levels, parts_of)[n]
        parts = sorted(every, key=lambda part: (-part.power_mw, part.name))[:LINES_A_KIND]
        for part in parts:
            by = f"{source}; {part.how}" if part.how else source
            yield _interference(part.name, dbm_from_mw(part.power_mw), known, by)
        left_mw = total_mw - sum(part.power_mw for part in parts)
        if left_mw > max(least_mw, 1e-6 * total_mw):
            yield _interference(rest, dbm_from_mw(left_mw), known, source)


RECEIVER_SOURCE: Final = "made in the receiver, from its intercept point (ITU-R SM.1134)"
TRANSMITTER_SOURCE: Final = (
    "made in a transmitter into which another couples; conversion loss assumed (ITU-R SM.2021)"
)
ADJACENT_SOURCE: Final = "through mask and filter (ITU-R SM.337), both assumed"
BLOCKING_SOURCE: Final = "strong carriers off the channel raise the noise; blocking level of the receiver"


def verdict(sure: float, wanted: float) -> Verdict:
    """holds where it is as sure as is wanted, thin from 0.5, fails below."""
    if sure >= wanted:
        return "holds"
    return "thin" if sure >= THIN else "fails"


def floored(db: float) -> float:
    """Decibels in hand as they are told: never more than there are."""
    return math.floor(10.0 * db + 1e-6) / 10.0
