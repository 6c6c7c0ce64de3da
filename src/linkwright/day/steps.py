"""Setting up, step by step: for each link of a call, in order, what to do on the equipment and the value to set."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from linkwright.shoot.catalogue import called
from linkwright.shoot.equipment import shown
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import LiveCall, microphone_of, transmitter_named, walked_points
from linkwright.units import mhz_text, together

What = Literal[
    "pair",
    "sweep",
    "carrier",
    "power",
    "attenuation",
    "low cut",
    "delay",
    "encryption",
    "battery",
    "listen",
    "walk",
]
#: The steps in which something else than the plan's value may be set, and the field of a link that then holds it.
FIELDS: Final[dict[What, str]] = {
    "carrier": "locked_mhz", "power": "locked_mw", "attenuation": "attenuation_db", "low cut": "low_cut_hz",
    "delay": "set_delay_ms", "encryption": "encrypted",
}  # fmt: skip
UNITS: Final[dict[What, str]] = {
    "carrier": "MHz", "power": "mW", "attenuation": "dB", "low cut": "Hz", "delay": "ms",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Settings:
    """What the plan gives a link in a call; None where it says nothing."""

    carrier_khz: int
    power_mw: float
    spares_khz: tuple[int, ...] = ()
    attenuation_db: float | None = None
    low_cut_hz: float | None = None
    delay_ms: float | None = None
    squelch_dbm: float | None = None
    worst_at: str = ""
    labels: tuple[tuple[int, str], ...] = ()

    def label(self, carrier_khz: int) -> str:
        """What the display calls a carrier; "" where it has no list."""
        return dict(self.labels).get(carrier_khz, "")


@dataclass(frozen=True, slots=True)
class SetUpStep:
    """One step: what it is about, on which equipment, what to do, and the value in full.

    key : under which it is ticked off; another value is another step. options : what could be set instead. large,
    beside : what the display shows, and what stands small beside it, where that is not the value.
    """

    what: What
    key: str
    on: str
    title: str
    value: str
    says: str
    options: tuple[str, ...] = ()
    caution: str = ""
    large: str = ""
    beside: str = ""

    @property
    def field(self) -> str | None:
        """The link's field that holds what was set otherwise."""
        return FIELDS.get(self.what)

    @property
    def unit(self) -> str:
        """The unit of what is entered there."""
        return UNITS.get(self.what, "")


@dataclass(frozen=True, slots=True)
class StepKeys:
    """By what a call, its site, a link and spots are known where steps are ticked off; a rename leaves it alone."""

    call: str
    site: str
    link: str
    spot: Callable[[str], str] = str

    def key(self, where: str, whose: str, what: str, value: str) -> str:
        """Under which a step is ticked off."""
        return "\x1f".join(("set up", where, whose, what, value))


def steps_of(
    shoot: Shoot, call: LiveCall, link: Link, settings: Settings | None, known: StepKeys | None = None
) -> tuple[SetUpStep, ...]:
    """The steps of a link in a call, in order; without a carrier only those that need none.

    known : by what they are ticked off; None: by the names of now.
    """
    by = known or StepKeys(call.name, call.site.name, link.name)
    steps = [_pair(link, by), _sweep(call, link, by)]
    if settings is not None:
        steps += [_carrier(settings, by), _power(shoot, link, settings, by)]
        steps += _sound(shoot, link, settings, by)
    steps += [_encryption(link, by), _battery(shoot, link, by)]
    if settings is not None:
        steps += [_listen(settings, by), _walk(call, link, settings, by)]
    return tuple(steps)


def _pair(link: Link, by: StepKeys) -> SetUpStep:
    both = f"{called(link.sends.kit)} with {heard_with(link)}"
    return SetUpStep(
        "pair", by.key("", by.link, "pair", ""), "both ends", "Pair", both,
        "Pair the transmitter with its receiver channel and name both after the link. Once on the day.",
    )  # fmt: skip


def heard_with(link: Link) -> str:
    """The kit that listens, and whose it is where it is told."""
    return together([f"{called(end.kit)} of {end.named}" if end.named else called(end.kit) for end in link.hears])


def _sweep(call: LiveCall, link: Link, by: StepKeys) -> SetUpStep:
    kit = link.hears[0].kit
    value = f"{called(kit)} at {call.site.name}"
    return SetUpStep(
        "sweep", by.key(by.site, kit, "sweep", ""), "receiver", "Sweep", value,
        "All our transmitters off. Let the receiver sweep what it tunes, and drop the file on the page Air.",
        caution="Transmit only after that, on the planned carrier, inside place, time and power of the permit.",
    )  # fmt: skip


