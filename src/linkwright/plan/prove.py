"""The proof: levels, noise and interference of every link of a call on its carrier, and the least power that holds.

What the links do to each other is worked out by `assign.levels` on their carriers; here each contribution that
matters gets its line, with the names of those who make it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.assign.levels import Radio, Unwanted, neighbours, radiated_share, rejections, unwanted
from linkwright.assign.placement import CallLevels, settle_powers
from linkwright.assign.verify import level_faults
from linkwright.physics.intermodulation import filter_share, products_in_band
from linkwright.plan.chain import Chain
from linkwright.plan.heard import Arrival
from linkwright.plan.model import LedgerLine, PlannedLink, Verdict
from linkwright.plan.neighbours import REUSE
from linkwright.plan.radio import others_arrays, radio_of
from linkwright.plan.tuning import NOTHING_BELOW_NOISE_DB, Tuning
from linkwright.reach.budget import Budget
from linkwright.reach.squelch import Squelch, setting
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Other
from linkwright.sound.settings import SoundSettings
from linkwright.units import FloatArray, IntArray, dbm_from_mw, mw_from_dbm, sum_dbm

#: From this availability on a link is thin, below it fails (docs/reference.md).
THIN: Final = 0.99
#: How many contributions of one kind have a line of their own in a ledger; the others are added up in one.
LINES_A_KIND: Final = 5
#: A kind of interference that is this far below the noise in all is left out [dB].
KIND_BELOW_NOISE_DB: Final = 20.0
#: What comes and goes with somebody else's transmitter; the rest of the air is taken to be always there.
ON_THE_CARRIER: Final = ("other-cochannel", REUSE)
#: A single contribution this far below the noise has no line of its own [dB].
LINE_BELOW_NOISE_DB: Final = 26.0


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

    `target` is the availability from which a link holds; `large` as for `radio_of`.
    """

    standing: tuple[Standing, ...]
    others: tuple[Other, ...]
    target: float
    large: bool = False


@dataclass(frozen=True, slots=True)
class Proof:
    """A link's numbers at its power, and what they are made of."""

    budget: Budget
    power_mw: float
    interference: tuple[LedgerLine, ...]
    n_and_i_dbm: float
    availability: float
    breaks_per_hour: float


@dataclass(frozen=True, eq=False, slots=True)
class Levels:
    """A proved call as arrays: the radio, and for its transmitters names, carriers and powers (n,), what arrives
    where (n, n), what of it is unwanted."""

    radio: Radio
    names: tuple[str, ...]
    carriers_khz: IntArray
    powers_mw: FloatArray
    received_mw: FloatArray
    unwanted: Unwanted


def prove(call: CallToProve) -> list[Proof]:
    """The least powers that hold for the links of a call, and the proof at these powers.

    Raises PlanFault where the separate verifier comes to other interference.
    """
    standing, others = call.standing, call.others
    if not standing:
        return []
    carriers = np.array([s.carrier_khz for s in standing], dtype=np.int64)
    budgets = [s.chain.budget(s.carrier_khz) for s in standing]
    radio = radio_of([s.chain for s in standing], carriers, budgets, others, call.target, call.large)
    others_khz, others_mw = others_arrays(others)
    levels_of_call = CallLevels(
        np.arange(carriers.size),
        radio,
        tuple(np.array([sum(arrival.power_mw for arrival in s.air)]) for s in standing),
        tuple(np.array(s.steps_mw) for s in standing),
        tuple(np.array([np.inf]) for _ in standing),
        others_khz,
        others_mw,
    )
    own_mw = settle_powers(levels_of_call, [0] * carriers.size, carriers).powers_mw
    every_khz, powers = np.concatenate([carriers, others_khz]), np.concatenate([own_mw, others_mw])
    names = (*(s.chain.link.name for s in standing), *(other.name for other in others))
    levels = Levels(
        radio, names, every_khz, powers, radio.gain * powers[:, None], unwanted(radio, every_khz, powers)
    )
    _verify(levels)
    return [_proof(standing[n], levels, n, budget) for n, budget in enumerate(budgets)]


