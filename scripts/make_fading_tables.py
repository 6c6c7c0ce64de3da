"""Write src/linkwright/physics/data/fading.npz: how often two branches break, and for how long.

For each Rice factor, spacing of the branches and difference of their means: the share of time with both branches
below what is needed (`physics.pairs`, exact up to quadrature), how often that begins, and the share of such breaks
that last longer than a while. The last two are integrals over the bounds of what is below: a point of the bound,
the speed there, and where the amplitudes are a while later, all Gaussian given each other (S. O. Rice, Bell System
Technical Journal 27, 1948, section 3; Clarke's correlation), over a seeded low-discrepancy set; the steady wave and
the pair of branches look any way. A break that ends and begins again within the while counts as one.

Needs no more than the program's own parts; takes about five minutes on two cores.
"""

from __future__ import annotations

import argparse
import math
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from scipy.special import j0, j1, ndtri
from scipy.stats import qmc

from linkwright.physics.fading import crossing_rate_hz, rice_outage
from linkwright.physics.harm import APART, K_DB, LOG_STEP, MARGINS_DB, TABLES, TAIL_ONE, TAIL_TWO, WEAKER_DB, WHILES
from linkwright.physics.pairs import pair_curve
from linkwright.units import FloatArray

#: Points of the low-discrepancy set, a power of two: for how often, and for how long.
POINTS, LONGER_POINTS = 1 << 12, 1 << 15
#: How often a break begins where its length is looked at: about where a link just holds [1 per wavelength].
AT_RATE = 1e-3
DEEPEST_DB = 40.0
FOLDER = Path(__file__).resolve().parent.parent / "src" / "linkwright" / "physics"
#: A share of long breaks below this is told by too few points.
LEAST_SHARE = 4e-3
ComplexArray = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


def normal(u: FloatArray) -> ComplexArray:
    """Circular complex Gaussian amplitudes of mean power 1 from two uniform columns (n, 2)."""
    return np.asarray((ndtri(u[:, 0]) + 1j * ndtri(u[:, 1])) / math.sqrt(2.0))


class Begins:
    """Where breaks of two branches begin: the points of one bound, their weights [1 per wavelength], and what
    follows."""

    def __init__(self, k: float, apart: float | None, weaker_db: float, bound: int, points: int) -> None:
        self.u = qmc.Sobol(14, seed=20270514 + bound).random(points)
        self.steady, self.var = math.sqrt(k / (k + 1.0)), 1.0 / (k + 1.0)
        self.apart, self.ratio, self.bound = apart, 10.0 ** (weaker_db / 10.0), bound

    def at(self, margin_db: float) -> tuple[FloatArray, ComplexArray, ComplexArray, ComplexArray]:
        """Weights (n,), amplitudes, speeds and bends of the branches (n, b)."""
        u, s, var = self.u, self.steady, self.var
        x = 10.0 ** (-margin_db / 10.0)
        n, two = len(u), self.apart is not None
        theta, alpha = 2.0 * np.pi * u[:, 0], 2.0 * np.pi * u[:, 1]
        apart = self.apart or 0.0
        radius = [math.sqrt(x), math.sqrt(x * self.ratio)]
        shift = 2.0 * np.pi * apart * np.cos(theta - alpha)
        steady = np.stack([np.full(n, s + 0j), s * np.exp(1j * shift)], axis=1)
        edge = np.exp(2j * np.pi * u[:, 2])
        z = np.empty((n, 2 if two else 1), dtype=np.complex128)
        first, own = self.bound, (2.0 * np.pi) ** 2 / 2.0 * var
        z[:, first] = radius[first] * edge
        weight = 2.0 * radius[first] * np.exp(-(np.abs(z[:, first] - steady[:, first]) ** 2) / var) / var
        if not two:
            steady = steady[:, :1]
            g = z - steady
            scattered = math.sqrt(own) * normal(u[:, 5:7])[:, None]
        else:
            z[:, 1 - first], share = self._other(
                z[:, first] - steady[:, first], steady[:, 1 - first], radius[1 - first]
            )
            weight = weight * share
            g = z - steady
            scattered = self._scattered_speed(g, alpha)
        speed = 2j * np.pi * np.cos(theta)[:, None] * steady + scattered
        inwards = np.maximum(-(speed[:, first] * np.conj(edge)).real, 0.0)
        bend = (
            -2.0 * np.pi**2 * g
            + (2.0 * np.pi) ** 2
            * math.sqrt(var / 8.0)
            * np.stack([normal(u[:, 9:11]), normal(u[:, 11:13])], axis=1)[:, : g.shape[1]]
        )
        bend = bend - (2.0 * np.pi * np.cos(theta)[:, None]) ** 2 * steady
        return weight * inwards, z, speed, bend

    def _other(self, g: ComplexArray, steady: ComplexArray, radius: float) -> tuple[ComplexArray, FloatArray]:
        """The other branch's amplitude below its threshold, given the first's scattered one, and its share (n,)."""
        a = float(j0(2.0 * np.pi * (self.apart or 0.0)))
        left, mean = self.var * (1.0 - a * a), steady + a * g
        if radius**2 < 3.0 * left:
            inside = radius * np.sqrt(self.u[:, 3]) * np.exp(2j * np.pi * self.u[:, 4])
            return inside, radius**2 / left * np.exp(-(np.abs(inside - mean) ** 2) / left)
        other = mean + math.sqrt(left) * normal(self.u[:, 3:5])
        return other, (np.abs(other) < radius).astype(np.float64)

    def _scattered_speed(self, g: ComplexArray, alpha: FloatArray) -> ComplexArray:
        """Speeds of the scattered waves at both branches given their amplitudes (n, 2), the pair at `alpha`."""
        rho, var = 2.0 * np.pi * (self.apart or 0.0), self.var
        a, b = float(j0(rho)), float(j1(rho))
        slope = 2.0 * np.pi * b * np.cos(alpha) * var
        over = b / rho
        own = (2.0 * np.pi) ** 2 / 2.0 * var
        cross = (2.0 * np.pi) ** 2 * var * ((a - over) * np.cos(alpha) ** 2 + over * np.sin(alpha) ** 2)
        # Speed 1 goes with amplitude 2 by `slope`, speed 2 with amplitude 1 by -slope.
        det = var * (1.0 - a * a)
        mean_1 = slope * (g[:, 1] - a * g[:, 0]) / det
        mean_2 = -slope * (g[:, 0] - a * g[:, 1]) / det
        left = own - slope**2 / det
        both = cross - slope**2 * a / det
        root = np.sqrt(np.maximum(left, 1e-12))
        share = np.clip(both / np.maximum(left, 1e-12), -1.0, 1.0)
        n1, n2 = normal(self.u[:, 5:7]), normal(self.u[:, 7:9])
        second = share * n1 + np.sqrt(1.0 - share**2) * n2
        return np.asarray(np.stack([mean_1 + root * n1, mean_2 + root * second], axis=1))

    def rate(self, margin_db: float) -> float:
        """How often a break begins through this bound [1 per wavelength]."""
        return float(self.at(margin_db)[0].mean())

    def longer(self, margin_db: float) -> FloatArray:
        """How often one begins that lasts longer than each of the whiles (w,) [1 per wavelength]."""
        weight, z, speed, bend = self.at(margin_db)
        x = 10.0 ** (-margin_db / 10.0)
        limit = np.array([x, x * self.ratio])[: z.shape[1]]
        found = np.empty(len(WHILES))
        for n, scaled in enumerate(WHILES):
            t = scaled * math.sqrt(x)
            later = z + speed * t + bend * (t * t / 2.0)
            found[n] = (weight * (np.abs(later) ** 2 < limit).all(axis=1)).mean() if t > 0.0 else weight.mean()
        return found


