"""The budget of a link: what it loses and gains between its two ends at the place that decides, and what is in
hand."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.physics.harm import read_curves
from linkwright.physics.pathloss import P1411_LOWEST_M
from linkwright.reach.arriving import Arriving, Stand, arriving, scattered_db
from linkwright.reach.body import CROWD_DB, ON_THE_BACK, VEHICLE_SOURCE, Body
from linkwright.reach.doubt import (
    CASES,
    NINETY,
    PLACES,
    TV,
    Doubt,
    Own,
    case_at,
    cases,
    doubt_of,
    groups,
    own_of,
    trend_spread_db,
    vehicle_db_of,
)
from linkwright.reach.ends import MOUNTED, SPEEDS_M_S, Carried, Ear, Ends
from linkwright.reach.hand import USUAL, Hand, HandFigures, States, Wanted, hands_of, margins_for, mixed, states_of
from linkwright.reach.measured import Learned, shifted
from linkwright.reach.path import source_of, spread_of, taken, xyz
from linkwright.reach.walls import named
from linkwright.shoot.end import Vehicle
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.evidence import Evidence, Level, PathGain
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.place import Site, Spot
from linkwright.units import FloatArray, counted, dbm_from_mw, mw_from_dbm

#: Other antennas of a branch that add less than this have no line [dB].
LEAST_LINE_DB: Final = 0.005


@dataclass(frozen=True, eq=False)
class BudgetRequest:
    """A link on a carrier [MHz]: its ends, the spots from which it is sent, what it is to keep to, and what was
    read there. Where the receiver goes as well (`ends.way`) its places are all pairs of the spots of both."""

    ends: Ends
    route: tuple[Spot, ...]
    mhz: float
    wanted: Wanted = USUAL
    readings: Learned | None = None

    @functools.cached_property
    def pairs(self) -> tuple[tuple[Spot, Spot], ...]:
        """The spots of both ends at each place."""
        return tuple(itertools.product(self.route, self.ends.way or (self.ends.at,)))

    @functools.cached_property
    def places(self) -> tuple[str, ...]:
        """What each place is called: by the spot of whichever end goes, by both where both do."""
        if self.ends.sent_from is not None:
            return tuple(spot.name for spot in self.ends.way or (self.ends.at,))
        if not self.ends.way:
            return tuple(spot.name for spot in self.route)
        return tuple(f"{here.name}, heard at {there.name}" for here, there in self.pairs)


@dataclass(frozen=True, slots=True)
class AtPlace:
    """A spot of a route, or a spot and a turn there, as if the talent were there all the time.

    gain_db : to the receiver's input, of the local mean; needs_db : the least x of `reach.hand` at which nothing is
    short there. turn : how the talent is turned, in words; nothing where it turns about.
    """

    spot: str
    turn: str
    gain_db: float
    noise_dbm: float
    needs_db: float


@dataclass(frozen=True, eq=False, slots=True)
class OffAir:
    """Others who are on the air for a part of the time only: the shares of time of their states (s,), by how much
    noise and interference are less in each than with all of them on [dB], and in words who and how much."""

    share: FloatArray
    quieter_db: FloatArray
    says: str

    @property
    def states(self) -> tuple[FloatArray, FloatArray]:
        """Shares and how much quieter."""
        return self.share, self.quieter_db


@dataclass(frozen=True, eq=False)
class Alone:
    """The links of a site as if each were in one of its states all the time, worked out for all of them at once."""

    states: States
    hands: Sequence[Hand]

    @functools.cached_property
    def needs_db(self) -> FloatArray:
        """The least x at which nothing is short in a state (p, t) [dB]; nothing where it does not occur."""
        owner, over = self.states.course.owner, self.states.over_db
        limit = np.log([hand.wanted.harm_s for hand in self.hands])[owner]
        margins = margins_for(self.states.curves, np.repeat(limit, self.states.turns)).reshape(over.shape)
        shifts = np.sort(-np.concatenate([hand.deviation_db for hand in self.hands], axis=1), axis=0)
        at = np.array([CASES - 1 - case_at(1.0 - hand.wanted.sure) for hand in self.hands])[owner]
        away = shifts[at, np.arange(owner.size)]
        return np.where(self.states.share > 0.0, margins - over + away[:, None], -np.inf)


@dataclass(frozen=True, eq=False)
class Budget:
    """A link on one carrier: its places (p,) with their turns (t,), what decides, and what it needs.

    at (place, turn) is the state that decides: the one with the most harm where the link just holds. off_air :
    others who are on for a part of the time, which `hand` counts with; `always` is the hand with all of them on.
    """

    asked: BudgetRequest
    arrived: Arriving
    states: States
    hand: Hand
    parts: FloatArray
    begin: int
    at: tuple[int, int]
    of_all: Alone
    off_air: OffAir | None = None
    always: Hand | None = None

    @property
    def required_cnr_db(self) -> float:
        """What the receiver needs [dB]."""
        return self.asked.ends.receiver.required_cnr_db

    @property
    def doppler(self) -> float:
        """The largest Doppler shift where it decides [Hz]."""
        return float(self.arrived.doppler_hz[self.begin + self.at[0]])

    @property
    def worst_spot(self) -> str:
        """The spot that decides."""
        return self.asked.places[self.at[0]]

    @property
    def gain_db(self) -> float:
        """From transmit power to the receiver's input where it decides [dB]."""
        return float(self.arrived.gain_db[self.begin + self.at[0], self.at[1]])

    @property
    def noise_dbm(self) -> float:
        """The noise of the branch that counts there [dBm]."""
        return float(self.arrived.noise_dbm[self.begin + self.at[0], self.at[1]])

    @property
    def rice_db(self) -> float:
        """Rice's factor there [dB]."""
        return float(self.arrived.k_db[self.begin + self.at[0], self.at[1]])

    @property
    def apart(self) -> float:
        """How far the branches are from each other [wavelengths]; 0 for one."""
        return float(self.arrived.apart[self.begin])

    @property
    def weaker_db(self) -> float:
        """How much less over its noise the other branch has there [dB]."""
        return float(self.arrived.weaker_db[self.begin + self.at[0], self.at[1]])

    @property
    def to_hold_db(self) -> float:
        """The margin where it decides from which on nothing is short: fading and doubt together [dB]."""
        return self.gain_db - self.noise_dbm + self.hand.wanted_db

    def wanted_dbm(self, power_mw: float) -> float:
        """Local mean of the wanted level where it decides [dBm]."""
        return dbm_from_mw(power_mw) + self.gain_db

    def margin_db(self, power_mw: float, noise_and_interference_dbm: float) -> float:
        """Margin where it decides [dB]."""
        return self.wanted_dbm(power_mw) - noise_and_interference_dbm - self.required_cnr_db

    def x_db(self, power_mw: float, noise_and_interference_dbm: float) -> float:
        """Transmit power less the rise of the noise less what is needed: what `reach.hand` tells shifts over
        [dB]."""
        return self.margin_db(power_mw, noise_and_interference_dbm) - self.gain_db + self.noise_dbm

    def told(
        self, power_mw: float, noise_and_interference_dbm: float, noisier_db: FloatArray | float = 0.0
    ) -> HandFigures:
        """What is in hand and what else is told, with the noise so much over its median in each case [dB]."""
        return self.hand.told(self.x_db(power_mw, noise_and_interference_dbm), noisier_db)

    @functools.cached_property
    def spots(self) -> tuple[AtPlace, ...]:
        """Each spot of the route, as if the talent were there all the time and turned as it does."""
        gains = self.arrived.mean_gain_db
        return tuple(
            AtPlace(name, "", float(gains[self.begin + n]), self._noise_at(n), self.at_spot(n).wanted_db)
            for n, name in enumerate(self.asked.places)
        )

    def at_spot(self, place: int) -> Hand:
        """The link's shifts as if the talent were at one spot of its route all the time."""
        course = self.hand.course.only_place(place)
        deviation = self.hand.deviation_db[:, place : place + 1]
        limit = np.array([self.hand.wanted.harm_s])
        plain = float(course.shifts_db(limit, np.zeros((1, 1)))[0, 0])
        return Hand(self.hand.wanted, plain, course.shifts_db(limit, deviation)[:, 0], course, deviation)

    @functools.cached_property
    def alone(self) -> AtPlace:
        """The spot and the turn of the body at which the link would have least in hand all the time."""
        needs = self.state_needs()
        place, turn = (int(n) for n in np.unravel_index(int(needs.argmax()), needs.shape))
        return AtPlace(
            self.asked.places[place],
            self.turn_says(place, turn),
            float(self.arrived.gain_db[self.begin + place, turn]),
            float(self.arrived.noise_dbm[self.begin + place, turn]),
            float(needs[place, turn]),
        )

    def state_needs(self) -> FloatArray:
        """The least x at which the link would not be short if it were in a state all the time: (places, turns)
        [dB]."""
        mine = slice(self.begin, self.begin + len(self.asked.pairs))
        if self.off_air is None:
            return self.of_all.needs_db[mine]
        states, turns = self.states, self.states.turns
        curves = mixed(states.curves[mine.start * turns : mine.stop * turns], *self.off_air.states)
        margins = margins_for(curves, np.full(len(curves), np.log(self.hand.wanted.harm_s)))
        away = np.sort(-self.hand.deviation_db, axis=0)[CASES - 1 - case_at(1.0 - self.hand.wanted.sure)]
        needs = margins.reshape(-1, turns) - states.over_db[mine] + away[:, None]
        return np.where(states.share[mine] > 0.0, needs, -np.inf)

    def _noise_at(self, place: int) -> float:
        row = self.begin + place
        return float(self.arrived.noise_dbm[row, int(self.states.over_db[row].argmax())])

    def turn_says(self, place: int, turn: int) -> str:
        """How whoever turns about is turned in a state, in words; nothing where nobody does."""
        ends, ray = self.asked.ends, self.arrived.ray[self.begin + place, turn]
        sent = _turn(ends.sender, float(self.arrived.shown[ray, turn]), "the receiver")
        heard = _turn(ends.listener, float(self.arrived.heard_shown[ray, turn]), "the transmitter")
        return ", ".join(part for part in (sent, f"the listener {heard}" if heard else "") if part)

    @property
    def parts_db(self) -> tuple[tuple[str, float], ...]:
        """What the doubt where it decides is made of: names and standard deviations [dB]."""
        row = self.begin + self.at[0]
        place, body, kit = (float(part) for part in self.parts[self.at[0]])
        vehicle = vehicle_db_of(self.asked.ends)
        walls = float(self.arrived.wall_spread_db[row]) if self.arrived.shift_db is None else 0.0
        own = float(np.sqrt(max(place**2 - walls**2, 0.0)))
        body = body if vehicle == 0.0 else math.sqrt(max(body**2 - vehicle**2, 0.0))
        named_parts = (("place", own), ("walls", walls), ("body", body), ("vehicle", vehicle), ("kit", kit))
        return tuple((name, db) for name, db in named_parts if db >= 0.05)

    @property
    def tail_says(self) -> str:
        """A remark where what is known of the place that decides ends before the doubt might."""
        row = self.begin + self.at[0]
        site = self.asked.ends.site
        tailed = (
            bool(self.arrived.sight[row])
            and spread_of(site, True).kind == "sight"
            and self.arrived.shift_db is None
        )
        return "; no more than 99 % of locations are known of" if tailed and site.learnt is None else ""

    @property
    def doubt_known(self) -> Evidence:
        """How what is not known is known: a model's spread, or an assumed one."""
        return spread_of(self.asked.ends.site, bool(self.arrived.sight[self.begin + self.at[0]])).evidence

    @property
    def doubt_db(self) -> float:
        """Standard deviation of what is not known where it decides [dB]."""
        return float(np.sqrt((self.parts[self.at[0]] ** 2).sum()))

    @functools.cached_property
    def gains(self) -> tuple[PathGain, ...]:
        """Every gain and loss but the transmit power where it decides."""
        ends = self.asked.ends
        sent = _antenna("transmit antenna", ends.transmitter, ends.transmitter.antenna_gain_dbi)
        return (*_output(ends.transmitter), sent, *_lines(self))

    @functools.cached_property
    def noise(self) -> tuple[Level, ...]:
        """The noise of the branch that counts where it decides."""
        branch = int(self.arrived.branch[self.begin + self.at[0], self.at[1]])
        return _noise(self.asked.ends, self.asked.ends.branches[branch], self.asked.mhz)


