"""What of another crew's list is another than it was: new, gone, changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from linkwright.shoot.place import Other
from linkwright.units import khz_from_mhz, mhz_text

#: What is told of somebody whose entry is another, in this order.
TOLD: Final = (("carrier_mhz", "MHz"), ("radiated_mw", "mW"), ("bandwidth_khz", "kHz wide"))


@dataclass(frozen=True, slots=True)
class ListChange:
    """One entry of a list that is new, gone or changed: who, as it was and as it is, and that in words."""

    what: Literal["new", "gone", "changed"]
    name: str
    before: Other | None
    now: Other | None
    says: str


def differences(before: Sequence[Other], now: Sequence[Other]) -> tuple[ListChange, ...]:
    """What changed from one list to the next of the same crew, by who is called what; in the order of the names."""
    was, will = {other.name: other for other in before}, {other.name: other for other in now}
    list_changes = []
    for name in sorted(was.keys() | will.keys()):
        old, new = was.get(name), will.get(name)
        if old is None and new is not None:
            list_changes.append(ListChange("new", name, None, new, f"{name} is new, {_where(new)}"))
        elif new is None and old is not None:
            list_changes.append(ListChange("gone", name, old, None, f"{name} is gone, was {_where(old)}"))
        elif old is not None and new is not None and old != new:
            list_changes.append(ListChange("changed", name, old, new, f"{name}: {_change(old, new)}"))
    return tuple(list_changes)


def _where(other: Other) -> str:
    return "" if other.carrier_mhz is None else f"on {_text('carrier_mhz', other.carrier_mhz)} MHz"


def _change(old: Other, new: Other) -> str:
    told = [
        f"{_text(key, was)} to {_text(key, will)} {unit}"
        for key, unit in TOLD
        if (was := getattr(old, key)) != (will := getattr(new, key))
    ]
    return ", ".join(told) or "its place or its times are others"


def _text(key: str, value: float | None) -> str:
    if value is None:
        return "none"
    return mhz_text(khz_from_mhz(value)) if key == "carrier_mhz" else f"{value:g}"
