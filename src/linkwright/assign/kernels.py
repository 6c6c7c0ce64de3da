"""The inner loops of the search, compiled: histograms of products and of midpoints, and moves on them.

For one call with carriers S (cells of the grid), `prod[v]` counts the products of S that come too near to cell v
(2A-B within `wide` cells, A+B-C within `narrow`), `mid[v]` the pairs of S about whose middle v would lie too
near (then 2v-a hits b), and `near[s, v]` the carriers closer to v than a link of spacing class s allows. A cell
where all three are nothing can be added to S and S stays clean: v+a-b near c is the same as v near b+c-a.
"""

from __future__ import annotations

import numpy as np

from linkwright.assign.histograms import Histograms, SearchedLinks
from linkwright.physics.compiled import kernel
from linkwright.units import CountArray, FloatArray, IntArray


@kernel
def _span(counts: CountArray, low: int, high: int, sign: int) -> None:
    for v in range(max(low, 0), min(high, counts.size - 1) + 1):
        counts[v] += sign


@kernel
def change(counts: Histograms, call: int, reach: IntArray, cell: int, sign: int) -> None:
    """Add (`sign` 1) or remove (-1) the carrier `cell` of a call whose other carriers are its members.

    reach : (classes,), how many cells away is still too close.
    """
    prod, mid, near = counts.prod[call], counts.mid[call], counts.near[call]
    members, count, wide, narrow = counts.members[call], counts.sizes[call], counts.wide, counts.narrow
    for s in range(near.shape[0]):
        _span(near[s], cell - reach[s], cell + reach[s], sign)
    for i in range(count):
        a = members[i]
        _span(prod, 2 * cell - a - wide, 2 * cell - a + wide, sign)
        _span(prod, 2 * a - cell - wide, 2 * a - cell + wide, sign)
        middle = cell + a
        _span(mid, (middle - wide + 1) // 2, (middle + wide) // 2, sign)
        for j in range(count):
            if j == i:
                continue
            p = cell + a - members[j]
            _span(prod, p - narrow, p + narrow, sign)
            if j > i:
                p = a + members[j] - cell
                _span(prod, p - narrow, p + narrow, sign)


@kernel
def scan(slots: IntArray, klass: int, calls: IntArray, counts: Histograms, weight: int, out: IntArray) -> None:
    """Conflicts that each of `slots` (m,) would bring in the given calls, into `out` (m,).

    A spacing that is not kept counts as `weight` products. It is an argument, as are all numbers here that
    stand in another module: compiled code is cached by the text of this file alone.
    """
    for n in range(slots.size):
        v = slots[n]
        total = 0
        for c in range(calls.size):
            k = calls[c]
            total += counts.prod[k, v] + counts.mid[k, v] + weight * counts.near[k, klass, v]
        out[n] = total


@kernel
def quietest(
    slots: IntArray, rise_db: FloatArray, free: IntArray, taken: IntArray, step_khz: int, far_khz: int
) -> int:
    """Of the slots `free`, indices into `slots` and `rise_db` (m,), the quietest by half decibels; of equal ones
    the one farthest from the cells `taken` (ascending), no more than `far_khz`; then the lowest."""
    least = np.inf
    for n in range(free.size):
        least = min(least, np.rint(2.0 * rise_db[free[n]]))
    best, farthest = -1, -1
    for n in range(free.size):
        if np.rint(2.0 * rise_db[free[n]]) == least:
            if taken.size == 0:
                return int(free[n])
            cell = slots[free[n]]
            right = np.searchsorted(taken, cell)
            above = abs(taken[min(right, taken.size - 1)] - cell)
            below = abs(taken[max(right - 1, 0)] - cell)
            away = min(min(above, below) * step_khz, far_khz)
            if away > farthest:
                best, farthest = free[n], away
    return int(best)


@kernel
def put(cell: int, sign: int, calls: IntArray, reach: IntArray, counts: Histograms) -> None:
    """Put a carrier into (1) or take it out of (-1) each of its calls."""
    members, sizes = counts.members, counts.sizes
    for c in range(calls.size):
        k = calls[c]
        if sign < 0:
            at = 0
            while members[k, at] != cell:
                at += 1
            sizes[k] -= 1
            members[k, at] = members[k, sizes[k]]
        change(counts, k, reach, cell, sign)
        if sign > 0:
            members[k, sizes[k]] = cell
            sizes[k] += 1


@kernel
def _own_conflicts(cell: int, klass: int, calls: IntArray, counts: Histograms, weight: int) -> int:
    """Conflicts of a placed carrier: its own shadow in `near` does not count."""
    total = 0
    for c in range(calls.size):
        k = calls[c]
        total += counts.prod[k, cell] + counts.mid[k, cell] + weight * (counts.near[k, klass, cell] - 1)
    return total


# long and wide: one loop that stays in compiled code, which keeps where it was in arrays
@kernel
def min_conflicts(
    carriers: IntArray,
    links: SearchedLinks,
    counts: Histograms,
    weight: int,
    tabu: IntArray,
    started: int,
    moves: int,
    seed: int,
    best: IntArray,
    best_conflicts: int,
) -> int:
    """Move conflicted links to their least conflicted slots, `moves` times or until nothing conflicts.

    carriers : (links,) cells, changed in place. `tabu` (links, slots) holds the move until which a slot is not
    returned to. `best` (links,) receives the least conflicted placement seen; the return value is its conflicts (0:
    clean).
    """
    np.random.seed(seed)
    scratch = np.zeros((links.slot_to - links.slot_from).max(), dtype=np.int64)
    troubled = np.zeros(carriers.size, dtype=np.int64)
    for move in range(started, started + moves + 1):
        count = 0
        total = 0
        for i in range(carriers.size):
            mine = links.calls[links.calls_from[i] : links.calls_from[i + 1]]
            own = _own_conflicts(carriers[i], links.klass[i], mine, counts, weight)
            total += own
            if own > 0 and links.free[i]:
                troubled[count] = i
                count += 1
        if total < best_conflicts:
            best_conflicts = total
            best[:] = carriers
        if total == 0 or count == 0 or move == started + moves:
            break
        i = troubled[np.random.randint(0, count)]
        mine = links.calls[links.calls_from[i] : links.calls_from[i + 1]]
        reach = links.reaches[links.klass[i]]
        put(carriers[i], -1, mine, reach, counts)
        own_slots = links.slots[links.slot_from[i] : links.slot_to[i]]
        scan(own_slots, links.klass[i], mine, counts, weight, scratch)
        least, ties, chosen = np.int64(2**62), 0, 0
        for n in range(own_slots.size):
            if tabu[i, n] > move and scratch[n] > 0:
                continue
            if scratch[n] < least:
                least, ties, chosen = scratch[n], 1, n
            elif scratch[n] == least:
                ties += 1
                if np.random.randint(0, ties) == 0:
                    chosen = n
        tabu[i, chosen] = move + 10 + np.random.randint(0, 10)
        carriers[i] = own_slots[chosen]
        put(carriers[i], 1, mine, reach, counts)
    return best_conflicts


@kernel
def extend_greedily(
    order: IntArray, klass: int, call: IntArray, reach: IntArray, counts: Histograms, most: int
) -> int:
    """Add the cells of `order` in turn wherever the set stays clean; returns how many were added."""
    added = 0
    for n in range(order.size):
        if added == most:
            break
        v = order[n]
        k = call[0]
        if counts.prod[k, v] + counts.mid[k, v] + counts.near[k, klass, v] == 0:
            put(v, 1, call, reach, counts)
            added += 1
    return added


@kernel
def depth_first(
    slots: IntArray, target: int, reach: IntArray, counts: Histograms, position: IntArray, nodes: int
) -> int:
    """Look for `target` cells of `slots` (ascending) that make a clean set, in ascending order, all of them.

    `position` (target + 1,) is the state: where each depth stands, so that a search of many nodes goes on in
    pieces. Returns 1 where the set is found (in members[0]), 0 where `nodes` ran out, -1 where there is none.
    """
    call = np.zeros(1, dtype=np.int64)
    prod, mid, near = counts.prod[0], counts.mid[0], counts.near[0, 0]
    for _ in range(nodes):
        depth = counts.sizes[0]
        if depth == target:
            return 1
        n = position[depth]
        # Each of the missing cells needs a slot of its own.
        while n <= slots.size - (target - depth) and prod[slots[n]] + mid[slots[n]] + near[slots[n]] > 0:
            n += 1
        if n <= slots.size - (target - depth):
            position[depth] = n + 1
            position[depth + 1] = n + 1
            put(slots[n], 1, call, reach, counts)
        elif depth == 0:
            return -1
        else:
            put(counts.members[0, depth - 1], -1, call, reach, counts)
    return 0
