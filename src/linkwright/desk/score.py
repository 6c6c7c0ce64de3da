"""The score of a site as numbers: levels, lanes, and what stands at a frequency, for whoever draws it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from linkwright.air.judged import JudgedSweep
from linkwright.draw.columns import per_column
from linkwright.draw.lanes import Band, Pin
from linkwright.draw.site_lanes import closed, others, ours, tv
from linkwright.physics.intermodulation import three_carrier_products, two_carrier_products
from linkwright.plan.air import SiteAir
from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray, khz_from_mhz

#: Products are shown for calls of up to so many links, and no more than so many places.
MOST_MIXED: Final = 40


MOST_PRODUCTS: Final = 20_000


#: A band that holds nothing of ours or of a sweep is shown from here to there [kHz].
WHOLE: Final = (470_000, 694_000)


def band(scene: Scene, air: SiteAir) -> tuple[int, int]:
    """From the lowest to the highest frequency that anything of ours tunes or a sweep looked at [kHz]."""
    edges: list[float] = []
    for call in scene.calls_on(air.site):
        for link in call.links:
            for tunes in scene.chain(link, air.site).transmitter.tunes_khz:
                edges += tunes
    for one in air.survey.judged if air.survey is not None else ():
        edges += [float(one.left_khz[0]), float(one.right_khz[-1])] if not edges else []
    low, high = (min(edges), max(edges)) if edges else WHOLE
    room = 0.02 * (high - low) + 500.0
    return int(low - room), int(high + room)


def answer(air: SiteAir | None, troubles: Sequence[str]) -> str:
    """The answer of the page as a sentence."""
    if air is None:
        return "The air cannot be shown before the shoot is whole; the page Shoot says what it lacks."
    if troubles:
        return troubles[0]
    survey = air.survey
    if survey is None or not survey.judged:
        return f"Nobody has looked at the air of {air.site.name} yet: sweep it, and drop the file here."
    tv, carriers = len(air.taken), len(survey.carriers)
    missed = f"somebody who is on 5 % of the time was missed in {100 * survey.missed:.0f} % of cases"
    return (
        f"At {air.site.name}: {tv or 'no'} TV channel{'s' if tv != 1 else ''}, "
        f"{carriers or 'no'} carrier{'s' if carriers != 1 else ''} in the sweep; {missed}."
    )


def lane_unit(air: SiteAir) -> str:
    """The unit of a site's sweep."""
    return air.survey.judged[0].sweep.unit if air.survey is not None and air.survey.judged else "dB"


def _allowed(scene: Scene, air: SiteAir) -> list[dict[str, Any]]:
    """The parts of what the links tune that may be used at all, by type of transmitter."""
    from linkwright.plan.input_findings import contiguous
    from linkwright.plan.site import Slots, site_problem

    ranges: dict[tuple[int, int], list[str]] = {}
    problem = site_problem(scene, air.site, Slots.of(scene), {})
    for kind in dict.fromkeys(chain.link.sends.kit for chain in problem.chains):
        n = next(n for n, chain in enumerate(problem.chains) if chain.link.sends.kit == kind)
        tuning = problem.tunings[n]
        for edges in contiguous(tuning.carriers_khz[tuning.legal]):
            ranges.setdefault(edges, []).append(kind)
    return [
        {"from": low, "to": high, "label": ", ".join(kinds), "says": f"{' and '.join(kinds)} may be used here"}
        for (low, high), kinds in ranges.items()
    ]


def _products(plan: Plan | None, site: str, low: int, high: int) -> list[int]:
    """Where third-order products of our carriers fall, all calls of the site together [kHz], each place once."""
    found: set[int] = set()
    for call in plan.calls if plan is not None else ():
        if call.site == site and len(call.links) <= MOST_MIXED:
            carriers = np.array([link.carrier_khz for link in call.links], dtype=np.int64)
            found |= set(two_carrier_products(carriers).tolist()) | set(three_carrier_products(carriers).tolist())
    return sorted(khz for khz in found if low <= khz <= high)[:MOST_PRODUCTS]


