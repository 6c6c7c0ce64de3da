"""Types of equipment: transmitters, receivers and microphones, generic and by their figures.

A section may say `use = "<class of the catalogue>"` and then only what differs. What the catalogue states is
assumed until the person replaces it with the figures of the kit in the bag.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, PrivateAttr, model_validator

from linkwright.physics.battery import PHANTOM_MA
from linkwright.shoot.catalogue import catalogue_entry
from linkwright.shoot.fields import Day, Frozen, Gain, Khz, KhzOrNone, Mhz, Millisecond, Milliwatt
from linkwright.units import dbm_from_mw, khz_from_mhz, mhz_text

Form = Literal["body-worn", "plug-on", "handheld", "mounted"]
BodyDb = Annotated[float, Field(ge=0, le=60)]
TunesMhz = Annotated[tuple[tuple[Mhz, Mhz], ...], Field(min_length=1, max_length=64)]


Label = Annotated[str, Field(min_length=1, max_length=40)]
Quantity = Literal["run time", "output power", "noise figure", "intercept", "audio noise"]
#: What may be measured of which kind of equipment: the unit, and the figure that it takes the place of, if any.
MEASURES: Final[dict[tuple[str, str], tuple[str, str | None]]] = {
    ("transmitter", "run time"): ("h", None),
    ("transmitter", "output power"): ("mW", None),
    ("transmitter", "audio noise"): ("dBFS", "converter_noise_dbfs"),
    ("receiver", "run time"): ("h", None),
    ("receiver", "noise figure"): ("dB", "noise_figure_db"),
    ("receiver", "intercept"): ("dBm", "iip3_dbm"),
    ("microphone", "audio noise"): ("dB(A)", "self_noise_dba"),
    ("recorder", "audio noise"): ("dBFS", "noise_dbfs"),
}


class Measured(Frozen):
    """What was measured of a piece of equipment: it outranks what is stated or assumed of it."""

    what: Quantity = Field(description="what was measured")
    value: Annotated[float, Field(ge=-200, le=10_000)] = Field(description="what came of it, in its unit")
    unit: Label = Field(description="its unit: h, mW, dB, dBm, dBFS or dB(A)")
    when: Day = Field(description="the day")
    how: Annotated[str, Field(min_length=1, max_length=200)] = Field(description="with what, by whom")
    power_mw: Milliwatt | None = Field(
        default=None, description="run time and output power: the step at which it was measured [mW]"
    )
    temperature_c: Annotated[float, Field(ge=-60, le=60)] = Field(
        default=20.0, description="temperature at the cells [degrees Celsius]"
    )

    @property
    def says(self) -> str:
        """How it is known, for a ledger."""
        return f"measured {self.when}, {self.how}"


class Equipment(Frozen):
    """What every type of equipment shares: the class of the catalogue that it starts from, and what is its own."""

    use: str | None = Field(default=None, description="class of the built-in catalogue to start from")
    mark: Label | None = Field(default=None, description="by what it is told apart, such as a colour of tape")
    serial: Label | None = Field(default=None, description="its serial number")
    measured: tuple[Measured, ...] = Field(
        default=(), max_length=200, description="what was measured of it: it outranks its other figures"
    )

    #: What stood in the place of a measured figure.
    _unmeasured: dict[str, float] = PrivateAttr(default_factory=dict)

    @classmethod
    def kind(cls) -> str:
        """The section of shoot.toml and of the catalogue that this type stands in."""
        return cls.__name__.lower()

    @model_validator(mode="before")
    @classmethod
    def _start_from_the_catalogue(cls, given: Any) -> Any:
        if not isinstance(given, dict) or not isinstance(given.get("use"), str):
            return given
        return {**catalogue_entry(cls.kind(), given["use"]), **given}

    @model_validator(mode="after")
    def _is_as_measured(self) -> Self:
        for measure in sorted(self.measured, key=lambda measure: measure.when):
            unit, figure = MEASURES.get((self.kind(), measure.what), ("", None))
            if unit != measure.unit:
                what = f"expected {unit}" if unit else f"that is not measured of a {self.kind()}"
                raise ValueError(f'{measure.what} is measured in "{measure.unit}"; {what}')
            if (measure.unit in ("h", "mW") and self.kind() == "transmitter") != (measure.power_mw is not None):
                raise ValueError(
                    f"{measure.what}: power_mw is the step of a transmitter's run times and output powers alone"
                )
            if figure is not None:
                self._unmeasured.setdefault(figure, getattr(self, figure))
                object.__setattr__(self, figure, measure.value)  # nobody has it yet: it is being made
        return self

    def as_stated(self) -> dict[str, float]:
        """The figures that were measured, as they were stated or assumed before."""
        return dict(self._unmeasured)

    def measurements(self, what: Quantity) -> Sequence[Measured]:
        """What was measured of one quantity, the newest last."""
        own = self.measured and [measure for measure in self.measured if measure.what == what]
        return sorted(own, key=lambda measure: measure.when) if own else ()


class DisplayCarrier(Frozen):
    """A carrier as the display of the equipment calls it."""

    label: Label = Field(description="what the display shows")
    mhz: Mhz = Field(description="the carrier [MHz]")
    group: Label | None = Field(default=None, description="the group of the display that it is in")


class Tuned(Equipment):
    """Equipment that tunes: `tunes_mhz` are the ranges of carriers, both ends included.

    Where `carriers` lists what its display shows, it tunes these alone.
    """

    tunes_mhz: TunesMhz = Field(description="ranges of carriers [MHz], from..to, both included")
    carriers: tuple[DisplayCarrier, ...] = Field(
        default=(),
        max_length=5_000,
        description="the only carriers, as its display shows them; default: all of its raster",
    )

    @model_validator(mode="after")
    def _ranges_run_upwards(self) -> Self:
        for low_mhz, high_mhz in self.tunes_mhz:
            if high_mhz < low_mhz:
                raise ValueError(f"tunes_mhz runs from {low_mhz} down to {high_mhz}; put the lower end first")
        return self

    @property
    def tunes_khz(self) -> tuple[tuple[int, int], ...]:
        """The ranges in whole kHz."""
        return tuple((khz_from_mhz(low), khz_from_mhz(high)) for low, high in self.tunes_mhz)

    @model_validator(mode="before")
    @classmethod
    def _tunes_what_it_lists(cls, given: Any) -> Any:
        """Of a list without a range of its own, the range is that of the list."""
        if not isinstance(given, dict) or "tunes_mhz" in given or not isinstance(given.get("carriers"), tuple):
            return given
        mhz = [carrier.get("mhz") for carrier in given["carriers"] if isinstance(carrier, dict)]
        plain = [float(value) for value in mhz if isinstance(value, int | float) and not isinstance(value, bool)]
        return {**given, "tunes_mhz": ((min(plain), max(plain)),)} if plain else given

    @property
    def lists_mhz(self) -> tuple[tuple[float, float], ...]:
        """The range of its list of carriers; () without one."""
        mhz = [carrier.mhz for carrier in self.carriers]
        return ((min(mhz), max(mhz)),) if mhz else ()

    @model_validator(mode="after")
    def _lists_what_it_tunes(self) -> Self:
        for carrier in self.carriers:
            if not any(low <= carrier.mhz <= high for low, high in self.tunes_mhz):
                raise ValueError(
                    f"carriers lists {carrier.label} on {carrier.mhz:g} MHz, which tunes_mhz does not hold"
                )
        return self

    @property
    def listed_khz(self) -> dict[int, tuple[DisplayCarrier, ...]]:
        """What the display calls its carriers [kHz]; nothing where it has no list."""
        return _listed(self.carriers)

    def shown(self, carrier_khz: int) -> str:
        """A carrier as people set it and read it: "518.100", or "A01 = 518.100" where the display calls it that."""
        return shown(carrier_khz, self.label(carrier_khz))

    def label(self, carrier_khz: int) -> str:
        """What the display calls a carrier, with its group where labels come again in others; "" without a list."""
        if not self.carriers:
            return ""
        several = len({carrier.label for carrier in self.carriers}) < len(self.carriers)
        carriers = self.listed_khz.get(carrier_khz, ())
        return " or ".join(
            f"{carrier.group} {carrier.label}" if several and carrier.group else carrier.label
            for carrier in carriers
        )


@functools.lru_cache(maxsize=256)
def _listed(carriers: tuple[DisplayCarrier, ...]) -> dict[int, tuple[DisplayCarrier, ...]]:
    display_carriers: dict[int, tuple[DisplayCarrier, ...]] = {}
    for carrier in carriers:
        khz = khz_from_mhz(carrier.mhz)
        display_carriers[khz] = (*display_carriers.get(khz, ()), carrier)
    return display_carriers


def shown(carrier_khz: int, label: str) -> str:
    """A carrier in MHz, behind what the display calls it where that is known."""
    return f"{label} = {mhz_text(carrier_khz)}" if label else mhz_text(carrier_khz)


class Cells(Frozen):
    """The cells that power a transmitter."""

    type: Literal["AA", "AAA", "9V", "pack"] = Field(description="size of the cell")
    chemistry: Literal["alkaline", "lithium", "nimh", "li-ion"] = Field(description="chemistry of the cell")
    count: int = Field(ge=1, le=16, description="how many cells")
    capacity_mah: float | None = Field(default=None, gt=0, le=1e6, description="rated capacity [mAh]")
    voltage_v: float | None = Field(
        default=None, gt=0, le=60, description="mean voltage of one of them in use [V]; default: by its chemistry"
    )


class Drain(Frozen):
    """What a transmitter draws from its cells [mW]."""

    base: float = Field(ge=0, le=1e5, description="drain without radiated power [mW]")
    per_radiated_mw: float = Field(default=0.0, ge=0, le=1e4, description="more drain per radiated mW [mW]")


class Transmitter(Tuned):
    """A type of transmitter."""

    form: Form = Field(description="how it is carried")
    raster_khz: Khz = Field(description="carriers lie at the lower end of a range + n times this [kHz]")
    edge_khz: KhzOrNone = Field(default=0, description="no carrier nearer to a TV channel's edge [kHz]")
    powers_mw: tuple[Milliwatt, ...] = Field(min_length=1, max_length=32, description="conducted power steps [mW]")
    bandwidth_khz: Khz = Field(default=200, description="occupied bandwidth [kHz]")
    spacing_khz: Khz = Field(
        default=400, description="least spacing of two carriers of this type on one site [kHz]"
    )
    attenuation_db: tuple[float, ...] = Field(
        default=(0.0,), max_length=64, description="steps of input attenuation [dB]"
    )
    low_cut_hz: tuple[float, ...] = Field(
        default=(0.0,), max_length=64, description="steps of the low cut [Hz]; 0 is off"
    )
    low_cut_order: int = Field(default=3, ge=1, le=8, description="order of the low cut's filter; 3: 18 dB/octave")
    full_scale_dbu: float = Field(
        default=-20.0,
        ge=-80,
        le=40,
        description="sine that gives full scale without attenuation [dBu]",
    )
    converter_noise_dbfs: float = Field(
        default=-105.0, ge=-160, le=-20, description="its own noise, A-weighted [dBFS]"
    )
    phantom_ma: float | None = Field(
        default=None, ge=0, le=100, description="48 V phantom current it gives at most [mA]; none: gives none"
    )
    carries: int = Field(
        default=1,
        ge=1,
        le=256,
        description="links that share one carrier of it, in turns or side by side; more than 1: a wideband system",
    )
    coordinates_itself: bool = Field(
        default=False, description="finds a free carrier by itself, over and over: it is given none"
    )
    latency_ms: Millisecond | None = Field(
        default=None, description="delay from microphone to antenna [ms]; default: not known"
    )
    cells: Cells | None = Field(default=None, description="its cells")
    drain_mw: Drain | None = Field(default=None, description="what it draws [mW]")
    resting_mw: float | None = Field(
        default=None,
        ge=0,
        le=1e5,
        description="drain while it rests, silent [mW]; default: its base drain",
    )
    antenna_gain_dbi: Gain = Field(default=0.0, description="gain of its antenna, without the body [dBi]")
    conversion_loss_db: float = Field(
        default=20.0, ge=0, le=100, description="loss from a carrier that couples in to its radiated 2A-B [dB]"
    )
    combiner_isolation_db: float | None = Field(
        default=None,
        ge=0,
        le=120,
        description="from input to input of the combiner that those mounted at one spot feed [dB]; none: none",
    )
    body_facing_db: BodyDb | None = Field(default=None, description="loss on the body, facing the receiver [dB]")
    body_away_db: BodyDb | None = Field(default=None, description="loss with the body in the way [dB]")
    control_mhz: Mhz | None = Field(default=None, description="carrier of its remote setting [MHz]; none: not told")
    control_reach_m: float | None = Field(
        default=None,
        gt=0,
        le=1_000,
        description="how far it can be set from in the open, on a body [m]; default: 9",
    )

    @model_validator(mode="after")
    def _steps_are_distinct(self) -> Self:
        if len(set(self.powers_mw)) != len(self.powers_mw):
            raise ValueError("powers_mw names a step twice; each step once")
        return self

    @property
    def output_db(self) -> tuple[float, float]:
        """Least and most by which its output was measured to be over its step [dB]; 0 where nobody measured."""
        over = [
            dbm_from_mw(measurement.value) - dbm_from_mw(measurement.power_mw or 1.0)
            for measurement in self.measurements("output power")
        ]
        return (min(over), max(over)) if over else (0.0, 0.0)


class Receiver(Tuned):
    """A type of receiver. `required_cnr_db` is C/(N+I) in the transmitter's bandwidth with audio unbroken."""

    channels: int = Field(default=1, ge=1, le=64, description="links that one unit receives")
    count: int | None = Field(
        default=None, ge=1, le=1000, description="how many units there are; default: as many as the links need"
    )
    branches: Literal[1, 2] = Field(default=2, description="diversity branches")
    branch_spacing_m: float = Field(
        default=0.3, ge=0, le=100, description="distance between the branches' antennas [m]"
    )
    noise_figure_db: float = Field(default=8.0, ge=0, le=40, description="noise figure [dB]")
    required_cnr_db: float = Field(
        default=20.0, ge=-20, le=60, description="C/(N+I) at which the audio is still unbroken [dB]"
    )
    bridges_ms: float = Field(
        default=3.0, ge=0, le=100, description="how long a break in its reception its audio bridges [ms] (assumed)"
    )
    iip3_dbm: float = Field(default=-5.0, ge=-80, le=60, description="third-order input intercept [dBm]")
    blocking_dbm: float = Field(
        default=-20.0, ge=-80, le=40, description="level off its channel that raises its noise by 1 dB [dBm]"
    )
    look_s: float = Field(default=0.2, gt=0, le=60, description="time on one frequency while it sweeps [s]")
    latency_ms: Millisecond | None = Field(
        default=None, description="delay from antenna to output [ms]; default: not known"
    )
    tone_dbfs: float = Field(
        default=-20.0, ge=-60, le=0, description="test tone that it sends to line up the next input [dBFS]"
    )
    antenna_gain_dbi: Gain = Field(default=0.0, description="gain of its antennas, feeder included [dBi]")
    cells: Cells | None = Field(
        default=None, description="its own cells; none: it is fed by the camera or the cart"
    )
    draws_mw: float | None = Field(default=None, gt=0, le=1e5, description="what it draws from its cells [mW]")
    body_facing_db: BodyDb | None = Field(
        default=None, description="where it is worn: loss on the body, facing the transmitter [dB]"
    )
    body_away_db: BodyDb | None = Field(
        default=None, description="where it is worn: loss with the body in the way [dB]"
    )


