"""Simulated readings of the plan, played into the page Live at their own pace: for trying it without equipment."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Final

from linkwright.desk.background import Background, WorkRun
from linkwright.desk.snapshot import Made
from linkwright.shoot.errors import InputError
from linkwright.watch.log.live import Intake
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults
from linkwright.watch.play.replay import paced
from linkwright.watch.play.simulate import simulate

#: Readings a second and link [Hz], faults an hour and link, how long is played [h], and the seed of it all.
RATE_HZ: Final = 10.0
FAULTS_H: Final = 20.0
PLAYED_H: Final = 1.0
SEED: Final = 14


@dataclass
class Playing:
    """Plays the plan of a job into its intake; one at a time."""

    intake: Intake
    background: Background

    def start(self, made: Made | None) -> None:
        """Begin anew. Raises InputError while there is no plan."""
        from linkwright.desk.expecting import courses_of

        courses = () if made is None else courses_of(made.scene, made.plan, made.shoot, PLAYED_H)
        if not courses:
            raise InputError("there is no plan to play yet; the pages Shoot and Plan say what is lacking")

        def play(run: WorkRun) -> None:
            faults = draw_faults(courses, CAUSES, seed=SEED, each_h=FAULTS_H)
            batches = simulate(courses, faults, seed=SEED, rate_hz=RATE_HZ)
            for batch in paced(batches, 1.0, clock=time.monotonic, sleep=run.wait):
                run.check()
                self.intake.take(batch)

        self.background.begin(play, instead=True)

    def stop(self) -> None:
        """Stop playing."""
        self.background.stop()
