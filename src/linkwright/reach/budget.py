"""The budget of a link: what it loses and gains between its two ends, spot by spot, line by line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.fading import doppler_hz
from linkwright.physics.pathloss import P1411_LOWEST_M
from linkwright.reach.body import CROWD_DB
from linkwright.reach.curves import Pair
from linkwright.reach.ends import WALKING_M_S, Arriving, Ear, Ends, arriving, pair_of
from linkwright.reach.hold import Holding, Place, Route, holding
from linkwright.reach.path import Spread, source_of, spread_of, xyz
from linkwright.reach.walls import named
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.evidence import Evidence, Gain, Level
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.models import Crowd, Facing, Worn
from linkwright.shoot.place import Site, Spot
from linkwright.units import FloatArray, dbm_from_mw, mw_from_dbm

#: Half of a normal distribution's 90 % interval over its standard deviation.
NINETY: Final = 1.6449
#: Other antennas of a branch that add less than this have no line [dB].
LEAST_LINE_DB: Final = 0.005


@dataclass(frozen=True, slots=True)
class SpotBudget:
    """A spot of a route on its better branch: every gain and loss but the transmit power, and their sum.

    noise_dbm : that branch's noise; spread : how the local mean scatters; pair : how the other branch helps.
    """

    spot: str
    gains: tuple[Gain, ...]
    gain_db: float
    spread: Spread
    noise_dbm: float
    pair: Pair | None

    @property
    def over_noise_db(self) -> float:
        """Gain over the branch's noise [dB over dBm]: what the spots of a route are compared by."""
        return self.gain_db - self.noise_dbm


@dataclass(frozen=True, slots=True)
class Budget:
    """A link at one frequency: its spots, the noise at the worst of them, what its receiver needs, how it fades."""

    spots: tuple[SpotBudget, ...]
    noise: tuple[Level, ...]
    required_cnr_db: float
    doppler: float

    @property
    def worst(self) -> SpotBudget:
        """The spot with the least level over the noise; of equal ones the first on the route."""
        return min(self.spots, key=lambda spot: spot.over_noise_db)

    def wanted_dbm(self, power_mw: float) -> float:
        """Local mean of the wanted level at the worst spot [dBm]."""
        return dbm_from_mw(power_mw) + self.worst.gain_db

    def margin_db(self, power_mw: float, noise_and_interference_dbm: float) -> float:
        """Margin at the worst spot [dB]."""
        return self.wanted_dbm(power_mw) - noise_and_interference_dbm - self.required_cnr_db

    def margins_db(self, power_mw: float, noise_and_interference_dbm: float) -> tuple[float, ...]:
        """Margin at each spot [dB], with noise and interference [dBm] as they are at the worst one."""
        worst = self.worst.over_noise_db
        margin = self.margin_db(power_mw, noise_and_interference_dbm)
        return tuple(margin + spot.over_noise_db - worst for spot in self.spots)

    def route(self) -> Route:
        """The spots as far as holding goes."""
        worst = self.worst.over_noise_db
        return Route(
            tuple(spot.over_noise_db - worst for spot in self.spots),
            tuple((spot.spread, spot.pair) for spot in self.spots),
        )

    def places(self, power_mw: float, noise_and_interference_dbm: float) -> list[Place]:
        """The spots with their margins at this power."""
        margins = self.margins_db(power_mw, noise_and_interference_dbm)
        return [Place(margin, spot.spread, spot.pair) for margin, spot in zip(margins, self.spots, strict=True)]

    def holding(self, power_mw: float, noise_and_interference_dbm: float) -> Holding:
        """How the link holds along its route at this power."""
        return holding(self.places(power_mw, noise_and_interference_dbm), self.doppler)