def tabled(k_db: float, apart: float | None, weaker_db: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Logarithms of the share below, of how often (m,) and of the share that lasts longer (w,)."""
    k = 0.0 if k_db <= K_DB[0] else 10.0 ** (k_db / 10.0)
    x = 10.0 ** (-MARGINS_DB / 10.0)
    if apart is None:
        outage, often = rice_outage(x, k), crossing_rate_hz(x, k, 1.0)
        bounds = [Begins(k, None, 0.0, 0, LONGER_POINTS)]
    else:
        outage = np.minimum(pair_curve(k, apart, weaker_db).outage(x), rice_outage(x, k))
        begins = [Begins(k, apart, weaker_db, bound, POINTS) for bound in (0, 1)]
        often = np.array([sum(begin.rate(float(m)) for begin in begins) for m in MARGINS_DB])
        bounds = [Begins(k, apart, weaker_db, bound, LONGER_POINTS) for bound in (0, 1)]
    deep = np.flatnonzero((often < AT_RATE) & (MARGINS_DB > 0.0))
    at = min(float(MARGINS_DB[deep[0]]) if deep.size else DEEPEST_DB, DEEPEST_DB)
    several = sum(bound.longer(at) for bound in bounds)
    rates = np.maximum(np.asarray(several), 1e-300)
    longer = thinned(np.minimum.accumulate(rates / rates[0]), apart is not None)
    least = 1e-20
    return tuple(np.log(np.maximum(part, least)) for part in (outage, often, longer))  # type: ignore[return-value]


def thinned(share: FloatArray, two: bool) -> FloatArray:
    """The share of long breaks, where too few points tell it by the power with which it ends."""
    last = int(np.flatnonzero(share > LEAST_SHARE)[-1])
    last = max(last, 1)
    tail = share[last] * (np.maximum(WHILES, WHILES[last]) / WHILES[last]) ** (TAIL_TWO if two else TAIL_ONE)
    return np.where(np.arange(share.size) > last, np.minimum(tail, share[last]), share)


def whole(k_db: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The tables of one Rice factor over spacings, differences and margins; the last row is one branch."""
    pairs = [(apart, weaker) for apart in APART for weaker in WEAKER_DB]
    rows = [tabled(k_db, apart, weaker) for apart, weaker in pairs] + [tabled(k_db, None, 0.0)]
    return tuple(np.array([row[n] for row in rows]) for n in range(3))  # type: ignore[return-value]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=FOLDER / TABLES)
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(whole, K_DB.tolist()))
    tables = {
        name: np.round(np.array([part[n] for part in found]) / LOG_STEP).astype(np.int16)
        for n, name in enumerate(("outage", "often", "longer"))
    }
    out = parser.parse_args().out
    out.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(out, **tables)  # type: ignore[arg-type]
    print(f"{out}: {out.stat().st_size / 1024:.0f} KiB")


if __name__ == "__main__":
    main()