def _verify(levels: Levels) -> None:
    radio, own = levels.radio, slice(levels.radio.own)
    radiated = radiated_share(radio, levels.powers_mw)
    found = next(
        level_faults(
            levels.names,
            levels.carriers_khz,
            radio.width_khz,
            levels.received_mw,
            radiated,
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
    power = float(levels.powers_mw[n])
    held = budget.holding(power, total)
    return Proof(budget, power, lines, total, held.availability, held.breaks_per_hour)


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

Parts = list[tuple[str, float]]


def _least_line_mw(levels: Levels, n: int) -> float:
    return float(levels.radio.noise_mw[n]) * mw_from_dbm(-LINE_BELOW_NOISE_DB)


def _receiver_products(levels: Levels, n: int) -> Parts:
    radio = levels.radio
    _, who, power_mw = products_in_band(
        levels.carriers_khz,
        radio.width_khz,
        levels.received_mw[:, n],
        int(levels.carriers_khz[n]),
        float(radio.width_khz[n]),
        dbm_from_mw(float(radio.iip3_mw[n])),
        _least_line_mw(levels, n),
    )
    names = levels.names
    return [
        (f"A+B-C of {names[a]}, {names[b]}, {names[c]}" if c >= 0 else f"2A-B of {names[a]}, {names[b]}", float(mw))
        for (a, b, c), mw in zip(who[:LINES_A_KIND], power_mw[:LINES_A_KIND], strict=True)
    ]


def _transmitter_products(levels: Levels, n: int) -> Parts:
    radio, f, w = levels.radio, levels.carriers_khz, levels.radio.width_khz
    offset = (2 * f[:, None] - f[None, :] - f[n]).astype(np.float64)
    share = filter_share(offset, (w[:, None], w[:, None], w[None, :]), float(w[n]))
    power = levels.received_mw[:, n][:, None] * radiated_share(radio, levels.powers_mw).T * share
    np.fill_diagonal(power, 0.0)
    return [
        (f"2A-B radiated by {levels.names[a]} with {levels.names[b]}", float(power[a, b]))
        for a, b in np.argwhere(power > _least_line_mw(levels, n))
    ]


def _adjacent(levels: Levels, n: int) -> Parts:
    power = levels.received_mw[:, n] * rejections(levels.radio, levels.carriers_khz)[:, n]
    least = _least_line_mw(levels, n)
    return [(f"adjacent {levels.names[a]}", float(power[a])) for a in np.flatnonzero(power > least)]


def _blocking(levels: Levels, n: int) -> Parts:
    _, off_channel = neighbours(levels.radio, levels.carriers_khz, levels.received_mw)
    power = levels.received_mw[:, n] * float(levels.unwanted.blocking[n]) / float(off_channel[n])
    power[n] = 0.0
    least = _least_line_mw(levels, n)
    return [(f"blocking by {levels.names[a]}", float(power[a])) for a in np.flatnonzero(power > least)]


def planned(
    standing: Standing,
    proof: Proof,
    spares_khz: tuple[int, ...],
    target: float,
    sound: SoundSettings,
    set_delay_ms: float,
) -> PlannedLink:
    """A proved link as the plan has it, with how its sound is set. The sums are those of the lines as printed."""
    chain, worst = standing.chain, proof.budget.worst
    transmit = f"{proof.power_mw:g} mW conducted"
    wanted = [
        LedgerLine(
            what="wanted", part="transmit power", db=round(dbm_from_mw(proof.power_mw), 2), evidence="stated",
            source=transmit,
        ),
        *(
            LedgerLine(
                what="wanted", part=g.part, db=round(g.db, 2), evidence=g.evidence, source=g.source,
                spread_db=None if g.spread_db is None else round(g.spread_db, 1),
            )
            for g in worst.gains
        ),
    ]  # fmt: skip
    noise = [
        LedgerLine(what="noise", part=n.part, dbm=round(n.dbm, 2), evidence=n.evidence, source=n.source)
        for n in proof.budget.noise
    ]
    wanted_dbm = round(sum(line.db or 0.0 for line in wanted), 2)
    n_and_i = round(proof.n_and_i_dbm, 2)
    squelch = squelch_of(standing, proof, wanted_dbm)
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
        squelch_dbm=round(squelch.level_dbm, 1),
        squelch_cuts=round(squelch.cuts, 6),
        squelch_opens=round(squelch.opens, 6),
        attenuation_db=sound.at.attenuation_db,
        low_cut_hz=sound.low_cut.corner_hz,
        set_delay_ms=round(set_delay_ms, 2),
        peak_dbfs=round(sound.at.peak_dbfs, 1),
        voice_over_noise_db=round(sound.at.voice_over_noise_db, 1),
        delay_ms=round(chain.transmitter.latency_ms + chain.receiver.latency_ms, 3),
        ledger=(*wanted, *noise, *proof.interference),
    )


def squelch_of(standing: Standing, proof: Proof, wanted_dbm: float) -> Squelch:
    """Where to set the squelch: under the talent at the worst spot, over noise and others on the carrier."""
    worst = proof.budget.worst
    distant_mw = sum(arrival.power_mw for arrival in standing.air if arrival.code in ON_THE_CARRIER)
    heard = distant_mw > mw_from_dbm(standing.noise_dbm - NOTHING_BELOW_NOISE_DB)
    own_mw = sum(mw_from_dbm(level.dbm) for level in proof.budget.noise)
    steady_mw = max(own_mw, mw_from_dbm(proof.n_and_i_dbm) - distant_mw)
    return setting(
        wanted_dbm,
        proof.n_and_i_dbm + proof.budget.required_cnr_db,
        dbm_from_mw(steady_mw),
        worst.spread,
        worst.pair,
        dbm_from_mw(distant_mw) if heard else None,
    )


def verdict(availability: float, target: float) -> Verdict:
    """holds from the target, thin from 0.99, fails below."""
    if availability >= target:
        return "holds"
    return "thin" if availability >= THIN else "fails"
