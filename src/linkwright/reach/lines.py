"""The lines of a budget: every gain and loss at the place that decides, and the noise there, in words."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.physics.pathloss import P1411_LOWEST_M
from linkwright.reach.arriving import Arriving, scattered_db
from linkwright.reach.body import CROWD_DB, ON_THE_BACK, VEHICLE_SOURCE, Body
from linkwright.reach.doubt import NINETY, trend_spread_db, vehicle_db_of
from linkwright.reach.ends import Carried, Ear, Ends
from linkwright.reach.path import source_of, taken, xyz
from linkwright.reach.walls import named
from linkwright.shoot.end import Vehicle
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.evidence import Evidence, Level, PathGain
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.place import Site, Spot
from linkwright.units import FloatArray, counted, dbm_from_mw, mw_from_dbm

#: Other antennas of a branch that add less than this have no line [dB].
LEAST_LINE_DB: Final = 0.005


@dataclass(frozen=True, eq=False, slots=True)
class Deciding:
    """Where a link's budget is decided: its ends and their spots there, what arrives, in which row and at which
    turn, its gain [dB], how whoever wears it is turned ("" where they do not turn), and how that end stands."""

    ends: Ends
    mhz: float
    pair: tuple[Spot, Spot]
    arrived: Arriving
    row: int
    turn: int
    gain_db: float
    turned: str
    stands: str

    def gains(self) -> tuple[PathGain, ...]:
        """Every gain and loss but the transmit power."""
        transmitter = self.ends.transmitter
        sent = _antenna("transmit antenna", transmitter, transmitter.antenna_gain_dbi)
        return (*_output(transmitter), sent, *_way_lines(self))

    def noise(self) -> tuple[Level, ...]:
        """The noise of the branch that counts."""
        return _noise(self.ends, self.ends.branches[int(self.arrived.branch[self.row, self.turn])], self.mhz)


# long: a step for every line of the ledger, in its order
def _way_lines(of: Deciding) -> Iterator[PathGain]:
    """The ledger's lines of the place that decides but its first, by way of the strongest antenna of its branch."""
    ends, arrived, mhz, row, turn = of.ends, of.arrived, of.mhz, of.row, of.turn
    ray, branch = int(arrived.ray[row, turn]), ends.branches[int(arrived.branch[row, turn])]
    ears: tuple[Ear, ...] = tuple(itertools.chain.from_iterable(ends.branches))
    ear, site, between = ears[int(arrived.ear[ray])], ends.site, arrived.between
    here, there = of.pair
    place, at = xyz((here, there if ends.way else ear.point))
    distance = float(between.distance_m[ray])
    k, wall = float(between.rice_k[ray]), float(between.wall_db[ray])
    through = float(between.through_db[ray])
    body, scattered = float(arrived.body_db[ray, turn]), float(arrived.scattered_body_db[ray])
    mean = _mean_db(k, wall, float(between.around_db[ray]), body, scattered)
    yield from _bodies(of, ray, through, functools.partial(_mean_db, k, wall, float(between.around_db[ray])))
    if ends.crowd != "none":
        yield PathGain("crowd", -CROWD_DB[ends.crowd], "assumed", f"{ends.crowd} crowd about the talent")
    if ends.listener.crowd != "none":
        says = f"{ends.listener.crowd} crowd about the listener"
        yield PathGain("crowd at the receiver", -CROWD_DB[ends.listener.crowd], "assumed", says)
    yield from _vehicles(ends, float(arrived.vehicle_db[ray]))
    source = source_of(site, int(between.choice[ray]), mhz, distance)
    assumed = taken(site) if not site.walls_complete else ""
    says = "; ".join(part for part in (source, f"{distance:.0f} m{_heights(site, place, at)}", assumed) if part)
    yield PathGain("path", -float(between.median_db[ray]), "modelled", says)
    if wall > 0.0:
        evidence, what = named(site, place, at, mhz)
        says = f"{what}; the straight wave loses {wall:.0f} dB, what gets around half"
        yield PathGain("walls", -through, evidence, says)
    if site.learnt is not None:
        yield _walked(site.learnt, float(arrived.walked_db[ray]), distance)
    if arrived.shift_db is not None:
        says = "levels that were read on the site"
        yield PathGain("levels read here", float(arrived.shift_db[row]), "measured", says)
    yield _receive_antenna(ends, ear, float(arrived.antenna_db[ray]))
    if arrived.turned_db[ray] < 0.0 and ear.antenna is not None:
        polarised = f"{ear.antenna.polarisation} antenna, vertical talent"
        yield PathGain("polarisation", float(arrived.turned_db[ray]), "assumed", polarised)
    yield from ends.feed(ear, mhz).lines
    if len(branch) > 1:
        more = of.gain_db - _of_ray_db(of, ray, mean)
        if more > LEAST_LINE_DB:
            yield PathGain("other antennas of the branch", more, "modelled", "their powers added")


