"""What the watch compares readings with, and what the simulator plays, out of a shoot and its plan."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.plan.air import SiteAir, missed_during
from linkwright.plan.batteries import day_with
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.coverage import Reaching, reaching
from linkwright.plan.model import Plan, PlannedCall
from linkwright.plan.tuning import NOTHING_BELOW_NOISE_DB
from linkwright.reach.ground import along_route
from linkwright.reach.path import rice_db_of
from linkwright.shoot.end import whose
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import LiveCall
from linkwright.units import dbm_from_mw, mw_from_dbm
from linkwright.watch.diagnose.expected import Expected, Swept
from linkwright.watch.log.record import time_ns_of
from linkwright.watch.play.course import Course

#: A call without times is played from nine in the morning for an hour, in turn.
PLAYED_FROM: Final = datetime.time(9)
PLAYED_H: Final = 1.0
#: Cells of which nothing is known are played as lasting this long [h].
PLAYED_RUN_H: Final = 6.0
#: Steps of a route that are played.
STEPS: Final = 240


@dataclass(frozen=True, slots=True)
class Live:
    """A planned link with the call it is live in."""

    live: LiveCall
    reaching: Reaching
    air: SiteAir

    def spans(self) -> tuple[tuple[int, int], ...]:
        """When it is live, breaks left out [ns, UTC]; nothing where the call has no times."""
        if self.live.starts is None or self.live.ends is None:
            return ()
        spans, start, end = [], time_ns_of(self.live.starts), time_ns_of(self.live.ends)
        for away, back in sorted(self.live.breaks):
            if start < time_ns_of(away) < end:
                spans.append((start, time_ns_of(away)))
                start = min(end, time_ns_of(back))
        return (*spans, (start, end)) if start < end else tuple(spans)

    def expected(self, listener: str = "") -> Expected:
        """What is expected of it, by the name of the link or of who listens to it."""
        planned, chain, told = self.reaching.planned, self.reaching.chain, self.reaching.told
        return Expected(
            link=whose(planned.link, listener),
            call=self.live.name,
            spans=self.spans(),
            carrier_khz=planned.carrier_khz,
            wanted_dbm=told.wanted_dbm,
            noise_and_interference_dbm=told.noise_and_interference_dbm,
            required_cnr_db=chain.receiver.required_cnr_db if listener else planned.required_cnr_db,
            bandwidth_khz=chain.transmitter.bandwidth_khz,
            spares_khz=planned.spares_khz,
            spares_said=planned.spares,
            receiver=f"{self.live.site.name}, {chain.at.name}",
            ceiling_dbm=chain.receiver.blocking_dbm,
            fading_db=planned.fading_db,
            noise_dbm=self.reaching.budget.noise_dbm,
            sent_to=planned.link if planned.listeners else "",
            swept=swept_on(self.air, chain, planned.carrier_khz, self.live),
        )


def swept_on(air: SiteAir, chain: Chain, carrier_khz: int, live: LiveCall) -> Swept | None:
    """What the sweeps of a site show on a carrier, as its receiver would hear it; None where none looked there."""
    missed = missed_during(air)
    bandwidth = chain.transmitter.bandwidth_khz
    slots = air.on_slots(np.array([carrier_khz]), bandwidth, chain.noise_dbm, chain.heard_gain_db, [live])
    if missed is None or not slots.covered[0]:
        return None
    heard_mw = sum(float(part.power_mw[0]) for part in slots.heard if part.part == "sweep")
    least_mw = mw_from_dbm(chain.noise_dbm - NOTHING_BELOW_NOISE_DB)
    return Swept(dbm_from_mw(heard_mw) if slots.busy[0] and heard_mw > least_mw else None, missed)


def _lives(scene: Scene, calls: Sequence[PlannedCall]) -> Iterator[Live]:
    by_name = {call.name: call for call in scene.calls}
    for call in calls:
        for way in reaching(scene, call):
            yield Live(by_name[call.call], way, scene.air[way.chain.site.name])


def expected_of(scene: Scene, plan: Plan) -> tuple[Expected, ...]:
    """What the plan says of every link and call, and of each who listens to a link, as the watch takes it.

    A link's own readings are judged as those of the listener that decides.
    """
    lives = list(_lives(scene, plan.calls))
    links = (live.expected() for live in lives if live.reaching.decides)
    heard = (live.expected(hearer.listener) for live in lives if (hearer := live.reaching.listener) is not None)
    return (*links, *heard)


def courses_of(scene: Scene, plan: Plan, shoot: Shoot, hours: float | None = None) -> tuple[Course, ...]:
    """Every link of every call as the simulator plays it, each call for `hours` at most."""
    runs = {name: day.run_h for name, day in day_with(shoot, plan).transmitters.items()} if shoot.call else {}
    order = {call.call: n for n, call in enumerate(plan.calls)}
    courses = []
    for live in (live for live in _lives(scene, plan.calls) if live.reaching.decides):
        expected, at_work = live.expected(), live.reaching.at_work
        starts = live.live.starts
        if starts is None:
            day = datetime.datetime.combine(shoot.shoot.date, PLAYED_FROM, datetime.UTC)
            starts = day + datetime.timedelta(hours=PLAYED_H * order[live.live.name])
        start = time_ns_of(starts)
        end = start + round(PLAYED_H * 3.6e12) if live.live.ends is None else time_ns_of(live.live.ends)
        end = end if hours is None else min(end, start + round(hours * 3.6e12))
        way = along_route(at_work, STEPS)
        apart = at_work.ends.apart(at_work.mhz)
        courses.append(
            Course(
                expected, start, end, way.time_s, way.level_dbm, 10.0 ** (rice_db_of(at_work.ends.site) / 10.0),
                apart or None, live.reaching.budget.doppler,
                runs.get(expected.link, PLAYED_RUN_H), live.reaching.chain.receiver.iip3_dbm,
            )
        )  # fmt: skip
    return tuple(courses)
