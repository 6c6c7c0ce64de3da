"""The budget of a link: what it loses and gains between its two ends at the place that decides, and what is in
hand."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from linkwright.physics.harm import read_curves
from linkwright.reach.arriving import Arriving, Stand, arriving
from linkwright.reach.doubt import (
    CASES,
    PLACES,
    TV,
    Doubt,
    Own,
    case_at,
    cases,
    doubt_of,
    groups,
    own_of,
    vehicle_db_of,
)
from linkwright.reach.ends import MOUNTED, SPEEDS_M_S, Ends
from linkwright.reach.hand import USUAL, Hand, HandFigures, States, Wanted, hands_of, margins_for, mixed, states_of
from linkwright.reach.lines import Deciding, turned
from linkwright.reach.path import spread_of, xyz
from linkwright.reach.spot_levels import Learned, shifted
from linkwright.shoot.evidence import Evidence, Level, PathGain
from linkwright.shoot.place import Spot
from linkwright.units import FloatArray, dbm_from_mw


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
        sent = turned(ends.sender, float(self.arrived.shown[ray, turn]), "the receiver")
        heard = turned(ends.listener, float(self.arrived.heard_shown[ray, turn]), "the transmitter")
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
        return self._deciding().gains()

    @functools.cached_property
    def noise(self) -> tuple[Level, ...]:
        """The noise of the branch that counts where it decides."""
        return self._deciding().noise()

    def _deciding(self) -> Deciding:
        place, turn = self.at
        stands = self.arrived.says[int(self.arrived.stand[self.begin])]
        return Deciding(
            self.asked.ends, self.asked.mhz, self.asked.pairs[place], self.arrived, self.begin + place, turn,
            self.gain_db, self.turn_says(place, turn), stands,
        )  # fmt: skip


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
