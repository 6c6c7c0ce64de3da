"""Sums over distinct carriers by spectra: one pass of transforms for any number of carriers.

The power sums of `moebius` at z = exp(-2 pi i k / L) are discrete Fourier transforms of lines on a lattice; their
products are the transforms of the maps. numpy's real transform is used: scipy's is as fast to a tenth and costs
0.4 s to import.

Lines may be kept apart in layers of strength (see `layers`): a power sum is then a polynomial in a strength that
only falls, and the last layer holds everything from there on down.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from linkwright.physics.intermodulation.moebius import Block, Terms
from linkwright.units import FloatArray, IntArray

ComplexArray: TypeAlias = NDArray[np.complex128]
#: Complex, or real where only sizes are asked for.
Spectra: TypeAlias = NDArray[Any]
#: Terms that begin with the same block lie together: the rest of each with its layers' weights, shape (layers,).
Tree: TypeAlias = dict[tuple[Block, ...], FloatArray]

#: Lengths are these times a power of two: within 25 % of any, and the fastest that the transform has.
ODD_PARTS: Final = (1, 3, 5, 9, 15)


def fast_length(least: int) -> int:
    """The shortest length of at least `least` that is quick to transform."""
    return min(odd << max(0, (-(-least // odd) - 1).bit_length()) for odd in ODD_PARTS)


def reach_of(order: int, cells: IntArray) -> tuple[int, int]:
    """The lowest and the highest cell that a product of an order, coefficients summing to one, can fall on."""
    low, high = int(cells.min()), int(cells.max())
    far = (order - 1) // 2 * (high - low)
    return low - far, high + far


@dataclass
class Waves:
    """Power sums of carriers as spectra, made when they are first asked for.

    cells (n,), weights (n,), layer (n,) of 0..layers-1; members: the indices of each group's carriers.
    """

    cells: IntArray
    weights: FloatArray
    members: list[IntArray]
    layer: IntArray
    layers: int
    length: int
    made: dict[Block, ComplexArray] = field(default_factory=dict)

    def of(self, block: Block) -> ComplexArray:
        """The spectrum of a block with m other than zero, shape (layers, length // 2 + 1)."""
        m, q, group = block
        if m < 0:
            return np.conj(self.of((-m, q, group)))
        if block not in self.made:
            self.made[block] = np.fft.rfft(self._lines(m, q, group), axis=-1)
        return self.made[block]

    def _lines(self, m: int, q: int, group: int) -> FloatArray:
        who = self.members[group]
        at = self.rows(q, group) * self.length + m * self.cells[who] % self.length
        lines = np.bincount(at, weights=self.weights[who] ** q, minlength=self.layers * self.length)
        return np.asarray(lines, dtype=np.float64).reshape(self.layers, self.length)

    def rows(self, q: int, group: int) -> IntArray:
        """The layer of each carrier's weight to the power q."""
        return np.minimum(q * self.layer[self.members[group]], self.layers - 1)

    def number(self, q: int, group: int) -> FloatArray:
        """A block with m = 0: the sum of the weights to the power q, shape (layers,)."""
        powers = self.weights[self.members[group]] ** q
        return np.asarray(np.bincount(self.rows(q, group), powers, self.layers), dtype=np.float64)

    def split(self, terms: Terms) -> tuple[Tree, Tree]:
        """Terms that need transforms, and those of one line each; blocks with m = 0 made numbers of."""
        spectral: Tree = defaultdict(lambda: np.zeros(self.layers))
        direct: Tree = defaultdict(lambda: np.zeros(self.layers))
        for blocks, weight in terms.items():
            numbers = np.zeros((self.layers, 1))
            numbers[0] = float(weight)
            for _, q, group in (block for block in blocks if block[0] == 0):
                numbers = times(numbers, self.number(q, group)[:, None])
            lines = tuple(block for block in blocks if block[0] != 0)
            (direct if len(lines) == 1 else spectral)[lines] += numbers[:, 0]
        return spectral, direct


def times(x: Spectra, y: Spectra) -> Spectra:
    """The product of two polynomials in the layer, (layers, ...) each; the last layer takes all that goes beyond.

    The last layer's partners are summed first, so half of the products are saved.
    """
    last = len(x) - 1
    out = np.zeros(np.broadcast_shapes(x.shape, y.shape), dtype=np.result_type(x, y))
    for i in range(last):
        for j in range(last - i):
            out[i + j] += x[i] * y[j]
        out[last] += x[i] * y[last - i :].sum(axis=0) if i else x[i] * y[last]
    out[last] += x[last] * (y.sum(axis=0) if last else y[0])
    return out


def evaluate(tree: Tree, spectra: dict[Block, Spectra]) -> Spectra:
    """The sum of products of spectra, each block multiplied in once (Horner's scheme), shape (layers, bins)."""
    total: Spectra | None = None
    branches: dict[Block, Tree] = defaultdict(dict)
    for blocks, weight in tree.items():
        if blocks:
            branches[blocks[0]][blocks[1:]] = weight
        else:
            total = weight[:, None]
    for block, rest in branches.items():
        more = times(spectra[block], evaluate(rest, spectra))
        total = more if total is None else total + more
    assert total is not None, "a tree has terms"
    return total


@dataclass(frozen=True, slots=True)
class Summed:
    """Maps by layer, (layers, cells), and how large the terms were before they cancelled: what all bins together
    could add to any cell, by layer, (layers,), and what was added at each cell, (layers, cells)."""

    maps: FloatArray
    most: FloatArray
    local: FloatArray


def sum_over_distinct(terms: Terms, waves: Waves, wanted: range) -> Summed:
    """The map of the terms over the wanted cells, which lie within the reach of the products."""
    spectral, direct = waves.split(terms)
    place = (np.arange(wanted.start, wanted.stop)) % waves.length
    maps = np.zeros((waves.layers, len(wanted)))
    most = np.zeros(waves.layers)
    if spectral:
        spectra = {block: waves.of(block) for blocks in spectral for block in blocks}
        maps = np.fft.irfft(evaluate(spectral, spectra), n=waves.length, axis=-1)[:, place]
        most = _before_cancelling(spectral, spectra, waves.length)
    local = np.abs(maps)
    for ((_, q, group),), weight in direct.items():
        who, rows = waves.members[group], waves.rows(q, group)
        inside = (waves.cells[who] >= wanted.start) & (waves.cells[who] < wanted.stop)
        at, power = waves.cells[who[inside]] - wanted.start, waves.weights[who[inside]] ** q
        for layer in np.flatnonzero(weight):
            row = np.minimum(rows[inside] + layer, waves.layers - 1)
            np.add.at(maps, (row, at), weight[layer] * power)
            np.add.at(local, (row, at), abs(weight[layer]) * power)
    return Summed(maps, most, local)


def _before_cancelling(tree: Tree, spectra: dict[Block, ComplexArray], length: int) -> FloatArray:
    """The sizes of all terms at all bins, added up as if none cancelled, over the length, (layers,).

    A bin's round-off is some epsilons of the size there and reaches every cell with weight 1/length, so this
    times a few epsilons is more than any cell can be off by.
    """
    sizes = {block: np.sqrt(spectrum.real**2 + spectrum.imag**2) for block, spectrum in spectra.items()}
    size = evaluate({blocks: np.abs(weight) for blocks, weight in tree.items()}, sizes)
    return np.asarray((2.0 * size.sum(axis=1) - size[:, 0]) / length)
