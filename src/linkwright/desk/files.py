"""The files of the job: sweeps and lists of stations out of its attachments, each read once."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final, TypeVar

from linkwright.desk.site_files import sweeps_of, tv_of
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import MOST_BYTES, parse_document, read_text
from linkwright.shoot.regular import beneath, open_regular
from linkwright.shoot.view import default_site
from linkwright.store import Attachment, Store
from linkwright.units import counted
from linkwright.work.apart import APART

if TYPE_CHECKING:
    from collections.abc import Callable

    from linkwright.air.predicted import Predicted, ReceivingPlace
    from linkwright.air.readers import Readout
    from linkwright.rules import Territory
    from linkwright.shoot.models import Shoot

T = TypeVar("T")

#: Largest file that a page may send [bytes].
MOST_UPLOAD: Final = 256 * 1024 * 1024


@dataclass(frozen=True, eq=False, slots=True)
class Read:
    """What the files of a shoot's sites hold, by name of the site, and a sentence for each that cannot be read."""

    sweeps: Mapping[str, tuple[Readout, ...]] = field(default_factory=dict)
    tv: Mapping[str, Predicted] = field(default_factory=dict)
    troubles: tuple[str, ...] = ()


@dataclass
class Files:
    """The attachments of a store, as a shoot's sites name them. Safe to use from several threads."""

    store: Store
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _readouts: dict[str, Readout] = field(default_factory=dict)
    _tv: dict[tuple[Any, ...], Predicted] = field(default_factory=dict)
    _failed: dict[Any, InputError] = field(default_factory=dict)

    def of(self, shoot: Shoot) -> Read:
        """What the files that a shoot names hold. Raises InputError for a region that the rules do not know."""
        by_name = {attachment.name: attachment for attachment in self.store.attachment_list()}

        def predict(name: str, region: Territory, place: ReceivingPlace) -> Predicted:
            return self.predicted(_named(by_name, name), name, region, place)

        sweeps, no_sweeps = sweeps_of(shoot, lambda name: self.readout(_named(by_name, name).id, name))
        tv, no_tv = tv_of(shoot, predict)
        return Read(sweeps, tv, tuple("; ".join(str(error).split("\n")) for error in (*no_sweeps, *no_tv)))

    def readout(self, attachment: str, name: str) -> Readout:
        """What a sweep file holds, read once, apart from this process. Raises InputError."""
        from linkwright.air.readers import read_bytes

        with self._lock:
            if attachment not in self._readouts:
                data = self.store.attachment(attachment)
                self._readouts[attachment] = self._apart(attachment, read_bytes, data, name, name=name)
            return self._readouts[attachment]

    def _apart(self, key: Any, function: Callable[..., T], *given: Any, name: str) -> T:
        """What a stranger's file holds; one that failed is not tried again. Raises InputError."""
        if key in self._failed:
            raise self._failed[key]
        try:
            return APART.read(function, *given, name=name)
        except InputError as error:
            self._failed[key] = error
            raise

    def predicted(self, there: Attachment, name: str, region: Territory, place: ReceivingPlace) -> Predicted:
        """TV at a place by a list of stations, worked out once. Raises InputError."""
        from linkwright.air.stations import parse_stations
        from linkwright.desk.tv import predicted_tv

        with self._lock:
            key = (there.id, place, region.code)
            if key not in self._tv:
                data = self.store.attachment(there.id)
                stations = self._apart(key, parse_stations, data, name, region.code, name=name)
                self._tv[key] = predicted_tv(region, place, stations)
            return self._tv[key]


def _named(by_name: Mapping[str, Attachment], name: str) -> Attachment:
    if name not in by_name:
        raise InputError(f"{name}: there is no such file in this job; drop it on the page Air")
    return by_name[name]


def plain_name(name: str) -> str:
    """The name of a file without folders; text to show, never a path."""
    plain = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in plain if c.isprintable())[:120] or "file"


def attach_to_site(
    store: Store, files: Files, file: BinaryIO, name: str, site: str, use: str, who: str
) -> tuple[str, str, list[str]]:
    """A file for a site (by id): a sweep, a list of stations, the picture under its ground.

    Without an id a sweep or a list goes to the first site; where the shoot names none yet, one begins with it.

    Returns its id, the name that it got, and what was understood of it, sentences. Raises InputError.
    """
    shown = name if use == "picture" else _free(name, {kept.name for kept in store.attachment_list()})
    attachment = store.attach(shown, file, who, most_bytes=MOST_UPLOAD, kind=use)
    says: list[str] = []
    if use == "sweeps":
        try:
            readout = files.readout(attachment, shown)
        except InputError:
            store.detach(attachment, who)
            raise
        says = [f"{sweep.format}: {', '.join(sweep.understood)}" for sweep in readout.sweeps]
        says = says or [f"{counted(len(readout.heard), 'carrier')} from a list"]
    if use in ("sweeps", "stations"):
        path = ("site", site or _first_site(store, who), use)
        now = store.document().at(*path)
        value = [*(now if isinstance(now, list) else []), shown] if use == "sweeps" else shown
        store.set_field(path, now, value, who)
    return attachment, shown, says


def _first_site(store: Store, who: str) -> str:
    """The id of the first site; of a new one where there is none."""
    if not store.document().entries("site"):
        store.insert(("site",), {"name": default_site().name}, who)
    return store.document().entries("site")[0][0]


def _free(name: str, taken: set[str]) -> str:
    """The name, or with a number where it is taken."""
    stem, dot, ending = name.rpartition(".")
    free, n = name, 2
    while free in taken:
        free, n = f"{stem} {n}.{ending}" if dot else f"{name} {n}", n + 1
    return free


def missing_files(store: Store, document: dict[str, Any]) -> list[str]:
    """The files that a document names and the job does not have."""
    there = {attachment.name for attachment in store.attachment_list()}
    return [name for name in named_files(document) if name not in there]


def import_shoot(
    store: Store, path: Path, tell: Callable[[str], None], ask: Callable[[str], bool] = lambda _name: False
) -> None:
    """Put a shoot file, finished or not, and the files that it names into a store. Raises InputError.

    A shoot may come from somebody else: what it names outside its own folder is taken only where `ask` says so, as
    it goes into the job and into every archive. What is left out is told, and can be dropped on the page Air.
    """
    document = parse_document(read_text(path, str(path), MOST_BYTES), str(path))
    for name in named_files(document):
        if beneath(path.parent, name) is None and not ask(name):
            tell(f"left out, as it is not in the folder of the shoot or beneath it: {name}")
            continue
        tell(f"taking in {name}")
        try:
            with open_regular(path.parent / name, name) as stream:
                store.attach(name, stream, "laptop", most_bytes=MOST_UPLOAD, kind="sweep")
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or str(error)
            raise InputError(f"cannot be read: {why}", path=name) from None
    store.replace(document, "laptop")


def named_files(document: dict[str, Any]) -> list[str]:
    """The files that a document's sites name: sweeps and lists of stations."""
    names: dict[str, None] = {}
    sites = document.get("site")
    for site in sites if isinstance(sites, list) else []:
        if isinstance(site, dict):
            sweeps = site.get("sweeps")
            for name in (*(sweeps if isinstance(sweeps, list) else []), site.get("stations")):
                if isinstance(name, str) and name:
                    names[name] = None
    return list(names)
