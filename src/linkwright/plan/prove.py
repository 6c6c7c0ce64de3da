"""The proof: levels, noise and interference of every link of a call on its carrier, and the least power that holds.

What the links do to each other is worked out by `assign.levels` on their carriers; here each contribution that
matters gets its line, with the names of those who make it.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.assign.levels import Radio, Unwanted, driving, radiated_share, rejections, unwanted
from linkwright.assign.placement import CallLevels, settle_powers
from linkwright.assign.verify import level_faults
from linkwright.physics.intermodulation import filter_share, products_in_bands
from linkwright.plan.chain import Chain
from linkwright.plan.heard import Arrival
from linkwright.plan.model import LedgerLine, Verdict
from linkwright.plan.neighbours import REUSE
from linkwright.plan.radio import likely_more, others_arrays, radio_of, wishes_of
from linkwright.plan.tuning import NOTHING_BELOW_NOISE_DB, Tuning
from linkwright.reach.budget import Budget, budgets_of
from linkwright.reach.doubt import PLACES, TV, cases
from linkwright.reach.hand import Told
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Other
from linkwright.units import FloatArray, IntArray, dbm_from_mw, mw_from_dbm, sum_dbm

#: As sure as this a link is thin, less sure it fails (docs/reference.md).
THIN: Final = 0.5
#: How many contributions of one kind have a line of their own in a ledger; the others are added up in one.
LINES_A_KIND: Final = 5
#: A kind of interference that is this far below the noise in all is left out [dB].
KIND_BELOW_NOISE_DB: Final = 20.0
#: Pairs of transmitters at receivers that are looked at in one go: it bounds the memory.
PAIRS_AT_ONCE: Final = 200_000
#: A single contribution this far below the noise has no line of its own [dB].
LINE_BELOW_NOISE_DB: Final = 26.0


#: Contributions of one kind: whose, and how much [mW].
Parts = list[tuple[str, float]]


class PlanFault(AssertionError):
    """The verifier found a plan to be wrong: a bug in the program, told instead of written."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A link that has a carrier in a call: everything that its proof needs, and nothing of other carriers.

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
        return cls(chain, carrier_khz, (*here, *from_afar), steps, tuning.noise_dbm, bool(tuning.busy[at]))


@dataclass(frozen=True, slots=True)
class CallToProve:
    """The links of a call on their carriers, and the narrow transmitters of others that are on during it.

    `large` as for `radio_of`.
    """

    standing: tuple[Standing, ...]
    others: tuple[Other, ...]
    large: bool = False


@dataclass(frozen=True, eq=False)
class Proof:
    """A link's numbers at its power, and what they are made of.

    noisier_db (256,) : how much noise and interference are over their median in each case; driven_by : who drives
    its receiver beyond its range, if anybody does.
    """

    budget: Budget
    power_mw: float
    interference: tuple[LedgerLine, ...]
    n_and_i_dbm: float
    noisier_db: FloatArray | float
    driven_by: str = ""

    @property
    def margin_db(self) -> float:
        """Margin at the place that decides [dB]."""
        return self.budget.margin_db(self.power_mw, self.n_and_i_dbm)

    @functools.cached_property
    def told(self) -> Told:
        """What is in hand and what else is told."""
        return self.at(self.power_mw)

    def at(self, power_mw: float) -> Told:
        """The same at another power, with the interference as it is."""
        return self.budget.told(power_mw, self.n_and_i_dbm, self.noisier_db)


