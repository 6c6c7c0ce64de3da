"""The places that a person has kept: a folder of their own with one TOML file a place, and its sweeps beside it.

Nothing is kept without being asked, and nothing that is kept is written over.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import tomli_w
from pydantic import ValidationError

from linkwright.halfway import half_of
from linkwright.physics.geodesy import great_circle_km
from linkwright.shoot.errors import InputError
from linkwright.shoot.kept_place import KeptPlace
from linkwright.shoot.reading import read_text
from linkwright.shoot.toml import parse_toml

#: A place is offered within this distance [km].
NEAR_KM: Final = 2.0
#: Largest file of a place, its largest sweep [bytes], and how many places are looked through.
MOST_BYTES: Final = 1024 * 1024
MOST_SWEEP: Final = 256 * 1024 * 1024
MOST_PLACES: Final = 5000


@dataclass(frozen=True, slots=True)
class NearPlace:
    """A kept place: its id (the name of its file), how far away it is [km], and what is kept."""

    id: str
    away_km: float
    place: KeptPlace


@dataclass(frozen=True, slots=True)
class PlaceBook:
    """The folder with the places."""

    folder: Path

    def keep(self, place: KeptPlace, sweeps: Mapping[str, bytes]) -> str:
        """Keep a place with its sweeps by their names; returns its id. Raises InputError where it cannot be."""
        stem = f"{_plain(place.name)}-{place.date.isoformat()}"
        names = {name: f"{n + 1}-{_plain_file(name)}" for n, name in enumerate(sweeps)}
        told = place.model_copy(update={"sweeps": tuple(names.values())})
        text = _ABOUT + tomli_w.dumps(_plainly(told.model_dump(exclude_none=True, by_alias=True)))
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            free = next(
                id_
                for id_ in (stem, *(f"{stem}-{n}" for n in range(2, 10_000)))
                if not (self.folder / f"{id_}.toml").exists() and not (self.folder / id_).exists()
            )
            if names:
                (self.folder / free).mkdir()
            for name, data in sweeps.items():
                (self.folder / free / names[name]).write_bytes(data)
            half = half_of(self.folder / free)
            half.write_text(text, encoding="utf-8")
            half.rename(self.folder / f"{free}.toml")
        except OSError as error:
            says = f"what was learnt could not be kept ({error.strerror or error})"
            raise InputError(says, path=str(self.folder)) from None
        return free

    def newest(self, many: int) -> list[tuple[str, KeptPlace]]:
        """The places that were kept last, each name once, with their ids."""
        places = sorted(self._places(), key=lambda pair: (-pair[1].date.toordinal(), pair[0]))
        return list({place.name: (id_, place) for id_, place in reversed(places)}.values())[::-1][:many]

    def _places(self) -> Iterator[tuple[str, KeptPlace]]:
        """All that can be read."""
        for id_ in self._ids():
            with contextlib.suppress(InputError):
                yield id_, self.place(id_)

    def near(self, latitude: float, longitude: float, within_km: float = NEAR_KM) -> list[NearPlace]:
        """The places within a distance, the nearest first, of one distance the newest first. What cannot be read is
        passed over."""
        near_places = []
        for id_, place in self._places():
            away = great_circle_km(latitude, longitude, place.latitude, place.longitude)
            if away <= within_km:
                near_places.append(NearPlace(id_, away, place))
        return sorted(near_places, key=lambda near: (round(near.away_km, 2), -near.place.date.toordinal(), near.id))

    def place(self, id_: str) -> KeptPlace:
        """One of them. Raises InputError where it is not there or damaged."""
        if id_ not in self._ids():
            raise InputError("this place is not kept any more; load the page again")
        path = self.folder / f"{id_}.toml"
        try:
            return KeptPlace.model_validate(_frozen(parse_toml(read_text(path, path.name, MOST_BYTES), path.name)))
        except (OSError, ValueError, RecursionError, ValidationError) as error:
            what = error.errors()[0]["msg"] if isinstance(error, ValidationError) else str(error)
            raise InputError(f"cannot be read as a kept place: {what}", path=path.name) from None

    def sweep(self, id_: str, name: str) -> bytes:
        """One of a place's sweeps. Raises InputError."""
        if name not in self.place(id_).sweeps or _plain_file(name) != name:
            raise InputError("this place has no such sweep")
        path = self.folder / id_ / name
        try:
            if path.stat().st_size > MOST_SWEEP:
                raise InputError("is too large for a sweep", path=name)
            return path.read_bytes()
        except OSError as error:
            raise InputError(f"the kept sweep cannot be read ({error.strerror})", path=name) from None

    def _ids(self) -> list[str]:
        try:
            names = sorted(path.stem for path in self.folder.iterdir() if path.suffix == ".toml" and path.is_file())
        except OSError:
            return []
        return [name for name in names if not name.startswith(".")][:MOST_PLACES]


_ABOUT: Final = "# A kept place: the pages offer it within two kilometres of here. Delete the file to forget it.\n"


def own_folder(environment: Mapping[str, str] = os.environ) -> Path:
    """The folder for a person's places, after the XDG Base Directory Specification: under $XDG_DATA_HOME, else
    ~/.local/share; a relative $XDG_DATA_HOME counts as none."""
    base = environment.get("XDG_DATA_HOME", "")
    root = Path(base) if base and Path(base).is_absolute() else Path.home() / ".local" / "share"
    return root / "linkwright" / "places"


def _plain(name: str) -> str:
    kept = "".join(c if c.isalnum() else "-" for c in name.lower()).strip("-")
    return "-".join(part for part in kept.split("-") if part)[:60] or "place"


def _plain_file(name: str) -> str:
    kept = "".join(c if c.isalnum() or c in " -_.()" else "_" for c in name).strip(" .")
    return kept[-100:].strip(" .") or "sweep"


def _plainly(value: Any) -> Any:
    """Lists for tuples; empty ones and empty text are left out."""
    if isinstance(value, dict):
        return {key: _plainly(inner) for key, inner in value.items() if inner not in ((), [], "")}
    return [_plainly(inner) for inner in value] if isinstance(value, list | tuple) else value


def _frozen(value: Any) -> Any:
    """Tuples for lists, as strict models want them."""
    if isinstance(value, dict):
        return {key: _frozen(inner) for key, inner in value.items()}
    return tuple(_frozen(inner) for inner in value) if isinstance(value, list) else value