def _carrier(settings: Settings, by: StepKeys) -> SetUpStep:
    key = by.key(by.call, by.link, "carrier", f"{mhz_text(settings.carrier_khz)} MHz")
    value = f"{shown(settings.carrier_khz, settings.label(settings.carrier_khz))} MHz"
    spares = ", ".join(shown(khz, settings.label(khz)) for khz in settings.spares_khz)
    return SetUpStep(
        "carrier", key, "both ends", "Carrier", value,
        "Set the receiver, transmitter off, and listen; then the transmitter. "
        f"Spares, in order: {spares or 'none'}.",
        large=settings.label(settings.carrier_khz) or mhz_text(settings.carrier_khz),
        beside=f"{mhz_text(settings.carrier_khz)} MHz" if settings.label(settings.carrier_khz) else "MHz",
    )  # fmt: skip


def _power(shoot: Shoot, link: Link, settings: Settings, by: StepKeys) -> SetUpStep:
    value = f"{settings.power_mw:g} mW"
    steps = tuple(f"{step:g}" for step in sorted(transmitter_named(shoot, link.sends.kit).powers_mw))
    return SetUpStep(
        "power", by.key(by.call, by.link, "power", value), "transmitter", "Power", value,
        "The least step that holds along the route. More disturbs the others and empties the cells.", steps,
    )  # fmt: skip


def _sound(shoot: Shoot, link: Link, settings: Settings, by: StepKeys) -> list[SetUpStep]:
    """Attenuation, low cut and delay, as far as the plan has them."""
    transmitter, steps = transmitter_named(shoot, link.sends.kit), []
    if settings.attenuation_db is not None:
        value = f"{settings.attenuation_db:g} dB"
        steps.append(SetUpStep(
            "attenuation", by.key(by.call, by.link, "attenuation", value), "transmitter", "Attenuation", value,
            "Input attenuation for this voice. The loudest words must not reach full scale.",
            tuple(f"{step:g}" for step in sorted(transmitter.attenuation_db)),
        ))  # fmt: skip
    if settings.low_cut_hz is not None:
        value = f"{settings.low_cut_hz:g} Hz" if settings.low_cut_hz > 0.0 else "off"
        steps.append(SetUpStep(
            "low cut", by.key(by.call, by.link, "low cut", value), "transmitter", "Low cut", value,
            "What lies under the voice goes: wind, handling, traffic.",
            tuple(f"{step:g}" for step in sorted(transmitter.low_cut_hz)),
        ))  # fmt: skip
    if settings.delay_ms is not None:
        value = f"{settings.delay_ms:.1f} ms"
        says = (
            "So that all links of the call come together." if settings.delay_ms > 0.0 else "None: leave it at zero."
        )
        steps.append(SetUpStep(
            "delay", by.key(by.call, by.link, "delay", value), "receiver or recorder", "Delay", value, says,
        ))  # fmt: skip
    return steps


def _encryption(link: Link, by: StepKeys) -> SetUpStep:
    value = {True: "on at both ends", False: "off at both ends", None: "the same at both ends"}[link.encrypted]
    return SetUpStep(
        "encryption", by.key("", by.link, "encryption", value), "both ends", "Encryption", value,
        "On at one end only, nothing is heard. Radio is not private: with it off, anybody near can listen.",
        ("yes", "no"),
    )  # fmt: skip


def _battery(shoot: Shoot, link: Link, by: StepKeys) -> SetUpStep:
    kit, microphone = transmitter_named(shoot, link.sends.kit), microphone_of(shoot, link)
    cells, at = kit.cells, "transmitter"
    value = f"{cells.count} fresh {cells.type} {cells.chemistry}" if cells is not None else "fresh cells"
    if kit.form == "mounted":
        value, at = "fresh cells in what is worn", "receiver"
    caution = "Never mix cells: one kind, one age, one charge."
    if microphone is not None and microphone.phantom:
        caution += " Phantom power off before plugging the microphone."
    return SetUpStep(
        "battery", by.key(by.call, by.link, "battery", value), at, "Battery", value,
        f"Put them in and set the {at}'s counter to zero. With the tick the counter here begins anew too.",
        caution=caution,
    )  # fmt: skip


def _listen(settings: Settings, by: StepKeys) -> SetUpStep:
    squelch = "" if settings.squelch_dbm is None else f"squelch {settings.squelch_dbm:g} dBm"
    return SetUpStep(
        "listen", by.key(by.call, by.link, "listen", ""), "receiver", "Listen", squelch or "to the talent",
        "Transmitter off first: nothing may be heard on the carrier. Then on, and listen to the loudest words.",
        caution="Limit the level of your earphones.",
    )  # fmt: skip


def _walk(call: LiveCall, link: Link, settings: Settings, by: StepKeys) -> SetUpStep:
    stands, goes = walked_points(call.site, link)
    at, spots = stands.name, [spot.name for spot in goes]
    route = ", ".join(spots)
    key = by.key(by.call, by.link, "walk", ", ".join(map(by.spot, spots)))
    who, says = "talent", "The talent walks the route and speaks, facing away as well"
    if link.sends.stands and link.receive:
        who, says = "listener", "Whoever listens walks the route with the receiver on, turned away as well"
    return SetUpStep(
        "walk", key, who, "Walk", f"{at} to {route}", f"{says}; listen most of all at {settings.worst_at}."
    )
