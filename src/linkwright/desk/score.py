"""The score of a site as numbers: levels, lanes, and what stands at a frequency, for whoever draws it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from linkwright.air.judgement import JudgedSweep
from linkwright.draw.columns import per_column
from linkwright.draw.lanes import Band, Pin
from linkwright.draw.site_lanes import band, closed, may_be_used, others, ours, tv
from linkwright.physics.intermodulation import three_carrier_products, two_carrier_products
from linkwright.plan.air import SiteAir
from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray, khz_from_mhz

#: Products are shown for calls of up to so many links, and no more than so many places.
MOST_MIXED: Final = 40
MOST_PRODUCTS: Final = 20_000


def lane_unit(air: SiteAir) -> str:
    """The unit of a site's sweep."""
    return air.survey.judged[0].sweep.unit if air.survey is not None and air.survey.judged else "dB"


def _products(plan: Plan | None, site: str, low: int, high: int) -> list[int]:
    """Where third-order products of our carriers fall, all calls of the site together [kHz], each place once."""
    products: set[int] = set()
    for call in plan.calls if plan is not None else ():
        if call.site == site and len(call.links) <= MOST_MIXED:
            carriers = np.array([link.carrier_khz for link in call.links], dtype=np.int64)
            products |= set(two_carrier_products(carriers).tolist()) | set(
                three_carrier_products(carriers).tolist()
            )
    return sorted(khz for khz in products if low <= khz <= high)[:MOST_PRODUCTS]


def _ours(plan: Plan | None, site: str) -> list[Pin]:
    return [pin for call in (plan.calls if plan is not None else ()) if call.site == site for pin in ours(call)]


def _pins(plan: Plan | None, site: str) -> list[dict[str, Any]]:
    """Our carriers and spares, what is the same in several calls once."""
    pins: dict[tuple[float, str, bool], Pin] = {}
    says: dict[tuple[float, str, bool], list[str]] = {}
    for pin in _ours(plan, site):
        key = pin.khz, pin.label, pin.head == "spare"
        pins.setdefault(key, pin)
        says.setdefault(key, []).append(pin.says)
    return [
        {"khz": pin.khz, "label": pin.label, "head": pin.head, "says": "; ".join(dict.fromkeys(says[key]))}
        for key, pin in pins.items()
    ]


def _told(bands: Sequence[Band]) -> list[dict[str, Any]]:
    """Stretches of a lane as the pages take them."""
    return [
        {"from": stretch.from_khz, "to": stretch.to_khz, "label": stretch.label, "says": stretch.says}
        for stretch in bands
    ]


def _columns(judged: JudgedSweep, edges: FloatArray) -> FloatArray:
    """(3, columns): the mean's lowest, the maximum's highest and the floor in each column."""
    traces = ((judged.mean_db, np.minimum), (judged.maximum_db, np.maximum), (judged.floor_db, np.minimum))
    return np.where(*per_column(judged.left_khz, judged.right_khz, edges, traces), np.nan)


def _merged(trace: FloatArray, other: FloatArray) -> FloatArray:
    return np.stack([np.fmin(trace[0], other[0]), np.fmax(trace[1], other[1]), np.fmin(trace[2], other[2])])


def stands(plan: Plan | None, scene: Scene, air: SiteAir, khz: int) -> list[str]:
    """What is at a frequency, a sentence each."""
    says = []
    if air.measured is not None:
        levels = air.measured.slot_levels(np.array([khz]), 200)
        what = levels.says(0)
        if levels.covered[0] and levels.calibrated[0]:
            what += f"; {levels.level_dbm[0]:.0f} dBm in 200 kHz"
        says.append(f"Sweep: {what}.")
    else:
        says.append("Nobody looked here.")
    law = scene.law
    says += [f"Closed: {stretch.says}." for stretch in closed(law.territory, law.on, khz, khz)]
    says += [f"{stretch.says}." for stretch in tv(air) if stretch.from_khz <= khz <= stretch.to_khz]
    says += [
        f"{other.says}, transmits here."
        for other in others(scene, air.site.name)
        if other.from_khz - 100 <= khz <= other.to_khz + 100
    ]
    says += [f"{carrier.says}." for carrier in _ours(plan, air.site.name) if abs(carrier.khz - khz) < 100]
    return says


