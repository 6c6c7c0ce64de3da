"""The level computation as the judge: what everybody's carriers and powers do to everybody's receivers.

For one call with n transmitters and r receivers. Every quantity is linear: milliwatts, ratios. The wanted signal is
the local mean at the place of its route that decides; interferers stand where they are heard best. A link has one
receiver or several, and the worst of them decides. Contributions in receiver v's filter:

- products of its own making, 2A-B and A+B-C of everything at its input (`iip3_mw`), none stronger than its makers;
- products radiated by transmitters: B's signal couples into A's output stage, which radiates 2A-B
  (`coupling`, `conversion`); ITU-R SM.2021;
- adjacent carriers through mask and filter (`rejection`; ITU-R SM.337);
- blocking: the sum of everything off its channel raises its noise (`blocking_mw`).

Products of three carriers of width b are 3b wide, and only their share in the filter counts.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.physics.intermodulation import filter_share
from linkwright.physics.masks import interference_over_noise_db
from linkwright.units import FloatArray, IntArray, mw_from_dbm

#: Noise added at the blocking level, over the noise: 1 dB of desensitisation.
ONE_DB_MORE: Final = mw_from_dbm(interference_over_noise_db(1.0))
#: Up to this many transmitters in a call of a small shoot plain arrays are quicker than loading compiled loops.
FEW_LINKS: Final = 16
#: Room for the products in each filter, at first; with more than so many in all they are not listed, but found anew
#: for all powers that are tried.
ROOM_A_FILTER: Final = 256
MOST_LISTED: Final = 500_000


@dataclass(frozen=True, eq=False)
class Radio:
    """The n transmitters of a call as rows, of which the first `own` are its links' and the rest others', and the r
    receivers of its links as columns.

    of : (r,) whose receiver each is, ascending; as many as there are links unless said.
    gain : (n, r) from conducted power to the receiver's input; of the receiver's own transmitter at the place that
        decides, of any other at its strongest.
    coupling : (n, n) from the output of B (row) into the output stage of A (column); the diagonal is nothing.
    conversion : (n,) radiated 2A-B of A over what couples into it.
    noise_mw, need, to_hold : (r,) noise, C/(N+I) at which the audio is unbroken, and how much more than that the
        local mean must have for the link to hold: what fading and doubt take.
    iip3_mw, blocking_mw : (r,). width_khz : (n,), of a receiver that of its transmitter.
    rejection : (kinds, kinds, m) share of a transmitter's power that a receiver's filter lets in at a distance of
        0, `rejection_step_khz`, ...; the last entry holds beyond; `kind` (n,) indexes both.
    compiled : whether the compiled loops are worth loading; the plain arrays give the same to the last digits.
    """

    gain: FloatArray
    coupling: FloatArray
    conversion: FloatArray
    noise_mw: FloatArray
    need: FloatArray
    to_hold: FloatArray
    iip3_mw: FloatArray
    blocking_mw: FloatArray
    width_khz: FloatArray
    rejection: FloatArray
    rejection_step_khz: float
    kind: IntArray
    own: int
    compiled: bool = False
    of: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def __post_init__(self) -> None:
        if not self.of.size:
            object.__setattr__(self, "of", np.arange(self.own, dtype=np.int64))

    @property
    def transmitters(self) -> int:
        """How many transmitters, others among them."""
        return self.width_khz.size

    @functools.cached_property
    def first(self) -> IntArray:
        """The first receiver of each link (own,)."""
        return np.searchsorted(self.of, np.arange(self.own))

    @property
    def wanted(self) -> FloatArray:
        """The gain of each receiver's own transmitter (r,)."""
        return np.asarray(self.gain[self.of, np.arange(self.of.size)])

    @functools.cached_property
    def from_others(self) -> FloatArray:
        """The gain from every transmitter but each receiver's own (n, r)."""
        return without_own(self, self.gain)

    @functools.cached_property
    def sent(self) -> FloatArray:
        """What A (columns) radiates at 2A-B over what B (rows) sends (n, n)."""
        return self.coupling * self.conversion[None, :]

    @functools.cached_property
    def blocked(self) -> FloatArray:
        """Noise over what is off the channel of each receiver (r,)."""
        return self.noise_mw * ONE_DB_MORE / self.blocking_mw

    @functools.cached_property
    def receivers(self) -> FloatArray:
        """C/N that is needed, what is to be held, IIP3, blocked and wanted gain (5, r), for compiled loops."""
        return np.stack((self.need, self.to_hold, self.iip3_mw, self.blocked, self.wanted))

    def least(self, of_receivers: FloatArray) -> FloatArray:
        """The least of what is told of receivers (r,), link by link (own,)."""
        return np.asarray(np.minimum.reduceat(of_receivers, self.first)) if self.own else of_receivers

    def receivers_of(self, links: IntArray) -> IntArray:
        """The receivers of some of the links, which ascend."""
        return np.flatnonzero(np.isin(self.of, links))

    def only(self, which: IntArray, own: int) -> Radio:
        """The same radio for some of its transmitters, which ascend, `own` of them links."""
        mine = self.receivers_of(which[:own])
        return Radio(
            self.gain[np.ix_(which, mine)],
            self.coupling[np.ix_(which, which)],
            self.conversion[which],
            self.noise_mw[mine],
            self.need[mine],
            self.to_hold[mine],
            self.iip3_mw[mine],
            self.blocking_mw[mine],
            self.width_khz[which],
            self.rejection,
            self.rejection_step_khz,
            self.kind[which],
            own,
            self.compiled,
            np.searchsorted(which[:own], self.of[mine]),
        )


