"""A smooth surface through the points of a table: bivariate interpolation by local procedures.

H. Akima, "Algorithm 474: Bivariate interpolation and smooth surface fitting based on local procedures",
Communications of the ACM 17 (1974) 26: the fit that the FCC's program for 47 CFR 73.699 uses. Between the points
it is a bicubic polynomial with slopes estimated from two neighbours on either side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.units import FloatArray

#: Slopes nearer together than this weigh alike; Algorithm 474.
ALIKE: Final = 1e-7


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """z (rows, columns) over y (rows,) and x (columns,), with its slopes along x, along y and along both."""

    x: FloatArray
    y: FloatArray
    z: FloatArray
    z_x: FloatArray
    z_y: FloatArray
    z_xy: FloatArray

    def at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """The surface at n points: x (n,) or (n, m), y (n,). Beyond the table's edge: at the edge."""
        values, slopes = self._lines(np.clip(y, self.y[0], self.y[-1]))
        asked = np.clip(x, self.x[0], self.x[-1])
        index = np.clip(np.searchsorted(self.x, asked, side="right") - 1, 0, len(self.x) - 2)
        row = np.arange(len(values)).reshape((-1,) + (1,) * (asked.ndim - 1))
        width = self.x[index + 1] - self.x[index]
        share = (asked - self.x[index]) / width
        ends = values[row, index], values[row, index + 1], slopes[row, index], slopes[row, index + 1]
        return _cubic(share, width, *ends)

    def _lines(self, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Values and slopes along x at every column for each y (n,): both (n, columns)."""
        index = np.clip(np.searchsorted(self.y, y, side="right") - 1, 0, len(self.y) - 2)
        width = (self.y[index + 1] - self.y[index])[:, None]
        share = (y - self.y[index])[:, None] / width
        value = _cubic(share, width, self.z[index], self.z[index + 1], self.z_y[index], self.z_y[index + 1])
        slope = _cubic(share, width, self.z_x[index], self.z_x[index + 1], self.z_xy[index], self.z_xy[index + 1])
        return value, slope


def surface(x: FloatArray, y: FloatArray, z: FloatArray) -> Surface:
    """The surface through z (rows, columns) over y (rows,) and x (columns,), each of three or more, rising."""
    along_x = _two_more(np.diff(z, axis=1) / np.diff(x))
    along_y = _two_more((np.diff(z, axis=0) / np.diff(y)[:, None]).T)
    x_before, x_after = _weights(along_x)
    y_before, y_after = (w.T for w in _weights(along_y))
    cross = np.diff(np.diff(z, axis=0), axis=1) / np.diff(y)[:, None] / np.diff(x)
    cross = _one_more(_one_more(cross).T).T
    return Surface(
        x,
        y,
        z,
        x_before * along_x[:, 1:-2] + x_after * along_x[:, 2:-1],
        y_before * along_y.T[1:-2] + y_after * along_y.T[2:-1],
        y_before * (x_before * cross[:-1, :-1] + x_after * cross[:-1, 1:])
        + y_after * (x_before * cross[1:, :-1] + x_after * cross[1:, 1:]),
    )


def _one_more(slopes: FloatArray) -> FloatArray:
    """Differences (rows, n) with one more on either side, carried on in a straight line."""
    first = 2.0 * slopes[:, :1] - slopes[:, 1:2]
    last = 2.0 * slopes[:, -1:] - slopes[:, -2:-1]
    return np.concatenate((first, slopes, last), axis=1)


def _two_more(slopes: FloatArray) -> FloatArray:
    return _one_more(_one_more(slopes))


def _weights(slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How much the slope before and after each point counts, (rows, points): the steadier side counts more."""
    change = np.abs(np.diff(slopes, axis=1))
    after, before = change[:, :-2], change[:, 2:]
    both = after + before
    alike = both < ALIKE
    safe = np.where(alike, 1.0, both)
    return np.where(alike, 0.5, before / safe), np.where(alike, 0.5, after / safe)


def _cubic(
    share: FloatArray,
    width: FloatArray,
    low: FloatArray,
    high: FloatArray,
    slope_low: FloatArray,
    slope_high: FloatArray,
) -> FloatArray:
    """Hermite's cubic at a share (0..1) of an interval of a width, from the values and slopes at its ends."""
    s2, s3 = share * share, share * share * share
    values = (2.0 * s3 - 3.0 * s2 + 1.0) * low + (3.0 * s2 - 2.0 * s3) * high
    return np.asarray(values + width * ((s3 - 2.0 * s2 + share) * slope_low + (s3 - s2) * slope_high))