def budget_of(ends: Ends, route: tuple[Spot, ...], carrier_khz: int, wanted: Wanted = USUAL) -> Budget:
    """The budget of one link on one carrier."""
    return budgets_of([BudgetRequest(ends, route, carrier_khz / 1000.0, wanted)])[0]


def budgets_of(asked: Sequence[BudgetRequest]) -> list[Budget]:
    """The budgets of links on one site, all at once."""
    if not asked:
        return []
    stands = [stand_of(link) for link in asked]
    arrived, doubt = doubted(stands, asked[0].readings)
    states = states_of(arrived)
    hands = hands_of(states, doubt, [link.wanted for link in asked])
    first = states.course.first
    at, alone = _deciding(states, hands), Alone(states, hands)
    return [
        Budget(link, arrived, states, hand, _parts(doubt, begin, len(link.pairs)), begin, at[n], alone)
        for n, (link, hand, begin) in enumerate(zip(asked, hands, first.tolist(), strict=True))
    ]


def in_air(budget: Budget, off_air: OffAir | None) -> Budget:
    """The budget of a link with others on for a part of the time: time averages over it as over places and turns.
    Everything is still told over the noise with all of them on."""
    if off_air is None:
        return budget
    return replace(budget, hand=budget.hand.in_air(*off_air.states), off_air=off_air, always=budget.hand)