@dataclass(frozen=True, slots=True)
class Unwanted:
    """Interference by kind at each receiver, each (r,) [mW]."""

    receiver: FloatArray
    transmitter: FloatArray
    adjacent: FloatArray
    blocking: FloatArray

    @property
    def total(self) -> FloatArray:
        """All kinds together (r,) [mW]."""
        return self.receiver + self.transmitter + self.adjacent + self.blocking


class OnCarriers:
    """A radio on carriers (n,) [kHz]: what does not depend on powers, worked out once for as many as are tried."""

    def __init__(self, radio: Radio, carriers_khz: IntArray) -> None:
        self.radio, self.carriers_khz = radio, carriers_khz
        self.plain: PlainProducts | None = None
        self.through = radio.gain * rejections(radio, carriers_khz)

    def unwanted(self, powers_mw: FloatArray) -> Unwanted:
        """The interference that the links of a call make each other at powers (n,) [mW]."""
        at_receiver, at_transmitter = self._products(powers_mw)
        return Unwanted(
            at_receiver,
            at_transmitter,
            powers_mw @ self.through,
            self.radio.blocked * (powers_mw @ self.radio.from_others),
        )

    def _products(self, powers_mw: FloatArray) -> tuple[FloatArray, FloatArray]:
        radio = self.radio
        if not radio.compiled:
            if self.plain is None:
                self.plain = PlainProducts(radio, self.carriers_khz)
            return self.plain.at(radio.gain * powers_mw[:, None], radiated_share(radio, powers_mw))
        from linkwright.physics.intermodulation.compiled_inband import sum_filters

        received, radiated = radio.gain * powers_mw[:, None], radiated_share(radio, powers_mw)
        at_receiver, at_transmitter = np.zeros((2, radio.of.size))
        drives = driving(received, radio.iip3_mw)
        for who, share in map(self._in_filter, range(radio.of.size)) if self.listed is None else [self.listed]:
            sum_filters(who, share, received, drives, radiated, radio.iip3_mw, at_receiver, at_transmitter)
        return at_receiver, at_transmitter

    @functools.cached_property
    def listed(self) -> tuple[IntArray, FloatArray] | None:
        """Which products are in which filter, which hangs on no level; None where there are too many to keep."""
        room = ROOM_A_FILTER * self.radio.of.size
        return self._list(slice(None), room, MOST_LISTED) if room <= MOST_LISTED else None

    def _in_filter(self, v: int) -> tuple[IntArray, FloatArray]:
        """Which products are in one filter."""
        listed = self._list(slice(v, v + 1), ROOM_A_FILTER, self.carriers_khz.size**3)
        assert listed is not None, "there are no more products than that"
        listed[0][:, 0] = v
        return listed

    def _list(self, filters: slice, room: int, most: int) -> tuple[IntArray, FloatArray] | None:
        """Which products are in some filters; None where there are more than so many."""
        from linkwright.physics.intermodulation.compiled_inband import list_filters

        order = np.argsort(self.carriers_khz, kind="stable")
        ascending, of, width_khz = self.carriers_khz[order], self.radio.of[filters], self.radio.width_khz
        while True:
            who, share = np.empty((room, 4), dtype=np.int64), np.empty(room)
            count = list_filters(
                order, ascending, width_khz[order], self.carriers_khz[of], width_khz[of], who, share
            )
            if count <= room:
                return who[:count], share[:count]
            if count > most:
                return None
            room = count


