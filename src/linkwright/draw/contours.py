"""Where a quantity on a grid is at least a level: closed rings, by marching squares."""

from __future__ import annotations

import numpy as np

from linkwright.units import FloatArray

Edge = tuple[int, int, int]
Ring = list[tuple[float, float]]

#: Which edges of a cell the border goes between, from and to, with what is inside on the left. Corners: 1 bottom
#: left, 2 bottom right, 4 top right, 8 top left; edges: 0 bottom, 1 right, 2 top, 3 left. The two cases of opposite
#: corners go by the middle of the cell.
_WAYS: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((0, 3),), 2: ((1, 0),), 4: ((2, 1),), 8: ((3, 2),),
    3: ((1, 3),), 6: ((2, 0),), 12: ((3, 1),), 9: ((0, 2),),
    14: ((3, 0),), 13: ((0, 1),), 11: ((1, 2),), 7: ((2, 3),),
}  # fmt: skip
_JOINED: dict[int, tuple[tuple[int, int], ...]] = {5: ((0, 1), (2, 3)), 10: ((3, 0), (1, 2))}
_APART: dict[int, tuple[tuple[int, int], ...]] = {5: ((0, 3), (2, 1)), 10: ((1, 0), (3, 2))}


def rings_at(x: FloatArray, y: FloatArray, z: FloatArray, level: float) -> list[Ring]:
    """The rings about where z (h, w) is `level` or more on a grid y (h,), x (w,); closed along the grid's border.

    With the even-odd rule the rings fill just that. Values that are not finite count as below.
    """
    high = np.where(np.isfinite(z), z, -np.inf)
    below = level - max(1.0, abs(level))
    padded = np.pad(np.clip(high, below - 1e6, level + 1e6), 1, constant_values=below)
    # The border stands on the grid's own edge: the rim of the padding lies on it.
    xs, ys = np.concatenate([x[:1], x, x[-1:]]), np.concatenate([y[:1], y, y[-1:]])
    inside = padded >= level
    case = inside[:-1, :-1] + 2 * inside[:-1, 1:] + 4 * inside[1:, 1:] + 8 * inside[1:, :-1]
    following: dict[Edge, Edge] = {}
    for i, j in np.argwhere((case > 0) & (case < 15)).tolist():
        kind = int(case[i, j])
        if kind in _JOINED:
            middle = padded[i : i + 2, j : j + 2].mean() >= level
            ways = (_JOINED if middle else _APART)[kind]
        else:
            ways = _WAYS[kind]
        edges = ((0, i, j), (1, i, j + 1), (0, i + 1, j), (1, i, j))
        for start, end in ways:
            following[edges[start]] = edges[end]
    return _followed(following, xs, ys, padded, level)


def _followed(following: dict[Edge, Edge], x: FloatArray, y: FloatArray, z: FloatArray, level: float) -> list[Ring]:
    """Edges that lead to each other, as rings of points."""
    rings = []
    while following:
        edge = next(iter(following))
        ring: Ring = []
        while edge in following:
            ring.append(_point(edge, x, y, z, level))
            edge = following.pop(edge)
        rings.append(ring)
    return rings


def _point(edge: Edge, x: FloatArray, y: FloatArray, z: FloatArray, level: float) -> tuple[float, float]:
    """Where the level lies on an edge of a cell: 0 along x, 1 along y."""
    along_y, i, j = edge
    first, second = float(z[i, j]), float(z[i + 1, j] if along_y else z[i, j + 1])
    share = (level - first) / (second - first)
    if along_y:
        return float(x[j]), float(y[i] + share * (y[i + 1] - y[i]))
    return float(x[j] + share * (x[j + 1] - x[j])), float(y[i])