def whole_khz(text: str) -> int:
    """A frequency from a page in whole kHz. Raises InputError."""
    try:
        return khz_from_mhz(round(float(text.replace(",", ".")), 3))
    except (ValueError, OverflowError):
        raise InputError(f'"{text[:20]}" is no frequency; expected MHz such as 571.125') from None


def lanes_of(scene: Scene, air: SiteAir, plan: Plan | None) -> dict[str, Any]:
    """Everything but the levels: rules, TV, others, carriers found, what is clean, and ours."""
    low, high = band(scene, air)
    site = air.site.name
    survey = air.survey
    return {
        "from_khz": low,
        "to_khz": high,
        "unit": survey.judged[0].sweep.unit if survey is not None and survey.judged else "",
        "sweeps": sum(judged_sweep.sweep.sweeps for judged_sweep in survey.judged) if survey is not None else 0,
        "closed": _told(closed(scene.law.territory, scene.law.on, low, high)),
        "allowed": _told(may_be_used(scene, air)),
        "tv": _told(tv(air)),
        "others": _told(others(scene, site)),
        "carriers": [
            {"khz": carrier.centre_khz, "width": carrier.bandwidth_khz, "over": round(carrier.excess_db, 1),
             "duty": round(carrier.duty, 2), "says": f"{carrier.level_db:.0f}".replace("-", "\N{MINUS SIGN}")
             + f" {lane_unit(air)}, on {100 * carrier.duty:.0f} %"}
            for carrier in (survey.carriers if survey is not None else ())
        ],
        "clean": [{"from": a, "to": b} for a, b in (survey.clean if survey is not None else ())],
        "ours": _pins(plan, site),
        "seconds": None if survey is None or survey.main is None else survey.main.sweep.lasted_s,
        "products": _products(plan, site, low, high),
    }  # fmt: skip


def levels_in(air: SiteAir, low: float, high: float, columns: int) -> FloatArray:
    """(3, columns): lowest, highest and floor of each column of a band [kHz]; NaN where nobody looked."""
    edges = np.linspace(low, high, columns + 1)
    levels = np.full((3, columns), np.nan)
    for judged_sweep in air.survey.judged if air.survey is not None else ():
        levels = _merged(levels, _columns(judged_sweep, edges))
    return levels


def levels_over_time(air: SiteAir, low: float, high: float, columns: int, rows: int) -> np.ndarray:
    """Levels over time (rows, columns): a byte a cell, 0 for nothing and 255 for the strongest, 1 at the floor."""
    main = air.survey.main if air.survey is not None else None
    picture = np.zeros((0, columns), dtype=np.uint8)
    for judged_sweep in () if main is None else (main,):
        sweep = judged_sweep.sweep
        edges = np.linspace(low, high, columns + 1)
        column = np.searchsorted(edges, sweep.frequencies_khz, side="right") - 1
        inside = (column >= 0) & (column < columns)
        step = max(1, -(-sweep.sweeps // rows))
        over = np.full((-(-sweep.sweeps // step), columns), -np.inf)
        floor = np.interp(sweep.frequencies_khz, judged_sweep.frequencies_khz, judged_sweep.floor_db)
        for n in range(sweep.sweeps):
            np.fmax.at(over[n // step], column[inside], (sweep.levels_db[n] - floor)[inside])
        span = max(10.0, float(np.nanmax(over[np.isfinite(over)], initial=10.0)))
        picture = np.where(np.isfinite(over), 1 + 254 * np.clip(over / span, 0.0, 1.0), 0).astype(np.uint8)
    return picture