def doubted(stands: Sequence[Stand], readings: Learned | None) -> tuple[Arriving, Doubt]:
    """What arrives at the receivers of stands on one site, and what is not known of it after the readings there."""
    arrived, ends = arriving(stands), [stand.ends for stand in stands]
    if readings is None:
        return arrived, doubt_of(ends[0].site, ends, arrived)
    own = own_of(ends[0].site, arrived)
    left = [
        readings.places(
            ends[n], Own(own.sigma_db[mine], own.in_sight[mine]), arrived.places[mine], arrived.heard_at[mine]
        )
        for n, mine in enumerate(groups(arrived.stand))
    ]
    shift, deviation = (
        np.concatenate([getattr(part, name) for part in left], axis=-1) for name in ("shift_db", "deviation_db")
    )
    parts = np.concatenate([part.parts for part in left])
    return shifted(arrived, shift), Doubt(deviation, parts, cases(PLACES)[:, TV])


def _parts(doubt: Doubt, begin: int, count: int) -> FloatArray:
    return np.asarray(doubt.parts[begin : begin + count])


def _deciding(states: States, hands: Sequence[Hand]) -> list[tuple[int, int]]:
    """The state of each link with the most harm where the link just holds with nothing deviating: place and
    turn."""
    course, turns = states.course, states.turns
    x = np.array([hand.plain_db for hand in hands])[course.owner]
    which = np.arange(course.over_db.size * turns).reshape(-1, turns)
    log_harm = read_curves(states.curves, which, states.over_db + x[:, None])
    with np.errstate(divide="ignore"):
        harm = log_harm + np.log(states.share) + np.log(course.share)[:, None]
    worst = []
    for begin, end in itertools.pairwise([*course.first.tolist(), course.over_db.size]):
        # Of harms that are alike but for rounding the first counts.
        mine = np.round(harm[begin:end], 9)
        place, turn = np.unravel_index(int(mine.argmax()), mine.shape)
        worst.append((int(place), int(turn)))
    return worst


