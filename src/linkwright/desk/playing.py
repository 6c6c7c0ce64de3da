"""Simulated readings of the plan, played into the page Live at their own pace: for trying it without equipment."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from typing import Final

from linkwright.desk.job import Job
from linkwright.desk.watching import Watching
from linkwright.shoot.errors import InputError
from linkwright.watch.play.faults import CAUSES, draw_faults
from linkwright.watch.play.replay import paced
from linkwright.watch.play.simulate import simulate

#: Readings a second and link [Hz], faults an hour and link, how long is played [h], and the seed of it all.
RATE_HZ: Final = 10.0
FAULTS_H: Final = 20.0
PLAYED_H: Final = 1.0
SEED: Final = 14


class Ended(Exception):
    """Somebody stopped it."""


@dataclass
class Playing:
    """Plays the plan of a job; one at a time."""

    job: Job
    watching: Watching
    _thread: threading.Thread | None = None
    _stop: threading.Event = field(default_factory=threading.Event)

    def start(self) -> None:
        """Begin anew. Raises InputError while there is no plan."""
        from linkwright.desk.expecting import courses_of

        scene, plan, shoot = self.job.scene(), self.job.planned.plan, self.job.document().shoot
        courses = courses_of(scene, plan, shoot, PLAYED_H) if scene and plan and shoot else ()
        if not courses:
            raise InputError("there is no plan to play yet; the pages Shoot and Plan say what is lacking")
        self.stop()
        self._stop = threading.Event()
        faults = draw_faults(courses, CAUSES, seed=SEED, each_h=FAULTS_H)
        batches = simulate(courses, faults, seed=SEED, rate_hz=RATE_HZ)
        stop = self._stop

        def sleep(seconds: float) -> None:
            if stop.wait(seconds):
                raise Ended

        def play() -> None:
            try:
                for batch in paced(batches, 1.0, clock=time.monotonic, sleep=sleep):
                    self.watching.put(batch)
            except Ended:
                pass

        self._thread = threading.Thread(target=play, name="playing", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop playing."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5)
            self._thread = None
