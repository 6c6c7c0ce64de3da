"""The proof: levels, noise and interference of every link of a call on its carrier, and the least power that holds.

Interference is what the air brings on the carrier (`Tuning.heard`) and the third-order products that the link's own
receiver makes of the call's transmitters. Powers and products depend on each other, so both are gone over until
nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.intermodulation import products_in_band
from linkwright.plan.chain import Chain
from linkwright.plan.model import LedgerLine, PlannedLink, Verdict
from linkwright.plan.tuning import NOTHING_BELOW_NOISE_DB, Tuning
from linkwright.reach.budget import Budget
from linkwright.reach.received import strongest_gain_db
from linkwright.shoot.evidence import Evidence
from linkwright.units import FloatArray, IntArray, dbm_from_mw, mw_from_dbm, mw_from_dbm_array, sum_dbm

#: From this availability on a link is thin, below it fails (docs/reference.md).
THIN: Final = 0.99
#: How often powers and products are gone over at most.
ROUNDS: Final = 4
#: How many products have a line of their own in a ledger; the others are added up in one.
PRODUCT_LINES: Final = 6
#: Products this far below the noise are left out [dB].
PRODUCTS_BELOW_NOISE_DB: Final = 20.0


@dataclass(frozen=True, slots=True)
class Standing:
    """A link that has a carrier in a call."""

    chain: Chain
    tuning: Tuning
    carrier_khz: int


@dataclass(frozen=True, slots=True)
class Product:
    """A third-order product in a receiver's filter."""

    part: str
    dbm: float


@dataclass(frozen=True, slots=True)
class Proof:
    """A link's numbers at one power, and what they are made of."""

    budget: Budget
    power_mw: float
    interference: tuple[LedgerLine, ...]
    n_and_i_dbm: float
    availability: float
    breaks_per_hour: float


def prove(standing: Sequence[Standing], target: float) -> list[Proof]:
    """The least power that holds for every link of a call, and the proof at that power."""
    budgets = [s.chain.budget(s.carrier_khz) for s in standing]
    air = [_air_lines(s) for s in standing]
    steps = [s.tuning.powers_mw(s.chain.transmitter, s.carrier_khz) for s in standing]
    proofs = [_least(b, p, a, target) for b, p, a in zip(budgets, steps, air, strict=True)]
    for _ in range(ROUNDS):
        powers = [proof.power_mw for proof in proofs]
        products = _products(standing, budgets, powers)
        lines = [(*a, *_product_lines(p)) for a, p in zip(air, products, strict=True)]
        proofs = [_least(b, p, line, target) for b, p, line in zip(budgets, steps, lines, strict=True)]
        if [proof.power_mw for proof in proofs] == powers:
            break
    else:  # two steps of power keep unsettling each other: the last products stand, at the last powers
        products = _products(standing, budgets, [proof.power_mw for proof in proofs])
        proofs = [
            _at(proof.budget, proof.power_mw, (*a, *_product_lines(p)))
            for proof, a, p in zip(proofs, air, products, strict=True)
        ]
    return proofs


def _least(budget: Budget, steps: Sequence[float], lines: tuple[LedgerLine, ...], target: float) -> Proof:
    """The proof at the least step that holds; at the highest where none does."""
    proof = _at(budget, steps[0], lines)
    for power_mw in steps[1:]:
        if proof.availability >= target:
            break
        proof = _at(budget, power_mw, lines)
    return proof


def _at(budget: Budget, power_mw: float, lines: tuple[LedgerLine, ...]) -> Proof:
    noise = [round(level.dbm, 2) for level in budget.noise]
    total = sum_dbm([*noise, *(line.dbm for line in lines if line.dbm is not None)])
    held = budget.holding(power_mw, total)
    return Proof(budget, power_mw, lines, total, held.availability, held.breaks_per_hour)


def _air_lines(standing: Standing) -> tuple[LedgerLine, ...]:
    """What the air brings on the link's carrier, each contribution that counts."""
    tuning = standing.tuning
    at = tuning.index(standing.carrier_khz)
    assert at is not None, "a carrier is one of its link's slots"
    lines = []
    for heard in tuning.heard:
        level = dbm_from_mw(float(heard.power_mw[at]))
        if level > tuning.noise_dbm - NOTHING_BELOW_NOISE_DB:
            lines.append(_interference(heard.part, level, heard.evidence, heard.source))
    return tuple(lines)


def _interference(part: str, dbm: float, evidence: Evidence, source: str) -> LedgerLine:
    return LedgerLine(what="interference", part=part, dbm=round(dbm, 2), evidence=evidence, source=source)


