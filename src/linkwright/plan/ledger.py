"""A proved link as the plan has it: its ledger line by line, the sums of the lines as printed, what is in hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.physics.fading import doppler_hz
from linkwright.physics.harm import NO_HELP_DB
from linkwright.plan.chain import Chain
from linkwright.plan.model import Ledger, LedgerRow, PlannedLink, PlannedListener, What
from linkwright.plan.prove import ON_THE_CARRIER, Decided, Proof, Standing, floored, verdict
from linkwright.plan.tuning import NOTHING_BELOW_NOISE_DB
from linkwright.reach.budget import Budget
from linkwright.reach.hand import HandFigures, told_of
from linkwright.reach.squelch import Open, Squelch, squelches
from linkwright.shoot.evidence import Evidence, PathGain
from linkwright.shoot.seats import Seat
from linkwright.units import dbm_from_mw, mw_from_dbm, number_word

#: A Rice factor of no more than this is told as Rayleigh [dB].
RAYLEIGH_DB: Final = -9.0


@dataclass(frozen=True, slots=True)
class Set:
    """How a link of a call is set besides its carrier: spares [kHz], its receiver's channel, the delay [ms], which
    it has where it is recorded."""

    spares_khz: tuple[int, ...]
    seat: Seat
    delay_ms: float | None


@dataclass(frozen=True, eq=False, slots=True)
class _Summed:
    """A proof with the lines of its sums, and the sums as printed."""

    standing: Standing
    proof: Proof
    wanted: list[LedgerRow]
    wanted_dbm: float
    n_and_i_dbm: float
    margin_db: float

    @property
    def x_db(self) -> float:
        """What shifts are told over, by the sums as printed [dB]."""
        budget = self.proof.budget
        return self.margin_db - budget.gain_db + budget.noise_dbm


def planned(links: Sequence[Decided], setting_of: Sequence[Set]) -> list[PlannedLink]:
    """The proved links of a call as the plan has them. The sums are those of the lines as printed."""
    summed = [_summed(link.standing, link.proof) for link in links]
    told = told_of(
        [link.proof.budget.hand for link in links],
        [link.x_db for link in summed],
        [link.proof.noisier_db for link in links],
    )
    opens = squelches([opened(link.standing, link.proof, link.wanted_dbm) for link in summed])
    planned_links = [_planned(*row) for row in zip(summed, told, setting_of, opens, strict=True)]
    return [_with_listeners(link, proved) for link, proved in zip(planned_links, links, strict=True)]


def _with_listeners(link: PlannedLink, decided: Decided) -> PlannedLink:
    """A link with each of those who listen to it, where they are several."""
    if len(decided.each) == 1:
        return link
    name = decided.standing.chain.listener_name
    each = tuple(_listener(*way) for way in decided.each)
    return link.model_copy(update={"listener": name, "listeners": each})


def _listener(standing: Standing, proof: Proof) -> PlannedListener:
    summed = _summed(standing, proof)
    told = proof.budget.hand.told(summed.x_db, proof.noisier_db)
    return PlannedListener(
        listener=standing.chain.listener_name,
        wanted_dbm=summed.wanted_dbm,
        noise_and_interference_dbm=summed.n_and_i_dbm,
        margin_db=summed.margin_db,
        in_hand_db=floored(told.in_hand_db),
        sure=round(told.sure, 4),
        worst_at=proof.budget.worst_spot,
        verdict=verdict(told.sure, standing.chain.wanted.sure),
    )


def _summed(standing: Standing, proof: Proof) -> _Summed:
    wanted = _wanted_lines(proof)
    wanted_dbm = round(sum(line.db or 0.0 for line in wanted), 2)
    n_and_i = round(proof.n_and_i_dbm, 2)
    margin_db = round(wanted_dbm - n_and_i - proof.budget.required_cnr_db, 2)
    return _Summed(standing, proof, wanted, wanted_dbm, n_and_i, margin_db)


# long: a line for every field of a planned link
def _planned(summed: _Summed, told: HandFigures, how: Set, squelch: Squelch) -> PlannedLink:
    standing, proof, margin_db = summed.standing, summed.proof, summed.margin_db
    chain, budget = standing.chain, proof.budget
    sound = chain.sound if chain.spoken else None
    noise = _noise_lines(budget)
    taken, in_hand_db = taken_lines(budget, told, margin_db)
    alone = budget.alone
    return PlannedLink(
        link=chain.link.name,
        carrier_khz=standing.carrier_khz,
        spares_khz=how.spares_khz,
        power_mw=proof.power_mw,
        wanted_dbm=summed.wanted_dbm,
        noise_and_interference_dbm=summed.n_and_i_dbm,
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
        alone_db=floored(summed.x_db - alone.needs_db),
        verdict=verdict(told.sure, chain.wanted.sure),
        squelch_dbm=round(squelch.level_dbm, 1),
        squelch_cuts=round(squelch.cuts, 6),
        squelch_opens=round(squelch.opens, 6),
        attenuation_db=sound and sound.at.attenuation_db,
        low_cut_hz=sound and sound.low_cut.corner_hz,
        set_delay_ms=None if how.delay_ms is None else round(how.delay_ms, 2),
        peak_dbfs=sound and round(sound.at.peak_dbfs, 1),
        voice_over_noise_db=sound and round(sound.at.voice_over_noise_db, 1),
        delay_ms=_latency_ms(chain),
        receiver_unit=how.seat.unit,
        receiver_channel=how.seat.channel,
        labels=chain.labels((standing.carrier_khz, *how.spares_khz)),
        ledger=Ledger((*summed.wanted, *noise, *proof.interference, *taken)),
        block=None if chain.name == chain.link.name else chain.name,
    )


def _latency_ms(chain: Chain) -> float | None:
    """From the microphone to the receiver's output [ms]; None where either is not known."""
    transmitter_ms, receiver_ms = chain.transmitter.latency_ms, chain.receiver.latency_ms
    return None if transmitter_ms is None or receiver_ms is None else round(transmitter_ms + receiver_ms, 3)


