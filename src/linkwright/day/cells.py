"""A pack with its cells, transmitter or receiver: what it draws, how long a set lasts, how well that is known."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from linkwright.physics.battery import CELLS, RATED_C, Draw, Powering, Ran, refit, run_time_h
from linkwright.shoot.catalogue import called
from linkwright.shoot.equipment import Cells, Receiver, Transmitter
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import LiveCall, microphone_named, receiver_named, transmitter_named, usual_microphone


@dataclass(frozen=True, slots=True)
class Kit:
    """A type of transmitter with a microphone, or of receiver: its cells, its run time, how known.

    powers_mw : its steps, none of a receiver. resting_mw : while it rests; None: as with nothing radiated.
    """

    powers_mw: tuple[float, ...]
    resting_mw: float | None
    cells: Cells
    powering: Powering
    phantom_ma: float
    evidence: Evidence
    source: str

    def drain_mw(self, power_mw: float) -> float:
        """What it draws at a conducted power [mW]."""
        return self.powering.draw.total_mw(power_mw, self.phantom_ma)

    def run_h(self, power_mw: float, temperature_c: float) -> float:
        """How long a fresh set lasts [h]."""
        return self.powering.run_time_h(power_mw, temperature_c, self.phantom_ma)

    def saving_h(self, temperature_c: float) -> float:
        """How long a fresh set lasts while it rests [h]: at its stated drain, else with nothing radiated."""
        drain = self.drain_mw(0.0) if self.resting_mw is None else self.resting_mw
        return run_time_h(self.powering.cell, self.powering.count, drain, temperature_c)

    def spread(self, power_mw: float) -> float:
        """How far a run time may be off: standard deviation of its logarithm."""
        return self.powering.sigma(power_mw, self.phantom_ma)

    @property
    def kind(self) -> str:
        """The cells in words, such as "AA lithium"."""
        return f"{self.cells.type} {self.cells.chemistry}"


@dataclass
class Kits:
    """The kits of a shoot, each worked out once."""

    shoot: Shoot
    _found: dict[tuple[str, str | None], Kit | None] = field(default_factory=dict)
    _heard: dict[str, Kit | None] = field(default_factory=dict)

    def heard_with(self, name: str) -> Kit | None:
        """A receiver as a kit; None where it has no cells of its own, or what it draws is not known."""
        if name not in self._heard:
            self._heard[name] = _ear(name, receiver_named(self.shoot, name))
        return self._heard[name]

    def of(self, link: Link) -> Kit | None:
        """The kit of a link; None where its cells or its drain are not known."""
        key = (link.sends.kit, link.microphone)
        if key not in self._found:
            self._found[key] = _kit(self.shoot, *key)
        return self._found[key]


def temperature_c(call: LiveCall) -> float:
    """The temperature at the cells during a call [degrees Celsius]."""
    return RATED_C if call.site.temperature_c is None else call.site.temperature_c


def _ear(name: str, receiver: Receiver) -> Kit | None:
    cells = receiver.cells
    cell = CELLS.get((cells.type, cells.chemistry)) if cells is not None else None
    if cells is None or cell is None or receiver.draws_mw is None:
        return None
    powering = Powering(
        cell.with_stated(cells.capacity_mah, cells.voltage_v), cells.count, Draw(receiver.draws_mw, 0.0)
    )
    runs = [
        Ran(measurement.value, 0.0, measurement.temperature_c) for measurement in receiver.measurements("run time")
    ]
    fitted = refit(powering, runs)
    return Kit((), None, cells, fitted, 0.0, *_known(name, receiver, cells, len(runs)))


def _kit(shoot: Shoot, name: str, microphone: str | None) -> Kit | None:
    transmitter = transmitter_named(shoot, name)
    cells, drain = transmitter.cells, transmitter.drain_mw
    cell = CELLS.get((cells.type, cells.chemistry)) if cells is not None else None
    if cells is None or drain is None or cell is None:
        return None

    def phantom_ma(fed: str | None) -> float:
        usual = usual_microphone(transmitter.form)[1]
        return (usual if fed is None else microphone_named(shoot, fed)).draws_ma

    phantom = phantom_ma(microphone)
    draw = Draw(drain.base, drain.per_radiated_mw)
    if not draw.total_mw(min(transmitter.powers_mw), phantom) > 0.0:
        return None
    powering = Powering(cell.with_stated(cells.capacity_mah, cells.voltage_v), cells.count, draw)
    runs = [
        Ran(
            run.ran_h,
            run.power_mw,
            run.temperature_c,
            phantom_ma(run.microphone),
        )
        for run in shoot.run
        if run.transmitter == name and draw.total_mw(run.power_mw) > 0.0
    ]
    runs += [
        Ran(measurement.value, measurement.power_mw, measurement.temperature_c, 0.0)
        for measurement in transmitter.measurements("run time")
        if measurement.power_mw is not None and draw.total_mw(measurement.power_mw) > 0.0
    ]
    fitted = refit(powering, runs)
    if not math.isfinite(fitted.run_time_h(min(transmitter.powers_mw), RATED_C, phantom)):
        return None
    evidence, source = _known(name, transmitter, cells, len(runs))
    return Kit(transmitter.powers_mw, transmitter.resting_mw, cells, fitted, phantom, evidence, source)


def _known(name: str, pack: Transmitter | Receiver, cells: Cells, runs: int) -> tuple[Evidence, str]:
    """How a run time is known: from logs, from stated figures, or from the assumed ones of the catalogue."""
    name = called(name)
    if runs:
        return "measured", f"{runs} logged run time{'s' if runs > 1 else ''} of {name}"
    if cells.capacity_mah is not None and pack.use is None:
        return "stated", f"stated drain and capacity of {name}"
    return "assumed", f"usual {cells.type} {cells.chemistry} cells, drain of {name}; log a run to know"
