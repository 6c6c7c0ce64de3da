"""The two ends of a link on a site: who sends, how it is worn, who listens with which antennas on which branch."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.fading import cycles
from linkwright.physics.noise import thermal_noise_dbm
from linkwright.reach.antenna import best_gain_dbi
from linkwright.reach.body import BEHIND_THE_BODY, INTO_VEHICLE_DB, NOBODY, Body, body_of, facing_db
from linkwright.reach.feed import Feed, feed_for, noise_dbm
from linkwright.reach.path import xyz
from linkwright.shoot.antennas import Antenna
from linkwright.shoot.end import Crowd, Facing, Vehicle, Worn
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Does, Point, Site, Spot
from linkwright.units import FloatArray

#: Speeds of talents by what they do [m/s] (common practice, no source).
SPEEDS_M_S: Final[dict[Does, float]] = {"standing": 0.1, "walking": 1.4, "running": 4.0}


@dataclass(frozen=True, slots=True)
class Ear:
    """An antenna of the receiving end: where it stands; None: the receiver's own, as its type says."""

    point: Point
    antenna: Antenna | None
    combined: int = 1


@dataclass(frozen=True, slots=True)
class Inside:
    """An end inside a vehicle: of which kind, and the loss into it [dB] where it is known better."""

    vehicle: Vehicle
    stated_db: float | None = None

    @property
    def loss_db(self) -> float:
        """The loss into it [dB]."""
        return INTO_VEHICLE_DB[self.vehicle] if self.stated_db is None else self.stated_db


@dataclass(frozen=True, slots=True)
class Carried:
    """How an end is carried; `speed_m_s` outranks what its carrier `does`, and what a spot says both."""

    worn: Worn
    facing: Facing | None = None
    crowd: Crowd = "none"
    does: Does | None = None
    speed_m_s: float | None = None
    inside: Inside | None = None

    @property
    def usual_m_s(self) -> float:
        """The speed where no spot says another [m/s]."""
        return SPEEDS_M_S[self.does or "walking"] if self.speed_m_s is None else self.speed_m_s

    def speed_at(self, spot: Spot) -> float:
        """The speed at a spot [m/s]."""
        return self.usual_m_s if spot.does is None else SPEEDS_M_S[spot.does]

    def speeds_m_s(self, spots: Sequence[Spot]) -> FloatArray:
        """The speeds at spots (n,) [m/s]: nothing for what is mounted at one of them."""
        if self.worn == "mounted" and len(set(spots)) < 2:
            return np.zeros(len(spots))
        return np.array([self.speed_at(spot) for spot in spots])

    @property
    def turns_evenly(self) -> bool:
        """Whether its carrier is taken to turn evenly all about."""
        return self.facing is None and self.worn in BEHIND_THE_BODY


#: What stands on a stand, a cart, a camera.
MOUNTED: Final = Carried("mounted")