def _wanted_lines(proof: Proof) -> list[LedgerRow]:
    power_mw = proof.power_mw
    sent = LedgerRow(
        "wanted", "transmit power", round(dbm_from_mw(power_mw), 2), None, "stated", f"{power_mw:g} mW conducted"
    )
    return [sent, *(_row(gain) for gain in proof.budget.gains)]


def _row(gain: PathGain) -> LedgerRow:
    spread = None if gain.spread_db is None else round(gain.spread_db, 1)
    return LedgerRow("wanted", gain.part, round(gain.db, 2), None, gain.evidence, gain.source, spread)


def _noise_lines(budget: Budget) -> list[LedgerRow]:
    return [
        LedgerRow("noise", level.part, None, round(level.dbm, 2), level.evidence, level.source)
        for level in budget.noise
    ]


def taken_lines(budget: Budget, told: HandFigures, margin_db: float) -> tuple[list[LedgerRow], float]:
    """What the margin is used up by, line by line, and what is left of it in hand [dB]: they add up as printed."""
    off_db = 0.0 if budget.always is None else budget.always.plain_db - budget.hand.plain_db
    channel, places = margin_db - told.plain_db + off_db, told.plain_db - told.median_db
    in_hand_db = floored(told.in_hand_db)
    count = len(budget.asked.pairs)
    if count > 1:
        rows = [_taken("fading", "the channel", channel, "modelled", channel_says(budget))]
        said = "all of them in the median case"
        rows.append(_taken("fading", f"{number_word(count)} places", places, "modelled", said))
    else:
        rows = [_taken("fading", "the channel", channel + places, "modelled", channel_says(budget))]
    if budget.off_air is not None:
        rows.append(_taken("fading", "others' time off the air", -off_db, "measured", budget.off_air.says))
    doubt = margin_db + sum(row.db or 0.0 for row in rows) - in_hand_db
    last = _taken("doubt", "what is not known", doubt, budget.doubt_known, doubt_says(budget))
    rows.append(last._replace(spread_db=round(budget.doubt_db, 1)))
    return rows, in_hand_db


def _taken(what: What, part: str, db: float, evidence: Evidence, source: str) -> LedgerRow:
    return LedgerRow(what, part, round(-db, 2), None, evidence, source)


def channel_says(budget: Budget) -> str:
    """How the place that decides fades, in words."""
    ends, rice = budget.asked.ends, budget.rice_db
    branches = (
        "one branch"
        if budget.apart <= 0.0 or budget.weaker_db >= NO_HELP_DB
        else (f"two branches {ends.apart_m:g} m apart")
    )
    weaker = f", one {budget.weaker_db:.0f} dB weaker" if 0.5 <= budget.weaker_db < NO_HELP_DB else ""
    speed = budget.doppler / doppler_hz(budget.asked.mhz, 1.0)
    kind = "Rayleigh" if rice <= RAYLEIGH_DB else f"Rice K {rice:.0f} dB"
    return f"{branches}{weaker}, {speed:.1f} m/s, {kind}, bridging {ends.receiver.bridges_ms:g} ms"


def doubt_says(budget: Budget) -> str:
    """What the doubt is made of, in words."""
    parts = ", ".join(f"{name} {db:.1f}" for name, db in budget.parts_db)
    return f"{parts}: {budget.doubt_db:.1f} dB, at {100.0 * budget.hand.wanted.sure:g} %{budget.tail_says}"


def opened(standing: Standing, proof: Proof, wanted_dbm: float) -> Open:
    """What opens a link's receiver: the talent where it decides, noise, and others on the carrier."""
    budget = proof.budget
    distant_mw = sum(arrival.power_mw for arrival in standing.air if arrival.code in ON_THE_CARRIER)
    heard = distant_mw > mw_from_dbm(standing.noise_dbm - NOTHING_BELOW_NOISE_DB)
    own_mw = sum(mw_from_dbm(level.dbm) for level in budget.noise)
    steady_mw = max(own_mw, mw_from_dbm(proof.n_and_i_dbm) - distant_mw)
    return Open(
        wanted_dbm,
        proof.n_and_i_dbm + budget.required_cnr_db,
        dbm_from_mw(steady_mw),
        (budget.rice_db, budget.apart, budget.weaker_db),
        dbm_from_mw(distant_mw) if heard else None,
    )