def stand_of(link: BudgetRequest) -> Stand:
    """A link with its ends at the spots of its places."""
    ends = link.ends
    sent, heard = (tuple(pair[end] for pair in link.pairs) for end in (0, 1))
    speeds = np.hypot(ends.sender.speeds_m_s(sent), ends.listener.speeds_m_s(heard))
    # Between two ends that stand only what is about them moves.
    speeds = np.where(speeds > 0.0, speeds, SPEEDS_M_S["standing"])
    heading = np.repeat(_headings(xyz(link.route)), max(len(ends.way), 1), axis=0)
    ways = heading if ends.facing == "walking" else None
    if ends.listener == MOUNTED and not ends.way:
        return Stand(ends, link.mhz, xyz(sent), speeds, ways)
    heard_ways = np.tile(_headings(xyz(ends.way)), (len(link.route), 1)) if ends.way else None
    heard_at = xyz(heard) if ends.way else None
    return Stand(ends, link.mhz, xyz(sent), speeds, ways, heard_at=heard_at, heard_heading=heard_ways)


def _headings(places: FloatArray) -> FloatArray:
    """The way on from each spot of a route to the next (n, 3); at the last as it was reached."""
    if len(places) < 2:
        return np.zeros(places.shape)
    ways = np.diff(places, axis=0)
    return np.concatenate([ways, ways[-1:]])