def budget(
    site: Site,
    transmitter: Transmitter,
    receiver: Receiver,
    worn: Worn,
    route: tuple[Spot, ...],
    at: Spot,
    carrier_khz: int,
    *,
    facing: Facing | None = None,
    crowd: Crowd = "none",
    speed_m_s: float = WALKING_M_S,
) -> Budget:
    """The budget of a link on one carrier along its route."""
    ends = Ends(site, transmitter, receiver, worn, at, facing, crowd, speed_m_s)
    return budget_of(ends, route, carrier_khz)


def budget_of(ends: Ends, route: tuple[Spot, ...], carrier_khz: int) -> Budget:
    """The budget of a link whose two ends are known."""
    mhz = carrier_khz / 1000.0
    places = xyz(route)
    found = arriving(ends, mhz, places, _headings(places) if ends.facing == "walking" else None)
    branches = ends.branches
    sent = _antenna("transmit antenna", ends.transmitter, ends.transmitter.antenna_gain_dbi)
    spots = []
    for n, spot in enumerate(route):
        gains = (sent, *_lines(ends, found, mhz, places[n], n))
        branch = int(found.first[n])
        spread = spread_of(ends.site, bool(found.sight[n]), float(found.wall_spread_db[n]))
        pair = pair_of(ends, mhz, float(found.weaker_db[n]) if len(branches) == 2 else 0.0)
        total = float(sum(gain.db for gain in gains))
        spots.append(SpotBudget(spot.name, gains, total, spread, float(found.noise_dbm[branch]), pair))
    worst = int(np.argmin([spot.over_noise_db for spot in spots]))
    noise = _noise(ends, branches[int(found.first[worst])], mhz)
    return Budget(tuple(spots), noise, ends.receiver.required_cnr_db, doppler_hz(mhz, ends.speed_m_s))


def _headings(places: FloatArray) -> FloatArray:
    """The way on from each spot of a route to the next (n, 3); at the last one as it was reached."""
    if len(places) < 2:
        return np.zeros(places.shape)
    ways = np.diff(places, axis=0)
    return np.concatenate([ways, ways[-1:]])


def _lines(ends: Ends, found: Arriving, mhz: float, place: FloatArray, n: int) -> tuple[Gain, ...]:
    """The ledger's lines of one place but its first, by way of the strongest antenna of its better branch."""
    e, branch = int(found.ear[n]), ends.branches[int(found.first[n])]
    before = sum(len(one) for one in ends.branches[: int(found.first[n])])
    ear, site = branch[e - before], ends.site
    at = xyz((ear.point,))[0]
    distance = float(found.between.distance_m[n, e])
    heights = _heights(site, float(min(place[2], at[2])))
    source = f"{source_of(site, int(found.between.choice[n, e]), mhz, distance)}; {distance:.0f} m{heights}"
    gains = [_body(ends, found, n, e)]
    if ends.crowd != "none":
        gains.append(Gain("crowd", -CROWD_DB[ends.crowd], "assumed", f"{ends.crowd} crowd about the talent"))
    gains.append(Gain("path", -float(found.between.median_db[n, e]), "modelled", source))
    if found.between.wall_db[n, e] > 0.0:
        gains.append(_walls(site, -float(found.between.wall_db[n, e]), place, at, mhz))
    if site.learnt is not None:
        gains.append(_walked(site.learnt, float(found.walked_db[n, e]), distance))
    gains.append(_receive_antenna(ends, ear, float(found.antenna_db[n, e])))
    if found.turned_db[n, e] < 0.0 and ear.antenna is not None:
        says = f"{ear.antenna.polarisation} antenna, vertical talent"
        gains.append(Gain("polarisation", float(found.turned_db[n, e]), "assumed", says))
    gains += ends.feed(ear, mhz).lines
    more = float(found.branch_db[n, int(found.first[n])] - found.total_db[n, e])
    if more > LEAST_LINE_DB:
        gains.append(Gain("other antennas of the branch", more, "modelled", "their powers added"))
    return tuple(gains)