def _of_ray_db(of: Deciding, ray: int, mean_db: float) -> float:
    """The gain [dB] by way of one antenna alone; mean_db : what the way and the bodies take of it together."""
    ends, arrived = of.ends, of.arrived
    crowds = CROWD_DB[ends.crowd] + CROWD_DB[ends.listener.crowd]
    fixed = ends.sent_db - crowds - mean_db - float(arrived.between.median_db[ray])
    fixed += -float(arrived.vehicle_db[ray]) + sum(
        float(part[ray]) for part in (arrived.antenna_db, arrived.turned_db, arrived.walked_db, arrived.feed_db)
    )
    return fixed + (0.0 if arrived.shift_db is None else float(arrived.shift_db[of.row]))


def _mean_db(k: float, wall: float, around: float, body: float, scattered: float) -> float:
    """What walls and body take from the local mean [dB]."""
    steady = k * mw_from_dbm(-wall - body)
    return -dbm_from_mw((steady + mw_from_dbm(-around - scattered)) / (k + 1.0))


def _walked(learnt: Learnt, db: float, distance_m: float) -> PathGain:
    """The line of a walk test, with how sure it is at this distance."""
    sigma = float(trend_spread_db(learnt, np.asarray(distance_m)))
    beyond = "" if learnt.nearest_m <= distance_m <= learnt.farthest_m else ", beyond what was walked"
    day = f" of {learnt.date}" if learnt.date is not None else ""
    says = f"walk test{day}, {counted(learnt.readings, 'reading')}, within {NINETY * sigma:.1f} dB (90 %){beyond}"
    return PathGain("walk test", db, "measured", says, sigma)


def _heights(site: Site, place: FloatArray, at: FloatArray) -> str:
    """A remark where an antenna stands lower than the model was made for."""
    low = site.surroundings in ("street", "residential") and min(place[2], at[2]) < P1411_LOWEST_M
    return "; lower than the model's antennas (1.9 m)" if low else ""


def _bodies(of: Deciding, ray: int, before: float, mean_db: Callable[[float, float], float]) -> Iterator[PathGain]:
    """The lines of the bodies about both ends; `before` is what walls take without them [dB], `mean_db` with losses
    of the steady wave and of the scattered ones."""
    ends, arrived, turn = of.ends, of.arrived, of.turn
    so_far = np.zeros(2)
    for part, carried, body, shown in (
        ("body", ends.sender, ends.body, arrived.shown),
        ("body at the receiver", ends.listener, ends.listener_body, arrived.heard_shown),
    ):
        if carried.worn == "mounted":
            continue
        steady = float(body.loss_db(shown[ray, turn]))
        both = np.array([steady, float(arrived.scattered_body_db[ray]) - so_far[1]])
        if part == "body" and ends.worn_ends == 2:
            both[1] = float(scattered_db(carried, body, known=False))
        so_far += both
        after = mean_db(float(so_far[0]), float(so_far[1]))
        yield _body(of, part, body, steady, float(both[1]), after - before)
        before = after