def received_dbm(standing: Sequence[Standing], budgets: Sequence[Budget], powers_mw: Sequence[float]) -> FloatArray:
    """What each transmitter (rows) brings at each receiver (columns) [dBm]: others at their strongest, its own
    at the worst spot of its route."""
    places = list({(s.chain.at.x_m, s.chain.at.y_m, s.chain.at.z_m): s.chain.at for s in standing}.values())
    column = [next(n for n, place in enumerate(places) if place == s.chain.at) for s in standing]
    radiators = [s.chain.radiator(s.carrier_khz, p) for s, p in zip(standing, powers_mw, strict=True)]
    gain = strongest_gain_db(standing[0].chain.site, radiators, places)[:, column]
    gain = gain + np.array([s.chain.receiver.antenna_gain_dbi for s in standing])[None, :]
    np.fill_diagonal(gain, [b.wanted_dbm(p) for b, p in zip(budgets, powers_mw, strict=True)])
    return np.asarray(gain, dtype=np.float64)


def _products(
    standing: Sequence[Standing], budgets: Sequence[Budget], powers_mw: Sequence[float]
) -> list[list[Product]]:
    """The products in each link's filter, strongest first, the weak ones added up in the last."""
    levels = received_dbm(standing, budgets, powers_mw)
    carriers = np.array([s.carrier_khz for s in standing], dtype=np.int64)
    widths = np.array([s.chain.transmitter.bandwidth_khz for s in standing], dtype=np.float64)
    found = []
    for n, s in enumerate(standing):
        least_mw = mw_from_dbm(s.tuning.noise_dbm - PRODUCTS_BELOW_NOISE_DB)
        total_mw, who, power_mw = products_in_band(
            carriers,
            widths,
            mw_from_dbm_array(levels[:, n]),
            int(carriers[n]),
            float(widths[n]),
            s.chain.receiver.iip3_dbm,
            least_mw,
        )
        shown = list(zip(who[:PRODUCT_LINES], power_mw[:PRODUCT_LINES], strict=True))
        own = [Product(_names(standing, abc), dbm_from_mw(float(power))) for abc, power in shown]
        rest_mw = total_mw - float(power_mw[:PRODUCT_LINES].sum())
        if rest_mw > least_mw:
            own.append(Product("all other products", dbm_from_mw(rest_mw)))
        found.append(own)
    return found


def _names(standing: Sequence[Standing], who: IntArray) -> str:
    a, b, c = (standing[int(i)].chain.link.name if i >= 0 else "" for i in who)
    return f"A+B-C of {a}, {b}, {c}" if c else f"2A-B of {a}, {b}"


def _product_lines(products: Sequence[Product]) -> tuple[LedgerLine, ...]:
    source = "made in the receiver, from its intercept point (ITU-R SM.1134)"
    return tuple(_interference(product.part, product.dbm, "modelled", source) for product in products)


def planned(standing: Standing, proof: Proof, spares_khz: tuple[int, ...], target: float) -> PlannedLink:
    """A proved link as the plan has it. The sums are those of the lines as printed."""
    chain, worst = standing.chain, proof.budget.worst
    transmit = f"{proof.power_mw:g} mW conducted"
    wanted = [
        LedgerLine(
            what="wanted", part="transmit power", db=round(dbm_from_mw(proof.power_mw), 2), evidence="stated",
            source=transmit,
        ),
        *(
            LedgerLine(what="wanted", part=g.part, db=round(g.db, 2), evidence=g.evidence, source=g.source)
            for g in worst.gains
        ),
    ]  # fmt: skip
    noise = [
        LedgerLine(what="noise", part=n.part, dbm=round(n.dbm, 2), evidence=n.evidence, source=n.source)
        for n in proof.budget.noise
    ]
    wanted_dbm = round(sum(line.db or 0.0 for line in wanted), 2)
    n_and_i = round(proof.n_and_i_dbm, 2)
    return PlannedLink(
        link=chain.link.name,
        carrier_khz=standing.carrier_khz,
        spares_khz=spares_khz,
        power_mw=proof.power_mw,
        wanted_dbm=wanted_dbm,
        noise_and_interference_dbm=n_and_i,
        required_cnr_db=proof.budget.required_cnr_db,
        margin_db=round(wanted_dbm - n_and_i - proof.budget.required_cnr_db, 2),
        availability=round(proof.availability, 6),
        breaks_per_hour=round(proof.breaks_per_hour, 2),
        worst_at=worst.spot,
        verdict=verdict(proof.availability, target),
        delay_ms=round(chain.transmitter.latency_ms + chain.receiver.latency_ms, 3),
        ledger=(*wanted, *noise, *proof.interference),
    )


def verdict(availability: float, target: float) -> Verdict:
    """holds from the target, thin from 0.99, fails below."""
    if availability >= target:
        return "holds"
    return "thin" if availability >= THIN else "fails"