class Microphone(Equipment):
    """A type of microphone."""

    sensitivity_mv_pa: float = Field(gt=0, le=1000, description="sensitivity [mV/Pa]")
    self_noise_dba: float = Field(ge=-10, le=80, description="equivalent noise [dB(A)]")
    max_spl_db: float = Field(ge=60, le=200, description="level at its stated distortion [dB SPL]")
    phantom: bool = Field(default=False, description="needs 48 V phantom power")
    phantom_ma: float | None = Field(default=None, ge=0, le=100, description="48 V phantom current it draws [mA]")

    @property
    def draws_ma(self) -> float:
        """What it draws from phantom power [mA]; 0 where it needs none."""
        return (PHANTOM_MA if self.phantom_ma is None else self.phantom_ma) if self.phantom else 0.0


class Recorder(Equipment):
    """An input of the camera or of the recorder."""

    alignment_dbfs: float = Field(
        default=-20.0, ge=-60, le=0, description="where the receiver's test tone is set to read [dBFS]"
    )
    noise_dbfs: float = Field(default=-90.0, ge=-160, le=-20, description="its own noise, A-weighted [dBFS]")
    digital: bool = Field(default=False, description="fed digitally: nothing to line up, no noise of its own")
    latency_ms: Millisecond | None = Field(
        default=None, description="delay from its input to the file [ms]; default: not known"
    )
    picture_ms: Millisecond = Field(default=0.0, description="how late its picture is against the event [ms]")
