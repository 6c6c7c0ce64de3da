"""One air: what was measured, what is predicted and what the shoot says of a site, weighed against each other.

A measurement outweighs a prediction where it looked and is calibrated, as long as it is not old; an old one is no
more than assumed, and the prediction counts beside it. What contradicts is told, not averaged. Levels of a sweep
that is not calibrated rank slots and say no more; a sweep named at two sites, or a deaf one, is no evidence.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.air.judgement import FLOOR_DOUBT_DB
from linkwright.air.occupancy import WIDE_BUSY_DB, MeasuredAir
from linkwright.air.others import overlap_share
from linkwright.air.predicted import Predicted, levels_at
from linkwright.air.readers import Readout
from linkwright.air.survey import Survey, survey
from linkwright.air.sweep import Sweep
from linkwright.plan.contributions import SWEEP, SlotPowers
from linkwright.plan.findings import finding
from linkwright.plan.model import Finding
from linkwright.rules import Outside, Territory, TvChannel, separations, tv_channel, tv_channels
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall
from linkwright.units import NOTHING_DBM, BoolArray, IntArray, mw_from_dbm, mw_from_dbm_array

#: A sweep further from its call than this is old: transmitters come and go (common practice, no source).
OLD_AFTER: Final = datetime.timedelta(hours=12)
#: What is predicted must stand this far over what a sweep can tell before its absence says anything [dB].
SURE_DB: Final = 10.0
#: Uncertainty of a calibrated level of an analyzer or receiver as crews have them [dB]; assumed.
CALIBRATION_DB: Final = 2.0
#: A carrier from a list that somebody typed is as wide as this where nothing says otherwise [kHz]; assumed.
LISTED_KHZ: Final = 200.0


@dataclass(frozen=True, slots=True)
class TakenByTv:
    """A TV channel that is closed here, why in words, and how well that is known."""

    channel: TvChannel
    says: str
    evidence: Evidence


@dataclass(frozen=True, eq=False, slots=True)
class SiteAir:
    """What is known of the air at one site.

    `survey` and `measured` are None without a sweep that counts; `void` names sweeps that belong to another site.
    """

    site: Site
    survey: Survey | None
    measured: MeasuredAir | None
    predicted: Predicted | None
    void: tuple[str, ...]
    taken: tuple[TakenByTv, ...]
    findings: tuple[Finding, ...]

    def oldest(self, calls: Sequence[LiveCall]) -> datetime.timedelta | None:
        """The longest that any sweep lies from any of these calls; None where nothing has a time."""
        sweeps = self.survey.judged if self.survey is not None else ()
        ages = [age(sweep.sweep.started, call) for sweep in sweeps for call in calls]
        return max((known for known in ages if known is not None), default=None)

    def on_slots(self, carriers_khz: IntArray, bandwidth_khz: int, noise_dbm: float, antenna_dbi: float,
                 calls: Sequence[LiveCall]) -> OnSlots:  # fmt: skip
        """The air on some slots (m,) of a receiver with this noise in its bandwidth and this antenna."""
        none = np.zeros(carriers_khz.size, dtype=np.bool_)
        away = self.oldest(calls)
        old = away is not None and away > OLD_AFTER
        heard: list[SlotPowers] = []
        busy, covered, outweighed = none, none, none
        if self.measured is not None and carriers_khz.size:
            levels = self.measured.slot_levels(carriers_khz, bandwidth_khz)
            busy, covered = levels.busy, levels.covered
            moved_db = np.where(levels.calibrated, antenna_dbi - self.site.sweep_antenna_dbi, 0.0)
            interference = np.nan_to_num(levels.interference_dbm(noise_dbm), nan=NOTHING_DBM) + moved_db
            calibrated = bool(np.all(levels.calibrated[covered])) and bool(covered.any())
            source = ", ".join(levels.sources)
            if not calibrated:
                source += "; levels are relative: floor taken as the receiver's own noise"
            if old and away is not None:
                source += f"; {away.total_seconds() / 3600:.0f} h from the call"
            power = np.where(covered, mw_from_dbm_array(interference), 0.0)
            known: Evidence = "measured" if calibrated and not old else "assumed"
            duty = None if old else np.where(levels.duty > 0.0, levels.duty, 1.0)
            heard.append(SlotPowers(SWEEP, "busy", power, known, source, CALIBRATION_DB + FLOOR_DOUBT_DB, duty))
            outweighed = none if old else levels.covered & levels.calibrated
        if self.survey is not None and self.survey.heard:
            listed = self._listed(carriers_khz, bandwidth_khz)
            heard.append(listed)
            busy = busy | (listed.power_mw > 0.0)
        if self.predicted is not None:
            level, spread = levels_at(self.predicted, carriers_khz, float(bandwidth_khz))
            power = np.where(outweighed, 0.0, mw_from_dbm_array(level + antenna_dbi))
            said = f"ITU-R P.1546-6 from {self.site.stations or 'a list of stations'}"
            heard.append(
                SlotPowers("predicted TV", "tv-predicted", power, "modelled", said, float(spread.max(initial=0.0)))
            )
        return OnSlots(tuple(heard), busy, covered)

    def _listed(self, carriers_khz: IntArray, bandwidth_khz: int) -> SlotPowers:
        """Carriers that somebody heard and typed in: their power where it is absolute, else a trace of it."""
        assert self.survey is not None
        power = np.zeros(carriers_khz.size)
        for carrier in self.survey.heard:
            level = (
                carrier.level_db if carrier.level_db is not None and carrier.unit == "dBm" else NOTHING_DBM + 100.0
            )
            low, high = carrier.centre_khz - LISTED_KHZ / 2.0, carrier.centre_khz + LISTED_KHZ / 2.0
            power += mw_from_dbm(level) * overlap_share(carriers_khz, bandwidth_khz, low, high)
        return SlotPowers("a carrier heard by ear", "busy", power, "stated", "list of carriers", None)


@dataclass(frozen=True, eq=False, slots=True)
class OnSlots:
    """The air on some slots: what is heard, which are busy, and which a sweep looked at, each (m,)."""

    heard: tuple[SlotPowers, ...]
    busy: BoolArray
    covered: BoolArray


def age(started: datetime.datetime | None, call: LiveCall) -> datetime.timedelta | None:
    """How far a sweep lies from a call; None where one of the two has no time.

    A sweep's own clock carries no zone: it is read in the shoot's.
    """
    if started is None or call.starts is None or call.ends is None:
        return None
    at = started if started.tzinfo else started.replace(tzinfo=call.starts.tzinfo)
    zero = datetime.timedelta(0)
    return max(call.starts - at, at - call.ends, zero)


def airs(
    where: Territory,
    sites: Sequence[Site],
    sweeps: Mapping[str, Sequence[Sweep | Readout]],
    predicted: Mapping[str, Predicted],
) -> dict[str, SiteAir]:
    """The air of every site, by its name. Raises InputError for a TV channel that the territory has not."""
    raster = tv_channels(where)
    first_at: dict[str, str] = {}
    site_airs: dict[str, SiteAir] = {}
    for site in sites:
        readouts = [
            sweep if isinstance(sweep, Readout) else Readout(sweep.path, (sweep,))
            for sweep in sweeps.get(site.name, ())
        ]
        own = [readout for readout in readouts if first_at.setdefault(readout.path, site.name) == site.name]
        void = tuple(readout.path for readout in readouts if first_at[readout.path] != site.name)
        surveyed = survey(own, raster) if own else None
        judged = surveyed.judged if surveyed is not None else ()
        measured = MeasuredAir(judged) if judged else None
        there = predicted.get(site.name)
        taken, contradictions = _taken(where, site, surveyed, measured, there)
        told = [*_void(site, void, first_at), *_refused(site, surveyed), *contradictions]
        site_airs[site.name] = SiteAir(site, surveyed, measured, there, void, taken, tuple(told))
    return site_airs


def _void(site: Site, void: Sequence[str], first_at: Mapping[str, str]) -> Iterator[Finding]:
    for path in void:
        says = f"The sweep {path} was made at {first_at[path]}; it says nothing of {site.name}."
        yield finding("sweep-elsewhere", site.name, says)


def _refused(site: Site, surveyed: Survey | None) -> Iterator[Finding]:
    if surveyed is not None:
        for readout, reason in zip(surveyed.readouts, surveyed.refused, strict=True):
            if reason is not None:
                yield finding(
                    "sweep-deaf", site.name, f"The sweep {readout.path} of {site.name} is refused: {reason}."
                )


def _taken(
    where: Territory, site: Site, surveyed: Survey | None, measured: MeasuredAir | None, there: Predicted | None
) -> tuple[tuple[TakenByTv, ...], list[Finding]]:
    """The channels that TV closes, each once: by the shoot's word, by the rules, by a sweep, by prediction."""
    taken: dict[str, TakenByTv] = {}
    told: list[Finding] = []
    for number in site.tv:
        channel = tv_channel(where, number)
        taken[channel.number] = TakenByTv(channel, f"is on the air at {site.name}", "stated")
        if _shows_nothing(measured, channel, None):
            says = (
                f"TV channel {number} is said to be on the air at {site.name}, and the sweep shows nothing there."
            )
            told.append(finding("air-contradicts", site.name, says))
    for multiplex in surveyed.tv if surveyed is not None else ():
        if multiplex.kind == "multiplex" and multiplex.channel not in taken:
            says = f"shows as a multiplex in the sweep of {site.name}"
            taken[multiplex.channel] = TakenByTv(tv_channel(where, multiplex.channel), says, "measured")
            if site.tv or there is not None:
                told.append(
                    finding("tv-unlisted", site.name, f"TV channel {multiplex.channel} {says}, and is not listed.")
                )
    if there is not None:
        told += _predicted_tv(where, site, measured, there, taken)
    return tuple(taken.values()), told