def _body(of: Deciding, part: str, body: Body, loss_db: float, scattered_db: float, mean_db: float) -> PathGain:
    """The line of a body; between the two sides it is known no better than the lesser known."""
    known = body.away_known if abs(loss_db - body.away_db) < 1e-9 else body.facing_known
    if abs(loss_db - body.facing_db) > 1e-9 and abs(loss_db - body.away_db) > 1e-9:
        known = "assumed"
    carried = of.ends.sender if part == "body" else of.ends.listener
    says = f"worn {carried.worn}, {of.turned}" if of.turned else of.stands
    if abs(loss_db - scattered_db) > 0.05:
        says = f"{says}: the straight wave loses {loss_db:.1f} dB, scattered ones {scattered_db:.1f}"
    return PathGain(part, -mean_db, known, says)


def turned(carried: Carried, shown: float, to: str) -> str:
    """How whoever carries an end is turned, in words; nothing where it does not turn about."""
    if not carried.turns_evenly:
        return ""
    if abs(shown) < 1.0:
        return "half turned"
    towards = (shown > 0.0) != (carried.worn in ON_THE_BACK)
    return f"facing {to}" if towards else "turned away"


def _vehicles(ends: Ends, loss_db: float) -> Iterator[PathGain]:
    """The line of the vehicles that a wave goes into."""
    inside = [end for end in (ends.inside, ends.listener.inside) if end is not None]
    if not inside:
        return
    if loss_db == 0.0:
        yield PathGain("vehicle", 0.0, "assumed", "both ends at one place inside a vehicle: taken to be the same")
        return
    stated = all(end.stated_db is not None for end in inside)
    said = " and ".join(VEHICLES[end.vehicle] for end in inside)
    spread = vehicle_db_of(ends)
    source = "as stated" if stated else VEHICLE_SOURCE
    yield PathGain(
        "vehicle", -loss_db, "stated" if stated else "modelled", f"into {said}, {source}", spread or None
    )


#: Vehicles in words.
VEHICLES: Final[dict[Vehicle, str]] = {"car": "a car", "coated-car": "a car with metal-coated windows"}


def _receive_antenna(ends: Ends, ear: Ear, gain_db: float) -> PathGain:
    """The line of the receive antenna towards the talent."""
    if ear.antenna is None:
        line = _antenna("receive antenna", ends.receiver, ends.receiver.antenna_gain_dbi)
        return replace(line, source=f"{line.source}, {ends.listener_name}") if ends.listener_name else line
    known: Evidence = "assumed" if ear.antenna.gain_dbi is None else "stated"
    says = f"{ear.antenna.name}, branch {ear.antenna.branch}: {ear.antenna.pattern}, towards the talent"
    return PathGain("receive antenna", gain_db, known, says)


def _antenna(part: str, of: Transmitter | Receiver, gain_dbi: float) -> PathGain:
    """An antenna's gain: stated where the shoot gives it, assumed by default or from the catalogue."""
    stated = of.use is None and "antenna_gain_dbi" in of.model_fields_set
    return PathGain(part, gain_dbi, "stated" if stated else "assumed", f"{of.kind()}'s antenna")


def _output(transmitter: Transmitter) -> Iterator[PathGain]:
    """The line of an output that was measured: by how much it is over the step that is set."""
    measured = transmitter.measurements("output power")
    if measured:
        said = ", ".join(f"{measure.value:g} mW at the step of {measure.power_mw:g}" for measure in measured)
        yield PathGain("output power", transmitter.output_db[0], "measured", f"{said}; {measured[-1].says}")


def _noise(ends: Ends, branch: tuple[Ear, ...], mhz: float) -> tuple[Level, ...]:
    """The noise of a branch: the receiver's own, and what amplifiers before it add."""
    figure, measured = ends.receiver.noise_figure_db, ends.receiver.measurements("noise figure")
    known: Evidence = "measured" if measured else "modelled"
    says = f"kTB + {figure:g} dB" + (f", {measured[-1].says}" if measured else "")
    lines = [Level("thermal", ends.thermal_dbm + figure, known, says)]
    if branch[0].antenna is None:
        return tuple(lines)
    excess = sum(ends.feed(ear, mhz).excess for ear in branch)
    if excess > 1e-3 * mw_from_dbm(figure):
        says = "noise of what stands before the receiver, by Friis' formula"
        lines.append(Level("preamplifier", ends.thermal_dbm + dbm_from_mw(excess), "modelled", says))
    return tuple(lines)
