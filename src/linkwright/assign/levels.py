"""The level computation as the judge: what everybody's carriers and powers do to everybody's receivers.

For one call with n links. Every quantity is linear: milliwatts, ratios. The wanted signal is the local mean at the
place of its route that decides; interferers stand where they are heard best. Contributions in receiver v's filter:

- products of its own making, 2A-B and A+B-C of everything at its input (`iip3_mw`), none stronger than its makers;
- products radiated by transmitters: B's signal couples into A's output stage, which radiates 2A-B
  (`coupling`, `conversion`); ITU-R SM.2021;
- adjacent carriers through mask and filter (`rejection`; ITU-R SM.337);
- blocking: the sum of everything off its channel raises its noise (`blocking_mw`).

Products of three carriers of width b are 3b wide, and only their share in the filter counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.intermodulation import filter_share
from linkwright.physics.masks import interference_over_noise_db
from linkwright.units import FloatArray, IntArray, mw_from_dbm

#: Noise added at the blocking level, over the noise: 1 dB of desensitisation.
ONE_DB_MORE: Final = mw_from_dbm(interference_over_noise_db(1.0))
#: Up to this many transmitters in a call of a small shoot plain arrays are quicker than loading compiled loops.
FEW_LINKS: Final = 16


@dataclass(frozen=True, eq=False)
class Radio:
    """The n transmitters of a call as rows, and as receivers (columns) the first `own` of them, its links.

    Transmitters after the first `own` are others: they are heard, and their columns mean nothing.

    gain : (n, n) from conducted power to the receiver's input; on the diagonal the wanted signal's, at the
        place that decides, elsewhere an interferer's at its strongest.
    coupling : (n, n) from the output of B (row) into the output stage of A (column); the diagonal is nothing.
    conversion : (n,) radiated 2A-B of A over what couples into it.
    noise_mw, need, to_hold : (n,) noise, C/(N+I) at which the audio is unbroken, and how much more than that the
        local mean must have for the link to hold: what fading and doubt take.
    iip3_mw, blocking_mw, width_khz : (n,).
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

    @property
    def transmitters(self) -> int:
        """How many transmitters, others among them."""
        return self.noise_mw.size

    def only(self, which: IntArray, own: int) -> Radio:
        """The same radio for some of its transmitters, `own` of them links."""
        both = np.ix_(which, which)
        return Radio(
            self.gain[both],
            self.coupling[both],
            self.conversion[which],
            self.noise_mw[which],
            self.need[which],
            self.to_hold[which],
            self.iip3_mw[which],
            self.blocking_mw[which],
            self.width_khz[which],
            self.rejection,
            self.rejection_step_khz,
            self.kind[which],
            own,
            self.compiled,
        )


@dataclass(frozen=True, slots=True)
class Unwanted:
    """Interference by kind at each receiver, each (n,) [mW]."""

    receiver: FloatArray
    transmitter: FloatArray
    adjacent: FloatArray
    blocking: FloatArray

    @property
    def total(self) -> FloatArray:
        """All kinds together (n,) [mW]."""
        return self.receiver + self.transmitter + self.adjacent + self.blocking