def unwanted(radio: Radio, carriers_khz: IntArray, powers_mw: FloatArray) -> Unwanted:
    """The interference that the links of a call make each other, on carriers (n,) [kHz] at powers (n,) [mW]."""
    return OnCarriers(radio, carriers_khz).unwanted(powers_mw)


def radiated_share(radio: Radio, powers_mw: FloatArray) -> FloatArray:
    """What A (columns) radiates at 2A-B for B (rows), over A's own power (n, n)."""
    return powers_mw[:, None] * radio.sent / powers_mw[None, :]


def rejections(radio: Radio, carriers_khz: IntArray) -> FloatArray:
    """Share of each transmitter's (rows) power that gets through each receiver's (columns) filter; 0 on itself."""
    distance = np.abs(carriers_khz[:, None] - carriers_khz[None, radio.of])
    entry = np.minimum((distance / radio.rejection_step_khz).astype(np.int64), radio.rejection.shape[2] - 1)
    share = without_own(radio, radio.rejection[radio.kind[:, None], radio.kind[None, radio.of], entry])
    # What an other puts on the carrier itself is on the air already (`Tuning.heard`) and not counted twice.
    touching = distance < (radio.width_khz[:, None] + radio.width_khz[None, radio.of]) / 2.0
    touching[: radio.own] = False
    return np.where(touching, 0.0, share)


def without_own(radio: Radio, values: FloatArray) -> FloatArray:
    """Values of transmitters at receivers (n, r), with nothing of each receiver's own transmitter."""
    left = values.copy()
    left[radio.of, np.arange(radio.of.size)] = 0.0
    return left


class PlainProducts:
    """All third-order products of carriers (n,) [kHz] as arrays, and what share of each every filter lets in:
    worked out once, as neither depends on levels."""

    def __init__(self, radio: Radio, carriers_khz: IntArray) -> None:
        n, f, w = radio.transmitters, carriers_khz, radio.width_khz
        self.iip3_mw = radio.iip3_mw
        self.two = np.nonzero(~np.eye(n, dtype=np.bool_))
        i, j, k = (index.ravel() for index in np.indices((n, n, n)))
        distinct = (i < j) & (k != i) & (k != j)
        self.three = i[distinct], j[distinct], k[distinct]
        a, b = self.two
        i, j, k = self.three
        centre, channel = f[radio.of], w[radio.of]
        self.share_two = _shares(2 * f[a] - f[b], (w[a], w[a], w[b]), centre, channel)
        share_three = _shares(f[i] + f[j] - f[k], (w[i], w[j], w[k]), centre, channel)
        some = np.flatnonzero(share_three.any(axis=1))
        self.three, self.share_three = (i[some], j[some], k[some]), share_three[some]

    def at(self, received_mw: FloatArray, radiated: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Receivers' and transmitters' products at each receiver (r,) [mW]."""
        drive = driving(received_mw, self.iip3_mw)
        (a, b), (i, j, k) = self.two, self.three
        two = (drive[a] ** 2 * drive[b] * self.share_two).sum(axis=0)
        three = (drive[i] * drive[j] * drive[k] * self.share_three).sum(axis=0)
        sent = (received_mw[a] * radiated[b, a][:, None] * self.share_two).sum(axis=0)
        return (two + 4.0 * three) / self.iip3_mw**2, sent


def driving(received_mw: FloatArray, iip3_mw: FloatArray | float) -> FloatArray:
    """The levels with which a receiver's products grow: no more than half of its intercept, from where on they
    would be stronger than what makes them. Shapes broadcast, receivers last."""
    return np.minimum(received_mw, np.asarray(iip3_mw) / 2.0)


def _shares(
    product_khz: IntArray, factors_khz: tuple[FloatArray, ...], centre_khz: IntArray, filter_khz: FloatArray
) -> FloatArray:
    """Share of each product (rows) inside each filter (columns), all flat."""
    rows = [width[:, None] for width in factors_khz]
    return filter_share(product_khz[:, None] - centre_khz[None, :], rows, filter_khz[None, :])


def excess_db(radio: Radio, powers_mw: FloatArray, air_mw: FloatArray, own: Unwanted) -> FloatArray:
    """What each receiver (r,) has in hand [dB], with air (r,) [mW]; below nothing it does not hold."""
    wanted = radio.wanted * powers_mw[radio.of]
    noise = radio.noise_mw + air_mw + own.total
    return np.asarray(10.0 * np.log10(wanted / (noise * radio.need * radio.to_hold)))
