"""What a search keeps of who stands where, in the form in which compiled loops and their plain twins take it."""

from __future__ import annotations

from typing import NamedTuple

from linkwright.units import BoolArray, CountArray, IntArray


class Histograms(NamedTuple):
    """What the carriers of each call do to each cell of the grid, as `kernels` says.

    prod, mid : (calls, cells). near : (calls, classes, cells). members : (calls, m), the cells of those who are on,
    of which the first sizes (calls,) count. wide, narrow : cells inside the guards of 2A-B and of A+B-C.
    """

    prod: CountArray
    mid: CountArray
    near: CountArray
    members: IntArray
    sizes: IntArray
    wide: int
    narrow: int


class SearchedLinks(NamedTuple):
    """The links of a problem, in one array each: link i has slots[slot_from[i]:slot_to[i]], the spacing class
    klass[i], the calls calls[calls_from[i]:calls_from[i + 1]] and reaches[klass[i]] towards each class; it may move
    where it is free[i]."""

    slots: IntArray
    slot_from: IntArray
    slot_to: IntArray
    klass: IntArray
    calls: IntArray
    calls_from: IntArray
    reaches: IntArray
    free: BoolArray
