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

from linkwright.assign.levels import Radio, Unwanted, driving, neighbours, radiated_share, rejections, unwanted
from linkwright.assign.placement import CallLevels, settle_powers
from linkwright.assign.verify import level_faults
from linkwright.physics.fading import doppler_hz
from linkwright.physics.harm import NO_HELP_DB, Kinds
from linkwright.physics.intermodulation import filter_share, products_in_band
from linkwright.plan.chain import Chain
from linkwright.plan.heard import Arrival
from linkwright.plan.model import LedgerLine, PlannedLink, Verdict
from linkwright.plan.neighbours import REUSE
from linkwright.plan.radio import likely_more, others_arrays, radio_of, wishes_of
from linkwright.plan.tuning import NOTHING_BELOW_NOISE_DB, Tuning
from linkwright.reach.budget import Budget, budgets_of
from linkwright.reach.doubt import PLACES, TV, cases
from linkwright.reach.hand import Told
from linkwright.reach.squelch import Squelch, setting
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Other
from linkwright.sound.settings import SoundSettings
from linkwright.units import FloatArray, IntArray, dbm_from_mw, mw_from_dbm, number_word, sum_dbm

#: As sure as this a link is thin, less sure it fails (docs/reference.md).
THIN: Final = 0.5
#: A Rice factor of no more than this is told as Rayleigh [dB].
RAYLEIGH_DB: Final = -9.0
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

Parts = list[tuple[str, float]]


def _least_line_mw(levels: Levels, n: int) -> float:
    return float(levels.radio.noise_mw[n]) * mw_from_dbm(-LINE_BELOW_NOISE_DB)


def _receiver_products(levels: Levels, n: int) -> Parts:
    radio = levels.radio
    _, who, power_mw = products_in_band(
        levels.carriers_khz,
        radio.width_khz,
        driving(levels.received_mw[:, n], radio.iip3_mw[n]),
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
    sound: SoundSettings,
    set_delay_ms: float,
) -> PlannedLink:
    """A proved link as the plan has it, with how its sound is set. The sums are those of the lines as printed."""
    chain, budget = standing.chain, proof.budget
    wanted, noise = _wanted_lines(proof), _noise_lines(budget)
    wanted_dbm = round(sum(line.db or 0.0 for line in wanted), 2)
    n_and_i = round(proof.n_and_i_dbm, 2)
    margin_db = round(wanted_dbm - n_and_i - budget.required_cnr_db, 2)
    told = budget.hand.told(margin_db - budget.gain_db + budget.noise_dbm, proof.noisier_db)
    taken, in_hand_db = taken_lines(budget, told, margin_db)
    squelch = squelch_of(standing, proof, wanted_dbm)
    alone = budget.alone
    alone_x = margin_db - budget.gain_db + budget.noise_dbm - alone.needs_db
    return PlannedLink(
        link=chain.link.name,
        carrier_khz=standing.carrier_khz,
        spares_khz=spares_khz,
        power_mw=proof.power_mw,
        wanted_dbm=wanted_dbm,
        noise_and_interference_dbm=n_and_i,
        required_cnr_db=budget.required_cnr_db,
        margin_db=margin_db,
        fading_db=round(-sum(line.db or 0.0 for line in taken if line.what == "fading"), 2),
        doubt_db=round(-sum(line.db or 0.0 for line in taken if line.what == "doubt"), 2),
        in_hand_db=in_hand_db,
        sure=round(told.sure, 4),
        availability=round(1.0 - told.breaks_per_hour / 3600.0, 6),
        breaks_per_hour=round(told.breaks_per_hour, 2),
        breaks_per_hour_90=round(told.breaks_per_hour_at_wanted, 2),
        worst_at=budget.worst_spot,
        alone_at=alone.spot,
        alone_turn=alone.turn,
        alone_db=floored(alone_x),
        verdict=verdict(told.sure, chain.wanted.sure),
        squelch_dbm=round(squelch.level_dbm, 1),
        squelch_cuts=round(squelch.cuts, 6),
        squelch_opens=round(squelch.opens, 6),
        attenuation_db=sound.at.attenuation_db,
        low_cut_hz=sound.low_cut.corner_hz,
        set_delay_ms=round(set_delay_ms, 2),
        peak_dbfs=round(sound.at.peak_dbfs, 1),
        voice_over_noise_db=round(sound.at.voice_over_noise_db, 1),
        delay_ms=round(chain.transmitter.latency_ms + chain.receiver.latency_ms, 3),
        ledger=(*wanted, *noise, *proof.interference, *taken),
    )


