"""Closed, doubtful or free: what the stations at a place make of each channel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from linkwright.air.predicted.model import ExpectedChannel, Predicted, ProtectedChannel, State, StationAtPlace
from linkwright.physics.noise import thermal_noise_dbm
from linkwright.shoot.evidence import Evidence
from linkwright.units import sum_dbm

#: Stations farther away than this are not looked at [km].
WITHIN_KM: Final = 400.0
#: Noise figure of the receiver that a channel is judged for [dB]. Assumed.
NOISE_FIGURE_DB: Final = 6.0
#: A channel is free where TV stays this far under the noise (0.97 dB of desensitisation) [dB]; common practice,
#: no source.
FREE_BELOW_NOISE_DB: Final = -6.0
#: Nine places in ten lie within this many standard deviations on one side; the normal distribution.
NINE_IN_TEN: Final = 1.2816
#: Share of a contour's distance that is in doubt: the ground about a station differs between directions, and the
#: list gives its mean. Assumed.
CONTOUR_DOUBT: Final = 0.1


def judged(
    heard: list[StationAtPlace],
    bands: Sequence[ProtectedChannel],
    separation_km: float | None,
    notes: tuple[str, ...],
) -> Predicted:
    """Every band with its state, and the stations that matter; `separation_km` as for `predict`."""
    channels, kept = [], []
    by_channel: dict[str, list[StationAtPlace]] = {}
    for station in heard:
        by_channel.setdefault(station.channel, []).append(station)
    for band in bands:
        noise_dbm = thermal_noise_dbm(band.to_khz - band.from_khz, NOISE_FIGURE_DB)
        there = sorted(by_channel.get(band.channel, []), key=lambda station: -station.level_dbm)
        matter = [heard_station for heard_station in there if _matters(heard_station, noise_dbm, separation_km)]
        channels.append(_channel(band, matter, noise_dbm, separation_km))
        kept += matter
    return Predicted(tuple(channels), tuple(kept), notes)


def _matters(station: StationAtPlace, noise_dbm: float, separation_km: float | None) -> bool:
    """Whether a station can be heard, or its contour is near."""
    audible = _can_be_heard(station.level_dbm, station.high_dbm, station.spread_db, noise_dbm)
    return audible or _by_rule(station, separation_km) != "free"


def _can_be_heard(level_dbm: float, high_dbm: float, spread_db: float, noise_dbm: float) -> bool:
    """At one place in ten half of the time, or at half of the places for a tenth of the time."""
    return max(level_dbm + NINE_IN_TEN * spread_db, high_dbm) > noise_dbm + FREE_BELOW_NOISE_DB


def _by_rule(station: StationAtPlace, separation_km: float | None) -> State:
    if separation_km is None or station.outside_km is None or station.contour_km is None:
        return "free"
    if station.outside_km < separation_km:
        return "closed"
    return "doubtful" if station.outside_km < separation_km + CONTOUR_DOUBT * station.contour_km else "free"


def _channel(
    band: ProtectedChannel, matter: list[StationAtPlace], noise_dbm: float, separation_km: float | None
) -> ExpectedChannel:
    """The state of one channel from the stations that matter there, the strongest first."""
    edges = band.channel, band.from_khz, band.to_khz
    if not matter:
        why = f"no station of the list within {WITHIN_KM:g} km can be heard above a receiver's noise"
        return ExpectedChannel(*edges, "free", why, None, None, "modelled")
    level = sum_dbm(heard_station.level_dbm for heard_station in matter)
    high = sum_dbm(heard_station.high_dbm for heard_station in matter)
    spread = matter[0].spread_db
    evidence: Evidence = (
        "assumed" if any(heard_station.evidence == "assumed" for heard_station in matter) else "modelled"
    )
    states: list[tuple[State, str]] = []
    inside = [heard_station for heard_station in matter if _by_rule(heard_station, separation_km) != "free"]
    for station in sorted(inside, key=lambda station: station.outside_km or 0.0)[:1]:
        states.append(
            (
                _by_rule(station, separation_km),
                f"{station.contour_text}; the rules ask for {separation_km:g} km outside it",
            )
        )
    over = level - noise_dbm
    says = (
        f"{matter[0].station}, {matter[0].distance_km:.1f} km away: {level:.0f} dBm in the channel, "
        f"{abs(over):.0f} dB {'over' if over >= 0.0 else 'under'} a receiver's noise, give or take {spread:.0f} dB"
    )
    if over - NINE_IN_TEN * spread > 0.0:
        states.append(("closed", says))
    elif _can_be_heard(level, high, spread, noise_dbm):
        states.append(("doubtful", says))
    order: tuple[State, ...] = ("closed", "doubtful", "free")
    states = states or [("doubtful", says)]  # each alone can be heard no more, all together they are near it
    state = min((named for named, _ in states), key=order.index)
    return ExpectedChannel(*edges, state, "; ".join(text for _, text in states), level, spread, evidence)