def _ours(plan: Plan | None, site: str) -> list[Pin]:
    return [pin for call in (plan.calls if plan is not None else ()) if call.site == site for pin in ours(call)]


def _told(bands: Sequence[Band]) -> list[dict[str, Any]]:
    """Stretches of a lane as the pages take them."""
    return [{"from": one.from_khz, "to": one.to_khz, "label": one.label, "says": one.says} for one in bands]


def _columns(one: JudgedSweep, edges: FloatArray) -> FloatArray:
    """(3, columns): the mean's lowest, the maximum's highest and the floor in each column."""
    traces = ((one.mean_db, np.minimum), (one.maximum_db, np.maximum), (one.floor_db, np.minimum))
    return np.where(*per_column(one.left_khz, one.right_khz, edges, traces), np.nan)


def _merged(one: FloatArray, other: FloatArray) -> FloatArray:
    return np.stack([np.fmin(one[0], other[0]), np.fmax(one[1], other[1]), np.fmin(one[2], other[2])])


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
    says += [f"Closed: {one.says}." for one in closed(law.territory, law.on, khz, khz)]
    says += [f"{one.says}." for one in tv(air) if one.from_khz <= khz <= one.to_khz]
    says += [
        f"{one.says}, transmits here."
        for one in others(scene, air.site.name)
        if one.from_khz - 100 <= khz <= one.to_khz + 100
    ]
    says += [f"{one.says}." for one in _ours(plan, air.site.name) if abs(one.khz - khz) < 100]
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
        "sweeps": sum(one.sweep.sweeps for one in survey.judged) if survey is not None else 0,
        "closed": _told(closed(scene.law.territory, scene.law.on, low, high)),
        "allowed": _allowed(scene, air),
        "tv": _told(tv(air)),
        "others": _told(others(scene, site)),
        "carriers": [
            {"khz": one.centre_khz, "width": one.bandwidth_khz, "over": round(one.excess_db, 1),
             "duty": round(one.duty, 2), "says": f"{one.level_db:.0f} {lane_unit(air)}, on {100 * one.duty:.0f} %"}
            for one in (survey.carriers if survey is not None else ())
        ],
        "clean": [{"from": a, "to": b} for a, b in (survey.clean if survey is not None else ())],
        "ours": [
            {"khz": pin.khz, "label": pin.label, "spare": pin.head == "hollow", "says": pin.says}
            for pin in _ours(plan, site)
        ],
        "products": _products(plan, site, low, high),
    }  # fmt: skip


def levels_in(air: SiteAir, low: float, high: float, columns: int) -> FloatArray:
    """(3, columns): lowest, highest and floor of each column of a band [kHz]; NaN where nobody looked."""
    edges = np.linspace(low, high, columns + 1)
    found = np.full((3, columns), np.nan)
    for one in air.survey.judged if air.survey is not None else ():
        found = _merged(found, _columns(one, edges))
    return found


def levels_over_time(air: SiteAir, low: float, high: float, columns: int, rows: int) -> np.ndarray:
    """Levels over time (rows, columns): a byte a cell, 0 for nothing and 255 for the strongest, 1 at the floor."""
    judged = air.survey.judged if air.survey is not None else ()
    picture = np.zeros((0, columns), dtype=np.uint8)
    for one in judged[:1]:
        sweep = one.sweep
        edges = np.linspace(low, high, columns + 1)
        column = np.searchsorted(edges, sweep.frequencies_khz, side="right") - 1
        inside = (column >= 0) & (column < columns)
        step = max(1, -(-sweep.sweeps // rows))
        over = np.full((-(-sweep.sweeps // step), columns), -np.inf)
        floor = np.interp(sweep.frequencies_khz, one.frequencies_khz, one.floor_db)
        for n in range(sweep.sweeps):
            np.fmax.at(over[n // step], column[inside], (sweep.levels_db[n] - floor)[inside])
        span = max(10.0, float(np.nanmax(over[np.isfinite(over)], initial=10.0)))
        picture = np.where(np.isfinite(over), 1 + 254 * np.clip(over / span, 0.0, 1.0), 0).astype(np.uint8)
    return picture