def _walls(site: Site, db: float, place: FloatArray, at: FloatArray, mhz: float) -> Gain:
    """The line of what stands in the way; where it is plain walls of the built-in table that is said shortly."""
    plain = not (site.floors or site.materials) and all(
        wall.loss_db is None and wall.height_m is None and "outer-wall" not in wall.material for wall in site.walls
    )
    evidence: Evidence
    evidence, source = ("assumed", "walls in the way") if plain else named(site, place, at, mhz)
    return Gain("walls", db, evidence, source)


def _walked(learnt: Learnt, db: float, distance_m: float) -> Gain:
    """The line of a walk test, with how sure it is at this distance."""
    decades = float(np.log10(np.clip(distance_m, learnt.nearest_m, learnt.farthest_m) / learnt.reference_m))
    offset, slope = (
        (high - low) / 2.0 / NINETY
        for low, high in (
            (learnt.offset_low_db, learnt.offset_high_db),
            (learnt.slope_low_db, learnt.slope_high_db),
        )
    )
    variance = offset**2 + (decades * slope) ** 2 + 2.0 * learnt.correlation * decades * offset * slope
    sigma = float(np.sqrt(max(variance, 0.0)))
    beyond = "" if learnt.nearest_m <= distance_m <= learnt.farthest_m else ", beyond what was walked"
    day = f" of {learnt.date}" if learnt.date is not None else ""
    says = f"walk test{day}, {learnt.readings} readings, within {NINETY * sigma:.1f} dB (90 %){beyond}"
    return Gain("walk test", db, "measured", says, sigma)


def _heights(site: Site, lowest_m: float) -> str:
    """A remark where an antenna stands lower than the model was made for."""
    low = site.surroundings in ("street", "residential") and lowest_m < P1411_LOWEST_M
    return "; lower than the model's antennas (1.9 m)" if low else ""


def _body(ends: Ends, found: Arriving, n: int, e: int) -> Gain:
    """The line of the talent's body; between the two sides it is known no better than the lesser known."""
    body, loss = ends.body, -float(found.body_db[n, e])
    known = body.away_known if abs(loss - body.away_db) < 1e-9 else body.facing_known
    if abs(loss - body.facing_db) > 1e-9 and abs(loss - body.away_db) > 1e-9:
        known = "assumed"
    if ends.facing is None and body.facing_db == body.away_db:
        known = body.away_known if found.says == "body in the way" else body.facing_known
    return Gain("body", -loss, known, found.says)


def _receive_antenna(ends: Ends, ear: Ear, gain_db: float) -> Gain:
    """The line of the receive antenna towards the talent."""
    if ear.antenna is None:
        return _antenna("receive antenna", ends.receiver, ends.receiver.antenna_gain_dbi)
    known: Evidence = "assumed" if ear.antenna.gain_dbi is None else "stated"
    says = f"{ear.antenna.name}, branch {ear.antenna.branch}: {ear.antenna.pattern}, towards the talent"
    return Gain("receive antenna", gain_db, known, says)


def _antenna(part: str, of: Transmitter | Receiver, gain_dbi: float) -> Gain:
    """An antenna's gain: stated where the shoot gives it, assumed by default or from the catalogue."""
    stated = of.use is None and "antenna_gain_dbi" in of.model_fields_set
    return Gain(part, gain_dbi, "stated" if stated else "assumed", f"{of.kind()}'s antenna")


def _noise(ends: Ends, branch: tuple[Ear, ...], mhz: float) -> tuple[Level, ...]:
    """The noise of a branch: the receiver's own, and what amplifiers before it add."""
    figure = ends.receiver.noise_figure_db
    lines = [Level("thermal", ends.thermal_dbm + figure, "modelled", f"kTB + {figure:g} dB")]
    if branch[0].antenna is None:
        return tuple(lines)
    excess = sum(ends.feed(ear, mhz).excess for ear in branch)
    if excess > 1e-3 * mw_from_dbm(figure):
        says = "noise of what stands before the receiver, by Friis' formula"
        lines.append(Level("preamplifier", ends.thermal_dbm + dbm_from_mw(excess), "modelled", says))
    return tuple(lines)
