"""The budget of a link: what it loses and gains between its two ends, spot by spot, line by line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.fading import branch_correlation, doppler_hz
from linkwright.physics.noise import thermal_noise_dbm
from linkwright.physics.pathloss import P1411_LOWEST_M
from linkwright.reach.hold import WALKING_M_S, Holding, Place, Route, holding
from linkwright.reach.path import Spread, paths, source_of, spread_of, xyz
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.evidence import Gain, Level
from linkwright.shoot.models import Worn
from linkwright.shoot.place import Site, Spot
from linkwright.units import dbm_from_mw

#: Loss on the body [dB]: assumed, no public number could be read; a transmitter's own figures outrank them.
BODY_FACING_DB: Final = 5.0
BODY_AWAY_DB: Final = 15.0
#: Worn so that the body comes between the antennas when the talent turns.
BEHIND_THE_BODY: Final = frozenset({"belt-front", "belt-back", "pocket"})


@dataclass(frozen=True, slots=True)
class SpotBudget:
    """A spot of a route: every gain and loss but the transmit power, their sum, and the spread about it."""

    spot: str
    gains: tuple[Gain, ...]
    gain_db: float
    spread: Spread


@dataclass(frozen=True, slots=True)
class Budget:
    """A link at one frequency: its spots, its receiver's noise, and how its branches fade."""

    spots: tuple[SpotBudget, ...]
    noise: tuple[Level, ...]
    required_cnr_db: float
    rho: float | None
    doppler: float

    @property
    def worst(self) -> SpotBudget:
        """The spot with the least level; of equal ones the first on the route."""
        return min(self.spots, key=lambda spot: spot.gain_db)

    def wanted_dbm(self, power_mw: float) -> float:
        """Local mean of the wanted level at the worst spot [dBm]."""
        return dbm_from_mw(power_mw) + self.worst.gain_db

    def margin_db(self, power_mw: float, noise_and_interference_dbm: float) -> float:
        """Margin at the worst spot [dB]."""
        return self.wanted_dbm(power_mw) - noise_and_interference_dbm - self.required_cnr_db

    def route(self) -> Route:
        """The spots as far as holding goes."""
        worst = self.worst.gain_db
        return Route(
            tuple(spot.gain_db - worst for spot in self.spots), tuple(spot.spread for spot in self.spots), self.rho
        )

    def holding(self, power_mw: float, noise_and_interference_dbm: float) -> Holding:
        """How the link holds along its route at this power."""
        needed = noise_and_interference_dbm + self.required_cnr_db - dbm_from_mw(power_mw)
        places = [Place(spot.gain_db - needed, spot.spread) for spot in self.spots]
        return holding(places, self.rho, self.doppler)


def body_db(transmitter: Transmitter, worn: Worn) -> tuple[float, str]:
    """Loss on the talent's body at the worst turn [dB], and in words."""
    if worn in BEHIND_THE_BODY:
        away = transmitter.body_away_db
        return (BODY_AWAY_DB if away is None else away), "body in the way"
    return facing_db(transmitter), "in the hand or in the open, facing"


def facing_db(transmitter: Transmitter) -> float:
    """Loss on the talent's body when it faces the receiver [dB]: what an interferer has at its strongest."""
    facing = transmitter.body_facing_db
    return BODY_FACING_DB if facing is None else facing


def budget(
    site: Site,
    transmitter: Transmitter,
    receiver: Receiver,
    worn: Worn,
    route: tuple[Spot, ...],
    at: Spot,
    carrier_khz: int,
) -> Budget:
    """The budget of a link on one carrier along its route."""
    frequency_mhz = carrier_khz / 1000.0
    between = paths(site, np.full(len(route), frequency_mhz), xyz(route), xyz((at,)))
    spots = []
    for n, spot in enumerate(route):
        sight = bool(between.sight[n, 0])
        gains = _ends(transmitter, receiver, worn)
        distance_m = float(np.linalg.norm(xyz((spot,)) - xyz((at,))))
        source = f"{source_of(site, bool(between.by_model[n, 0]))}; {distance_m:.0f} m{_heights(site, spot, at)}"
        gains.insert(2, Gain("path", -float(between.median_db[n, 0]), "modelled", source))
        if between.wall_db[n, 0] > 0.0:
            gains.insert(3, Gain("walls", -float(between.wall_db[n, 0]), "assumed", "walls in the way"))
        total = float(sum(gain.db for gain in gains))
        spots.append(SpotBudget(spot.name, tuple(gains), total, spread_of(site, sight)))
    noise_dbm = thermal_noise_dbm(transmitter.bandwidth_khz, receiver.noise_figure_db)
    noise = (Level("thermal", noise_dbm, "modelled", f"kTB + {receiver.noise_figure_db:g} dB"),)
    rho = branch_correlation(frequency_mhz, receiver.branch_spacing_m) if receiver.branches == 2 else None
    return Budget(tuple(spots), noise, receiver.required_cnr_db, rho, doppler_hz(frequency_mhz, WALKING_M_S))


def _heights(site: Site, *points: Spot) -> str:
    """A remark where an antenna stands lower than the model was made for."""
    low = site.surroundings in ("street", "residential") and min(p.z_m for p in points) < P1411_LOWEST_M
    return "; lower than the model's antennas (1.9 m)" if low else ""


def _ends(transmitter: Transmitter, receiver: Receiver, worn: Worn) -> list[Gain]:
    """The gains at the two ends: antenna and body of the transmitter, antenna of the receiver."""
    loss_db, turned = body_db(transmitter, worn)
    own = transmitter.body_away_db if worn in BEHIND_THE_BODY else transmitter.body_facing_db
    return [
        _antenna("transmit antenna", transmitter, transmitter.antenna_gain_dbi),
        Gain("body", -loss_db, "assumed" if own is None else "stated", turned),
        _antenna("receive antenna", receiver, receiver.antenna_gain_dbi),
    ]


def _antenna(part: str, of: Transmitter | Receiver, gain_dbi: float) -> Gain:
    """An antenna's gain: stated where the shoot gives it, assumed by default or from the catalogue."""
    stated = of.use is None and "antenna_gain_dbi" in of.model_fields_set
    return Gain(part, gain_dbi, "stated" if stated else "assumed", f"{of.kind()}'s antenna")