@dataclass(frozen=True)
class Ends:
    """Both ends of a link on a site: the sending one, and from `listener` on the one that listens.

    at : where the receiver's antennas stand, or where its `way` begins, which is empty for one that stands.
    sent_from : where the transmitter stands while whoever listens goes; None: who sends goes.
    """

    site: Site
    transmitter: Transmitter
    receiver: Receiver
    worn: Worn
    at: Spot
    facing: Facing | None = None
    crowd: Crowd = "none"
    does: Does | None = None
    speed_m_s: float | None = None
    name: str = ""
    inside: Inside | None = None
    listener: Carried = MOUNTED
    way: tuple[Spot, ...] = ()
    sent_from: Spot | None = None
    listener_name: str = ""

    @functools.cached_property
    def sender(self) -> Carried:
        """How the sending end is carried."""
        return Carried(self.worn, self.facing, self.crowd, self.does, self.speed_m_s, self.inside)

    @property
    def usual_m_s(self) -> float:
        """The speed of whoever goes, where no spot says another [m/s]."""
        return (self.sender if self.sent_from is None else self.listener).usual_m_s

    @property
    def worn_ends(self) -> int:
        """How many of the two ends have a body about them."""
        return (self.worn != "mounted") + (self.listener.worn != "mounted")

    @functools.cached_property
    def branches(self) -> tuple[tuple[Ear, ...], ...]:
        """The antennas of each branch that has one; the receiver's own, once, where the site has none for it."""
        here = [antenna for antenna in self.site.antennas if antenna.at == self.at.name]
        if not here or self.way or self.listener.worn != "mounted":
            return ((Ear(self.at, None),),)
        by_branch = [[end for end in here if end.branch == name] for name in ("A", "B")[: self.receiver.branches]]
        stood = [tuple(Ear(standing(word, self.at), word, len(of)) for word in of) for of in by_branch if of]
        return tuple(stood) or ((Ear(self.at, None),),)

    @property
    def sent_db(self) -> float:
        """From the power step that is set to what the antenna sends [dB]: its gain, and the output as measured."""
        return self.transmitter.antenna_gain_dbi + self.transmitter.output_db[0]

    @functools.cached_property
    def body(self) -> Body:
        """The losses on the body of whoever carries the transmitter."""
        return NOBODY if self.worn == "mounted" else body_of(self.transmitter, self.site.learnt)

    @functools.cached_property
    def listener_body(self) -> Body:
        """The losses on the body of whoever carries the receiver."""
        return NOBODY if self.listener.worn == "mounted" else body_of(self.receiver)

    @functools.cached_property
    def everywhere(self) -> tuple[Ear, ...]:
        """The antennas wherever the receiver is."""
        return tuple(Ear(spot, None) for spot in self.way) or tuple(itertools.chain.from_iterable(self.branches))

    @property
    def listener_facing_db(self) -> float:
        """What the listener's body costs at the least [dB]."""
        return 0.0 if self.listener.worn == "mounted" else facing_db(self.receiver)

    def feed(self, ear: Ear, mhz: float) -> Feed:
        """What lies between an antenna and the receiver at a frequency [MHz]."""
        return feed_for(ear.antenna, self.receiver, mhz, ear.combined)

    def ear_gain_dbi(self, ear: Ear) -> float:
        """An antenna's gain in its best direction [dBi]."""
        return self.receiver.antenna_gain_dbi if ear.antenna is None else best_gain_dbi(ear.antenna)[0]

    def heard_gain_db(self, mhz: float) -> float:
        """The most gain from an isotropic antenna's level to the receiver's input [dB]."""
        ears = itertools.chain.from_iterable(self.branches)
        most = max(self.ear_gain_dbi(ear) + self.feed(ear, mhz).gain_db for ear in ears)
        return most - self.listener_facing_db

    def iip3_dbm(self, mhz: float) -> float:
        """The intercept of receiver and feed, told at the receiver's input, on the worst branch [dBm]."""
        return min(self.feed(ear, mhz).iip3_dbm for ear in itertools.chain.from_iterable(self.branches))

    def noise_dbm(self, branch: Sequence[Ear], mhz: float) -> float:
        """The noise of a branch at the receiver's input in the link's bandwidth [dBm]."""
        if branch[0].antenna is None:
            return self.thermal_dbm + self.receiver.noise_figure_db
        excess = sum(self.feed(ear, mhz).excess for ear in branch)
        return noise_dbm(self.thermal_dbm, self.receiver.noise_figure_db, excess)

    @functools.cached_property
    def thermal_dbm(self) -> float:
        """kTB in the link's bandwidth [dBm]."""
        return thermal_noise_dbm(self.transmitter.bandwidth_khz)

    def most_noise_dbm(self, mhz: float) -> float:
        """The noise of the noisiest branch [dBm]."""
        return max(self.noise_dbm(branch, mhz) for branch in self.branches)

    @functools.cached_property
    def apart_m(self) -> float:
        """How far the branches' antennas are from each other [m]; 0 for one branch."""
        branches = self.branches
        if self.receiver.branches != 2:
            return 0.0
        if branches[0][0].antenna is None:
            return self.receiver.branch_spacing_m
        if len(branches) < 2:
            return 0.0
        a, b = (xyz(tuple(ear.point for ear in branch)) for branch in branches)
        return float(np.sqrt(((a[:, None, :] - b[None, :, :]) ** 2).sum(axis=2)).min())

    def apart(self, mhz: float) -> float:
        """The same in wavelengths at a frequency [MHz]."""
        return cycles(mhz, self.apart_m)


def standing(antenna: Antenna, spot: Spot) -> Point:
    """Where an antenna stands: where it says, else at its spot."""
    return Point(
        x_m=spot.x_m if antenna.x_m is None else antenna.x_m,
        y_m=spot.y_m if antenna.y_m is None else antenna.y_m,
        z_m=spot.z_m if antenna.z_m is None else antenna.z_m,
    )