def _predicted_tv(
    where: Territory, site: Site, measured: MeasuredAir | None, there: Predicted, taken: dict[str, TakenByTv]
) -> Iterator[Finding]:
    """Adds to `taken` what prediction closes and no measurement opens again."""
    outside = [
        Outside(station.channel, station.station, station.outside_km, station.contour_text)
        for station in there.heard
        if station.outside_km is not None
    ]
    by_rule = {
        separation.channel.number: separation.says
        for separation in separations(where, outside)
        if not separation.is_kept
    }
    doubtful = []
    for expected_channel in there.channels:
        if expected_channel.channel in taken:
            continue
        channel = tv_channel(where, expected_channel.channel)
        if expected_channel.channel in by_rule:
            taken[expected_channel.channel] = TakenByTv(
                channel, f"is closed: {by_rule[expected_channel.channel]}", "assumed"
            )
        elif expected_channel.state == "closed" and _shows_nothing(measured, channel, expected_channel.level_dbm):
            where_from = (
                f"TV channel {expected_channel.channel} is predicted at {site.name} ({expected_channel.why})"
            )
            yield finding("air-contradicts", site.name, f"{where_from}; the sweep shows nothing there.")
        elif expected_channel.state == "closed":
            taken[expected_channel.channel] = TakenByTv(
                channel, f"is predicted on the air: {expected_channel.why}", expected_channel.evidence
            )
        elif expected_channel.state == "doubtful":
            doubtful.append(expected_channel.channel)
    if doubtful:
        listed = ", ".join(doubtful[:12]) + (f" and {len(doubtful) - 12} more" if len(doubtful) > 12 else "")
        says = f"At {site.name} TV may be heard in channel{'s' if len(doubtful) > 1 else ''} {listed}."
        yield finding("tv-doubtful", site.name, says)


def _shows_nothing(measured: MeasuredAir | None, channel: TvChannel, level_dbm: float | None) -> bool:
    """Whether a sweep looked at a whole channel, could have seen TV there, and did not.

    `level_dbm` is what is predicted in the channel; None where TV is only said to be there: any sweep can tell.
    """
    if measured is None:
        return False
    levels = measured.slot_levels(np.array([channel.centre_khz]), channel.to_khz - channel.from_khz)
    if not levels.covered[0] or levels.excess_db[0] > WIDE_BUSY_DB:
        return False
    if level_dbm is None:
        return True
    return bool(levels.calibrated[0]) and level_dbm > float(levels.floor_dbm[0]) + SURE_DB


def missed_during(air: SiteAir) -> float | None:
    """The chance of having missed somebody who is on now and then; None without a sweep that counts."""
    return air.survey.missed if air.survey is not None and air.survey.judged else None


def needed_s(air: SiteAir) -> float | None:
    """How long to look, in the way that the best sweep did, to be sure; None where that is not known."""
    looks = air.survey.looks if air.survey is not None else ()
    return min((look.needed_s for look in looks if look.needed_s is not None), default=None)