# long: a step for every line of the ledger, in its order
def _lines(budget: Budget) -> Iterator[PathGain]:
    """The ledger's lines of the place that decides but its first, by way of the strongest antenna of its branch."""
    ends, arrived, mhz = budget.asked.ends, budget.arrived, budget.asked.mhz
    row, turn = budget.begin + budget.at[0], budget.at[1]
    ray, branch = int(arrived.ray[row, turn]), ends.branches[int(arrived.branch[row, turn])]
    ears: tuple[Ear, ...] = tuple(itertools.chain.from_iterable(ends.branches))
    ear, site, between = ears[int(arrived.ear[ray])], ends.site, arrived.between
    here, there = budget.asked.pairs[budget.at[0]]
    place, at = xyz((here, there if ends.way else ear.point))
    distance = float(between.distance_m[ray])
    k, wall = float(between.rice_k[ray]), float(between.wall_db[ray])
    through = float(between.through_db[ray])
    body, scattered = float(arrived.body_db[ray, turn]), float(arrived.scattered_body_db[ray])
    mean = _mean_db(k, wall, float(between.around_db[ray]), body, scattered)
    yield from _bodies(budget, ray, through, functools.partial(_mean_db, k, wall, float(between.around_db[ray])))
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
        more = budget.gain_db - _of_ray_db(budget, ray, row, mean)
        if more > LEAST_LINE_DB:
            yield PathGain("other antennas of the branch", more, "modelled", "their powers added")


def _of_ray_db(budget: Budget, ray: int, row: int, mean_db: float) -> float:
    """The gain [dB] by way of one antenna alone; mean_db : what the way and the bodies take of it together."""
    ends, arrived = budget.asked.ends, budget.arrived
    crowds = CROWD_DB[ends.crowd] + CROWD_DB[ends.listener.crowd]
    fixed = ends.sent_db - crowds - mean_db - float(arrived.between.median_db[ray])
    fixed += -float(arrived.vehicle_db[ray]) + sum(
        float(part[ray]) for part in (arrived.antenna_db, arrived.turned_db, arrived.walked_db, arrived.feed_db)
    )
    return fixed + (0.0 if arrived.shift_db is None else float(arrived.shift_db[row]))


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


def _bodies(
    budget: Budget, ray: int, before: float, mean_db: Callable[[float, float], float]
) -> Iterator[PathGain]:
    """The lines of the bodies about both ends; `before` is what walls take without them [dB], `mean_db` with losses
    of the steady wave and of the scattered ones."""
    ends, arrived, turn = budget.asked.ends, budget.arrived, budget.at[1]
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
        yield _body(budget, part, body, steady, float(both[1]), after - before)
        before = after


def _body(budget: Budget, part: str, body: Body, loss_db: float, scattered_db: float, mean_db: float) -> PathGain:
    """The line of a body; between the two sides it is known no better than the lesser known."""
    ends = budget.asked.ends
    known = body.away_known if abs(loss_db - body.away_db) < 1e-9 else body.facing_known
    if abs(loss_db - body.facing_db) > 1e-9 and abs(loss_db - body.away_db) > 1e-9:
        known = "assumed"
    carried = ends.sender if part == "body" else ends.listener
    turned = budget.turn_says(*budget.at)
    says = (
        f"worn {carried.worn}, {turned}" if turned else budget.arrived.says[int(budget.arrived.stand[budget.begin])]
    )
    if abs(loss_db - scattered_db) > 0.05:
        says = f"{says}: the straight wave loses {loss_db:.1f} dB, scattered ones {scattered_db:.1f}"
    return PathGain(part, -mean_db, known, says)


def _turn(carried: Carried, shown: float, to: str) -> str:
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