class OnCarriers:
    """A radio on carriers (n,) [kHz]: what does not depend on powers, worked out once for as many as are tried."""

    def __init__(self, radio: Radio, carriers_khz: IntArray) -> None:
        self.radio, self.carriers_khz = radio, carriers_khz
        self.plain: PlainProducts | None = None
        self.through = radio.gain * rejections(radio, carriers_khz)
        self.off = radio.gain - np.diag(np.diagonal(radio.gain))
        self.blocked = radio.noise_mw * ONE_DB_MORE / radio.blocking_mw
        self.order = np.argsort(carriers_khz, kind="stable")
        sorted_both = np.ix_(self.order, self.order)
        self.sorted_khz, self.sorted_width = carriers_khz[self.order], radio.width_khz[self.order]
        self.sorted_gain = np.ascontiguousarray(radio.gain[sorted_both])
        self.sorted_iip3 = radio.iip3_mw[self.order]
        self.sorted_share = np.ascontiguousarray((radio.coupling * radio.conversion[None, :])[sorted_both])

    def unwanted(self, powers_mw: FloatArray) -> Unwanted:
        """The interference that the links of a call make each other at powers (n,) [mW]."""
        at_receiver, at_transmitter = self._products(powers_mw)
        return Unwanted(
            at_receiver, at_transmitter, powers_mw @ self.through, self.blocked * (powers_mw @ self.off)
        )

    def _products(self, powers_mw: FloatArray) -> tuple[FloatArray, FloatArray]:
        radio = self.radio
        if not radio.compiled:
            if self.plain is None:
                self.plain = PlainProducts(radio, self.carriers_khz)
            return self.plain.at(radio.gain * powers_mw[:, None], radiated_share(radio, powers_mw))
        from linkwright.physics.intermodulation.compiled_inband import every_filter

        powers = powers_mw[self.order]
        received = self.sorted_gain * powers[:, None]
        at_receiver, at_transmitter = np.zeros(powers.size), np.zeros(powers.size)
        every_filter(
            self.sorted_khz,
            self.sorted_width,
            received,
            driving(received, self.sorted_iip3),
            powers[:, None] * self.sorted_share / powers[None, :],
            self.sorted_iip3,
            at_receiver,
            at_transmitter,
        )
        back = np.empty(powers.size, dtype=np.int64)
        back[self.order] = np.arange(powers.size)
        return at_receiver[back], at_transmitter[back]


def unwanted(radio: Radio, carriers_khz: IntArray, powers_mw: FloatArray) -> Unwanted:
    """The interference that the links of a call make each other, on carriers (n,) [kHz] at powers (n,) [mW]."""
    return OnCarriers(radio, carriers_khz).unwanted(powers_mw)


def radiated_share(radio: Radio, powers_mw: FloatArray) -> FloatArray:
    """What A (columns) radiates at 2A-B for B (rows), over A's own power (n, n)."""
    return powers_mw[:, None] * radio.coupling * radio.conversion[None, :] / powers_mw[None, :]


def rejections(radio: Radio, carriers_khz: IntArray) -> FloatArray:
    """Share of each transmitter's (rows) power that gets through each receiver's (columns) filter; 0 on itself."""
    distance = np.abs(carriers_khz[:, None] - carriers_khz[None, :])
    entry = np.minimum((distance / radio.rejection_step_khz).astype(np.int64), radio.rejection.shape[2] - 1)
    share = radio.rejection[radio.kind[:, None], radio.kind[None, :], entry]
    np.fill_diagonal(share, 0.0)
    # What an other puts on the carrier itself is on the air already (`Tuning.heard`) and not counted twice.
    touching = distance < (radio.width_khz[:, None] + radio.width_khz[None, :]) / 2.0
    touching[: radio.own] = False
    return np.where(touching, 0.0, share)


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
        self.share_two = _shares(2 * f[a] - f[b], (w[a], w[a], w[b]), f, w)
        share_three = _shares(f[i] + f[j] - f[k], (w[i], w[j], w[k]), f, w)
        some = np.flatnonzero(share_three.any(axis=1))
        self.three, self.share_three = (i[some], j[some], k[some]), share_three[some]

    def at(self, received_mw: FloatArray, radiated: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Receivers' and transmitters' products at each receiver (n,) [mW]."""
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
    """What each link (own,) has in hand [dB]; below nothing it does not hold."""
    own_links = slice(radio.own)
    wanted = (np.diagonal(radio.gain) * powers_mw)[own_links]
    noise = radio.noise_mw[own_links] + air_mw + own.total[own_links]
    return np.asarray(10.0 * np.log10(wanted / (noise * radio.need[own_links] * radio.to_hold[own_links])))
