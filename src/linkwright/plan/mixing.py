"""A call's transmitters at its receivers, on their carriers at their powers: who brings whom how much, with names.

What of all links is worked out once, kind by kind; a proof takes its own link's share.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from linkwright.assign.levels import Radio, Unwanted, driving, radiated_share, rejections, unwanted, without_own
from linkwright.physics.intermodulation import filter_share, products_in_bands
from linkwright.units import FloatArray, IntArray, dbm_from_mw, mw_from_dbm

#: How many contributions of one kind have a line of their own in a ledger; the others are added up in one.
LINES_A_KIND: Final = 5
#: Pairs of transmitters at receivers that are looked at in one go: it bounds the memory.
PAIRS_AT_ONCE: Final = 200_000
#: A single contribution this far below the noise has no line of its own [dB].
LINE_BELOW_NOISE_DB: Final = 26.0


class Contribution(NamedTuple):
    """A contribution: whose, how much [mW], and by which way where that is known better than its kind says."""

    name: str
    power_mw: float
    how: str = ""


#: Contributions of one kind.
Parts = list[Contribution]


@dataclass(frozen=True, eq=False)
class MixedLevels:
    """A proved call as arrays: the radio, and for its transmitters names, carriers and powers (n,), what arrives
    where (n, r), what of it is unwanted; `ties` : how those at one spot couple. What the lines of all its receivers
    need is worked out once."""

    radio: Radio
    names: tuple[str, ...]
    carriers_khz: IntArray
    powers_mw: FloatArray
    received_mw: FloatArray
    unwanted: Unwanted
    ties: Mapping[tuple[str, str], str] = field(default_factory=dict)

    def unwanted_without(self, off: frozenset[str]) -> FloatArray:
        """What is unwanted at each receiver with some of the transmitters off (n,) [mW]."""
        theirs = off.intersection(self.names)
        if theirs not in self._without:
            on = np.array([1e-20 if name in theirs else 1.0 for name in self.names])
            self._without[theirs] = unwanted(self.radio, self.carriers_khz, self.powers_mw * on).total
        return self._without[theirs]

    @functools.cached_property
    def _without(self) -> dict[frozenset[str], FloatArray]:
        return {frozenset(): self.unwanted.total}

    @functools.cached_property
    def least_line_mw(self) -> FloatArray:
        """What has a line of its own at each receiver (r,) [mW]."""
        return self.radio.noise_mw * mw_from_dbm(-LINE_BELOW_NOISE_DB)

    @functools.cached_property
    def receiver_parts(self) -> list[Parts]:
        """What each receiver makes of the others, product by product, the strongest first."""
        radio = self.radio
        products = products_in_bands(
            self.carriers_khz,
            radio.width_khz,
            driving(self.received_mw, radio.iip3_mw),
            self.carriers_khz[radio.of],
            radio.width_khz[radio.of],
            [dbm_from_mw(iip3) for iip3 in radio.iip3_mw.tolist()],
            self.least_line_mw,
        )
        return [
            [
                Contribution(self._product(*abc), mw)
                for abc, mw in zip(who[:LINES_A_KIND].tolist(), powers.tolist(), strict=False)
            ]
            for _, who, powers in products
        ]

    def _product(self, a: int, b: int, c: int) -> str:
        names = self.names
        return f"A+B-C of {names[a]}, {names[b]}, {names[c]}" if c >= 0 else f"2A-B of {names[a]}, {names[b]}"

    @functools.cached_property
    def transmitter_parts(self) -> list[Parts]:
        """What of others' output stages each receiver hears, pair by pair."""
        f, w, of = self.carriers_khz, self.radio.width_khz, self.radio.of
        parts: list[Parts] = [[] for _ in range(of.size)]
        some = max(1, PAIRS_AT_ONCE // f.size**2)
        for begin in range(0, of.size, some):
            mine = slice(begin, min(begin + some, of.size))
            own = of[mine]
            offset = (2 * f[:, None] - f[None, :] - f[own, None, None]).astype(np.float64)
            share = filter_share(offset, (w[:, None], w[:, None], w[None, :]), w[own, None, None])
            power = self.received_mw[:, mine].T[:, :, None] * self.radiated.T * share
            power[:, np.arange(f.size), np.arange(f.size)] = 0.0
            for n, a, b in np.argwhere(power > self.least_line_mw[mine, None, None]).tolist():
                told = f"2A-B radiated by {self.names[a]} with {self.names[b]}"
                how = self.ties.get((self.names[a], self.names[b]), "")
                parts[begin + n].append(Contribution(told, float(power[n, a, b]), how))
        return parts

    @functools.cached_property
    def radiated(self) -> FloatArray:
        """What A (columns) radiates at 2A-B for B (rows), over A's own power (n, n)."""
        return radiated_share(self.radio, self.powers_mw)

    @functools.cached_property
    def adjacent_parts(self) -> list[Parts]:
        """What gets through each receiver's filter of adjacent carriers, carrier by carrier."""
        return self._each("adjacent", self.received_mw * rejections(self.radio, self.carriers_khz))

    @functools.cached_property
    def blocking_parts(self) -> list[Parts]:
        """What strong carriers off its channel raise each receiver's noise by, carrier by carrier."""
        off_mw = without_own(self.radio, self.received_mw)
        off_channel_mw = off_mw.sum(axis=0)
        power = off_mw * self.unwanted.blocking / np.where(off_channel_mw > 0.0, off_channel_mw, 1.0)
        return self._each("blocking by", power)

    def _each(self, word: str, power_mw: FloatArray) -> list[Parts]:
        """What each transmitter (rows) brings each receiver (columns) [mW], those that have a line of their own."""
        parts: list[Parts] = [[] for _ in range(self.radio.of.size)]
        strong = np.argwhere(power_mw > self.least_line_mw)
        for (a, n), mw in zip(strong.tolist(), power_mw[strong[:, 0], strong[:, 1]].tolist(), strict=True):
            parts[n].append(Contribution(f"{word} {self.names[a]}", mw))
        return parts
