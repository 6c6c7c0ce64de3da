"""Reading what a command is given: the shoot, its sweeps, an earlier plan."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from linkwright.desk.site_files import sweeps_of, tv_of
from linkwright.shoot.errors import InputError, raise_all
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import MOST_BYTES, decoded, older_names, parse_shoot, read_text, with_learnt

if TYPE_CHECKING:
    from linkwright.air.predicted import Predicted, ReceivingPlace
    from linkwright.air.readers import Readout
    from linkwright.plan.model import Plan
    from linkwright.rules import Territory

T = TypeVar("T")

#: A plan of 20 000 assignments has some 60 MB.
MOST_PLAN_BYTES = 256 * 1024 * 1024
#: A day so far from today, or a call so far from the shoot's day, is asked about.
FAR_DAYS = 730
APART_DAYS = 60


def own_rules() -> None:
    """Take up the rules that the person has corrected. Raises InputError where one of them cannot be read."""
    from linkwright.rules import use_corrections
    from linkwright.store.rulebook import own_corrections

    use_corrections(own_corrections())


def load_shoot(path: str) -> Shoot:
    """The shoot in a file, or on standard input for `-`; the rules are as the person corrected them from then on.

    Raises InputError.
    """
    own_rules()
    if path != "-":
        text = read_text(Path(path), path, MOST_BYTES)
        for sentence in older_names(text, path):
            sys.stderr.write(f"{sentence}\n")
        shoot = parse_shoot(text, path)
        for sentence in far_off(shoot, datetime.date.today()):
            sys.stderr.write(f"{path}: {sentence}\n")
        return with_learnt(shoot, Path(path).parent)
    data = sys.stdin.buffer.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise InputError(f"has more than {MOST_BYTES} bytes", path="standard input")
    return with_learnt(parse_shoot(decoded(data, "standard input"), "standard input"), Path())


def far_off(shoot: Shoot, today: datetime.date) -> Iterator[str]:
    """Questions about days that may be slips of the pen."""
    day = shoot.shoot.date
    away = abs((day - today).days)
    if away > FAR_DAYS:
        yield f"the day is {day}, {away / 365.25:.0f} years {'from now' if day > today else 'ago'}; is that meant?"
    for call in shoot.call:
        apart = 0 if call.date is None else abs((call.date - day).days)
        if apart > APART_DAYS:
            yield f'call "{call.name}" is on {call.date}, {apart} days from {day}; is that meant?'


def load_sweeps(shoot: Shoot, shoot_path: str) -> Mapping[str, tuple[Readout, ...]]:
    """The sweeps of every site, by its name; paths are relative to the shoot file. Raises InputError(s)."""
    folder = _folder(shoot_path)

    def read(name: str) -> Readout:
        from linkwright.air.readers import read_file

        return read_file(folder / name, name)

    return _whole(sweeps_of(shoot, read), shoot_path)


def load_tv(shoot: Shoot, shoot_path: str) -> Mapping[str, Predicted]:
    """What is predicted of TV at every site that names a list of stations, by its name. Raises InputError(s)."""
    folder = _folder(shoot_path)

    def predict(name: str, region: Territory, place: ReceivingPlace) -> Predicted:
        from linkwright.air.stations import read_stations
        from linkwright.desk.tv import predicted_tv

        return predicted_tv(region, place, read_stations(folder / name, name, region.code))

    return _whole(tv_of(shoot, predict), shoot_path)


def _folder(shoot_path: str) -> Path:
    return Path(shoot_path).parent if shoot_path != "-" else Path()


def _whole(read: tuple[Mapping[str, T], Sequence[InputError]], shoot_path: str) -> Mapping[str, T]:
    """What was read. Raises InputError(s) where some was not."""
    whole, troubles = read
    errors = [
        trouble if trouble.path is not None else InputError(trouble.says, path=shoot_path) for trouble in troubles
    ]
    raise_all(errors)
    return whole


def load_plan(path: str) -> Plan:
    """An earlier plan. Raises InputError."""
    from linkwright.plan.file import parse_plan

    return parse_plan(read_text(Path(path), path, MOST_PLAN_BYTES), path)


def load_kept(path: str) -> Plan:
    """An earlier plan to keep to, of the first kind too. Raises InputError."""
    from linkwright.plan.file import parse_kept

    return parse_kept(read_text(Path(path), path, MOST_PLAN_BYTES), path)