@dataclass(frozen=True, eq=False)
class Levels:
    """A proved call as arrays: the radio, and for its transmitters names, carriers and powers (n,), what arrives
    where (n, n), what of it is unwanted. What the lines of all its links need is worked out once."""

    radio: Radio
    names: tuple[str, ...]
    carriers_khz: IntArray
    powers_mw: FloatArray
    received_mw: FloatArray
    unwanted: Unwanted

    @functools.cached_property
    def least_line_mw(self) -> FloatArray:
        """What has a line of its own at each link's receiver (own,) [mW]."""
        return self.radio.noise_mw[: self.radio.own] * mw_from_dbm(-LINE_BELOW_NOISE_DB)

    @functools.cached_property
    def receiver_parts(self) -> list[Parts]:
        """What each link's receiver makes of the others, product by product, the strongest first."""
        radio, own = self.radio, slice(self.radio.own)
        received = self.received_mw[:, own]
        found = products_in_bands(
            self.carriers_khz,
            radio.width_khz,
            driving(received, radio.iip3_mw[own]),
            self.carriers_khz[own],
            radio.width_khz[own],
            [dbm_from_mw(iip3) for iip3 in radio.iip3_mw[own].tolist()],
            self.least_line_mw,
        )
        return [
            [
                (self._product(*abc), mw)
                for abc, mw in zip(who[:LINES_A_KIND].tolist(), powers.tolist(), strict=False)
            ]
            for _, who, powers in found
        ]

    def _product(self, a: int, b: int, c: int) -> str:
        names = self.names
        return f"A+B-C of {names[a]}, {names[b]}, {names[c]}" if c >= 0 else f"2A-B of {names[a]}, {names[b]}"

    @functools.cached_property
    def transmitter_parts(self) -> list[Parts]:
        """What of others' output stages each link's receiver hears, pair by pair."""
        f, w = self.carriers_khz, self.radio.width_khz
        parts: list[Parts] = [[] for _ in range(self.radio.own)]
        some = max(1, PAIRS_AT_ONCE // f.size**2)
        for begin in range(0, self.radio.own, some):
            mine = slice(begin, min(begin + some, self.radio.own))
            offset = (2 * f[:, None] - f[None, :] - f[mine, None, None]).astype(np.float64)
            share = filter_share(offset, (w[:, None], w[:, None], w[None, :]), w[mine, None, None])
            power = self.received_mw[:, mine].T[:, :, None] * self.radiated.T * share
            power[:, np.arange(f.size), np.arange(f.size)] = 0.0
            for n, a, b in np.argwhere(power > self.least_line_mw[mine, None, None]).tolist():
                told = f"2A-B radiated by {self.names[a]} with {self.names[b]}"
                parts[begin + n].append((told, float(power[n, a, b])))
        return parts

    @functools.cached_property
    def radiated(self) -> FloatArray:
        """What A (columns) radiates at 2A-B for B (rows), over A's own power (n, n)."""
        return radiated_share(self.radio, self.powers_mw)

    @functools.cached_property
    def through_mw(self) -> FloatArray:
        """What gets through each receiver's (columns) filter of each adjacent carrier (rows) (n, n) [mW]."""
        return self.received_mw * rejections(self.radio, self.carriers_khz)

    @functools.cached_property
    def off_channel_mw(self) -> FloatArray:
        """All power off the channel at each receiver (n,) [mW]."""
        return np.asarray(self.received_mw.sum(axis=0) - np.diagonal(self.received_mw))


def prove(call: CallToProve) -> list[Proof]:
    """The powers of a call's links, and the proof at these powers."""
    return prove_calls((call,))[0]


def prove_calls(calls: Sequence[CallToProve]) -> list[list[Proof]]:
    """The powers of the links of calls on one site, and the proofs at these powers; the paths worked out at once.

    Raises PlanFault where the separate verifier comes to other interference.
    """
    keys = {_key(s): s for call in calls for s in call.standing}
    budgets = dict(zip(keys, budgets_of([s.chain.asked(s.carrier_khz) for s in keys.values()]), strict=True))
    return [_prove(call, [budgets[_key(s)] for s in call.standing]) for call in calls]


def _key(standing: Standing) -> tuple[str, int]:
    return standing.chain.link.name, standing.carrier_khz


def _prove(call: CallToProve, budgets: list[Budget]) -> list[Proof]:
    standing, others = call.standing, call.others
    if not standing:
        return []
    carriers = np.array([s.carrier_khz for s in standing], dtype=np.int64)
    radio = radio_of([s.chain for s in standing], carriers, budgets, others, call.large)
    others_khz, others_mw = others_arrays(others)
    levels_of_call = CallLevels(
        np.arange(carriers.size),
        radio,
        tuple(np.array([_air_mw(s)]) for s in standing),
        tuple(np.array(s.steps_mw) for s in standing),
        tuple(np.array([np.inf]) for _ in standing),
        others_khz,
        others_mw,
        wishes_of([s.chain for s in standing]),
        np.array([budget.hand.doubt_db for budget in budgets]),
    )
    own_mw = settle_powers(levels_of_call, [0] * carriers.size, carriers).powers_mw
    every_khz, powers = np.concatenate([carriers, others_khz]), np.concatenate([own_mw, others_mw])
    names = (*(s.chain.link.name for s in standing), *(other.name for other in others))
    levels = Levels(
        radio, names, every_khz, powers, radio.gain * powers[:, None], unwanted(radio, every_khz, powers)
    )
    _verify(levels)
    return [_proof(standing[n], levels, n, budget) for n, budget in enumerate(budgets)]


def _air_mw(standing: Standing) -> float:
    """What the air brings on a link's carrier, what is uncertain as strong as it may well be [mW]."""
    sure = standing.chain.wanted.sure
    return sum(arrival.power_mw * likely_more(arrival.spread_db, sure) for arrival in standing.air)


def _verify(levels: Levels) -> None:
    radio, own = levels.radio, slice(levels.radio.own)
    found = next(
        level_faults(
            levels.names,
            levels.carriers_khz,
            radio.width_khz,
            levels.received_mw,
            levels.radiated,
            radio.iip3_mw,
            (levels.unwanted.receiver + levels.unwanted.transmitter)[own],
            radio.noise_mw[own],
        ),
        None,
    )
    if found is not None:
        raise PlanFault(found)


def _proof(standing: Standing, levels: Levels, n: int, budget: Budget) -> Proof:
    lines = (*_air_lines(standing), *_own_lines(levels, n))
    noise = [round(level.dbm, 2) for level in budget.noise]
    total = sum_dbm([*noise, *(line.dbm for line in lines if line.dbm is not None)])
    return Proof(
        budget, float(levels.powers_mw[n]), lines, total, _noisier_db(standing, total), _driven_by(levels, n)
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


def _driven_by(levels: Levels, n: int) -> str:
    """Who drives the n-th receiver beyond half of its intercept, the strongest; nothing where nobody does."""
    received = levels.received_mw[:, n].copy()
    received[n] = 0.0
    strongest = int(received.argmax())
    return levels.names[strongest] if received[strongest] > levels.radio.iip3_mw[n] / 2.0 else ""


def _air_lines(standing: Standing) -> tuple[LedgerLine, ...]:
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
) -> LedgerLine:
    spread = None if spread_db is None else round(spread_db, 1)
    return LedgerLine(
        what="interference", part=part, dbm=round(dbm, 2), evidence=evidence, source=source, spread_db=spread
    )


def _own_lines(levels: Levels, n: int) -> Iterator[LedgerLine]:
    """What the call's own transmitters bring at the n-th receiver, each kind that counts by name."""
    least_mw = float(levels.radio.noise_mw[n]) * mw_from_dbm(-KIND_BELOW_NOISE_DB)
    kinds = (
        (levels.unwanted.receiver[n], _receiver_products, "all other products", RECEIVER_SOURCE),
        (
            levels.unwanted.transmitter[n],
            _transmitter_products,
            "all other transmitter products",
            TRANSMITTER_SOURCE,
        ),
        (levels.unwanted.adjacent[n], _adjacent, "all other adjacent carriers", ADJACENT_SOURCE),
        (levels.unwanted.blocking[n], _blocking, "all other strong carriers", BLOCKING_SOURCE),
    )
    for total_mw, parts_of, rest, source in kinds:
        if total_mw < least_mw:
            continue
        parts = sorted(parts_of(levels, n), key=lambda part: (-part[1], part[0]))[:LINES_A_KIND]
        for name, power_mw in parts:
            yield _interference(name, dbm_from_mw(power_mw), "modelled", source)
        left_mw = float(total_mw) - sum(power_mw for _, power_mw in parts)
        if left_mw > max(least_mw, 1e-6 * float(total_mw)):
            yield _interference(rest, dbm_from_mw(left_mw), "modelled", source)


RECEIVER_SOURCE: Final = "made in the receiver, from its intercept point (ITU-R SM.1134)"
TRANSMITTER_SOURCE: Final = (
    "made in a transmitter into which another couples; conversion loss assumed (ITU-R SM.2021)"
)
ADJACENT_SOURCE: Final = "through mask and filter (ITU-R SM.337), both assumed"
BLOCKING_SOURCE: Final = "strong carriers off the channel raise the noise; blocking level of the receiver"


def _receiver_products(levels: Levels, n: int) -> Parts:
    return levels.receiver_parts[n]


def _transmitter_products(levels: Levels, n: int) -> Parts:
    return levels.transmitter_parts[n]


def _adjacent(levels: Levels, n: int) -> Parts:
    power = levels.through_mw[:, n]
    return [
        (f"adjacent {levels.names[a]}", float(power[a])) for a in np.flatnonzero(power > levels.least_line_mw[n])
    ]


def _blocking(levels: Levels, n: int) -> Parts:
    power = levels.received_mw[:, n] * float(levels.unwanted.blocking[n]) / float(levels.off_channel_mw[n])
    power[n] = 0.0
    return [
        (f"blocking by {levels.names[a]}", float(power[a])) for a in np.flatnonzero(power > levels.least_line_mw[n])
    ]


def verdict(sure: float, wanted: float) -> Verdict:
    """holds where it is as sure as is wanted, thin from 0.5, fails below."""
    if sure >= wanted:
        return "holds"
    return "thin" if sure >= THIN else "fails"


def floored(db: float) -> float:
    """Decibels in hand as they are told: never more than there are."""
    return math.floor(10.0 * db + 1e-6) / 10.0