def floored(db: float) -> float:
    """Decibels in hand as they are told: never more than there are."""
    return math.floor(10.0 * db + 1e-6) / 10.0


def _wanted_lines(proof: Proof) -> list[LedgerLine]:
    sent = LedgerLine(
        what="wanted", part="transmit power", db=round(dbm_from_mw(proof.power_mw), 2), evidence="stated",
        source=f"{proof.power_mw:g} mW conducted",
    )  # fmt: skip
    return [
        sent,
        *(
            LedgerLine(
                what="wanted", part=g.part, db=round(g.db, 2), evidence=g.evidence, source=g.source,
                spread_db=None if g.spread_db is None else round(g.spread_db, 1),
            )
            for g in proof.budget.gains
        ),
    ]  # fmt: skip


def _noise_lines(budget: Budget) -> list[LedgerLine]:
    return [
        LedgerLine(what="noise", part=n.part, dbm=round(n.dbm, 2), evidence=n.evidence, source=n.source)
        for n in budget.noise
    ]


def taken_lines(budget: Budget, told: Told, margin_db: float) -> tuple[list[LedgerLine], float]:
    """What the margin is used up by, line by line, and what is left of it in hand [dB]: they add up as printed."""
    channel, places = margin_db - told.plain_db, told.plain_db - told.median_db
    in_hand_db = floored(told.in_hand_db)
    lines = [("fading", "the channel", channel, "modelled", channel_says(budget))]
    count = len(budget.asked.route)
    if count > 1:
        lines.append(
            ("fading", f"{number_word(count)} places", places, "modelled", "all of them in the median case")
        )
    else:
        lines[0] = ("fading", "the channel", channel + places, "modelled", channel_says(budget))
    fading = sum(round(line[2], 2) for line in lines)
    doubt = margin_db - fading - in_hand_db
    lines.append(("doubt", "what is not known", doubt, budget.doubt_known, doubt_says(budget)))
    found = [
        LedgerLine(
            what=what, part=part, db=round(-db, 2), evidence=evidence, source=source,
            spread_db=round(budget.doubt_db, 1) if what == "doubt" else None,
        )
        for what, part, db, evidence, source in lines
    ]  # fmt: skip
    return found, in_hand_db


def channel_says(budget: Budget) -> str:
    """How the place that decides fades, in words."""
    ends, rice = budget.asked.ends, budget.rice_db
    branches = "one branch" if budget.apart <= 0.0 or budget.weaker_db >= NO_HELP_DB else (
        f"two branches {ends.apart_m:g} m apart"
    )  # fmt: skip
    weaker = f", one {budget.weaker_db:.0f} dB weaker" if 0.5 <= budget.weaker_db < NO_HELP_DB else ""
    speed = budget.doppler / doppler_hz(budget.asked.mhz, 1.0)
    kind = "Rayleigh" if rice <= RAYLEIGH_DB else f"Rice K {rice:.0f} dB"
    return f"{branches}{weaker}, {speed:.1f} m/s, {kind}, bridging {ends.receiver.bridges_ms:g} ms"


def doubt_says(budget: Budget) -> str:
    """What the doubt is made of, in words."""
    parts = ", ".join(f"{name} {db:.1f}" for name, db in budget.parts_db)
    return f"{parts}: {budget.doubt_db:.1f} dB, at {100.0 * budget.hand.wanted.sure:g} %{budget.tail_says}"


def squelch_of(standing: Standing, proof: Proof, wanted_dbm: float) -> Squelch:
    """Where to set the squelch: under the talent where it decides, over noise and others on the carrier."""
    budget = proof.budget
    distant_mw = sum(arrival.power_mw for arrival in standing.air if arrival.code in ON_THE_CARRIER)
    heard = distant_mw > mw_from_dbm(standing.noise_dbm - NOTHING_BELOW_NOISE_DB)
    own_mw = sum(mw_from_dbm(level.dbm) for level in budget.noise)
    steady_mw = max(own_mw, mw_from_dbm(proof.n_and_i_dbm) - distant_mw)
    return setting(
        wanted_dbm,
        proof.n_and_i_dbm + budget.required_cnr_db,
        dbm_from_mw(steady_mw),
        Kinds.of(budget.rice_db, budget.apart, budget.weaker_db, budget.doppler, 0.0),
        dbm_from_mw(distant_mw) if heard else None,
    )


def verdict(sure: float, wanted: float) -> Verdict:
    """holds where it is as sure as is wanted, thin from 0.5, fails below."""
    if sure >= wanted:
        return "holds"
    return "thin" if sure >= THIN else "fails"
