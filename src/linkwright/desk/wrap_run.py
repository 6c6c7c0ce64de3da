"""The readings of the job gone through once, in the background: figures, envelopes, episodes.

Readings lie in the store a minute each, receiver logs as they were dropped; both are taken in piece by piece in the
order of time, so that a day of any number of readings stays in bounded memory. What comes later is added.
"""

from __future__ import annotations

import copy
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import InitVar, dataclass, field
from pathlib import Path
from typing import Final

from linkwright.desk.background import Background, WorkRun
from linkwright.desk.day import scheduled
from linkwright.desk.diagnosing import Diagnosing, expected_in
from linkwright.desk.kept_readings import stretch_in
from linkwright.desk.laying import Laying
from linkwright.desk.names import Names
from linkwright.desk.snapshot import Made, Snapshot
from linkwright.latest import latest
from linkwright.shoot.errors import InputError
from linkwright.store import LOG, READINGS, Attachment, Store
from linkwright.units import counted
from linkwright.watch.align.breaks import LinkBreaks
from linkwright.watch.diagnose.watcher import Episode
from linkwright.watch.figures.outline import Outline
from linkwright.watch.figures.statistics import FiguresTally, LinkFigures
from linkwright.watch.log.kept import Stretch
from linkwright.watch.log.stretches import between, called

#: Largest receiver log that a page takes in [bytes]: a day of 43 million readings is about 3 GB as text.
MOST_LOG: Final = 4 * 1024**3
#: Up to this long, a stretch is drawn from its readings themselves [ms].
FINE_MS: Final = 30 * 60 * 1000


@dataclass(frozen=True, eq=False)
class Gone:
    """What the readings told; `told` is what was amiss, `episodes` what the watch saw and `breaks` when each link's
    audio broke, before any recording was looked at. `outline` may not be added to by anybody else."""

    figures: tuple[LinkFigures, ...] = ()
    outline: Outline = field(default_factory=Outline)
    episodes: tuple[Episode, ...] = ()
    told: tuple[str, ...] = ()
    readings: int = 0
    by_site: Mapping[str, tuple[LinkFigures, ...]] = field(default_factory=dict)
    breaks: tuple[LinkBreaks, ...] = ()

    @property
    def span_ms(self) -> tuple[int, int] | None:
        """From the first reading to the last; None without any."""
        if not self.figures:
            return None
        return min(figure.first_ms for figure in self.figures), max(figure.last_ms for figure in self.figures)


@dataclass(frozen=True, slots=True)
class _Piece:
    """An attachment with readings, and its first moment [ms]."""

    attachment: Attachment
    first_ms: int


@dataclass
class _SoFar:
    """How far the readings were gone through; what comes later in the day is added to it."""

    key: object
    needed: Mapping[str, float]
    spans: list[tuple[str, int, int]]
    tally: FiguresTally
    outline: Outline
    diagnosing: Diagnosing
    by_site: dict[str, FiguresTally] = field(default_factory=dict)
    ids: list[str] = field(default_factory=list)

    @classmethod
    def begin(cls, snapshot: Snapshot, key: object) -> _SoFar:
        """Nothing yet."""
        needed = needed_levels(snapshot)
        diagnosing = Diagnosing(expected_in(snapshot))
        return cls(key, needed, site_spans(snapshot), FiguresTally(needed), Outline(), diagnosing)

    def add(self, stretch: Stretch) -> None:
        """Take in readings."""
        self.tally.add(stretch)
        self.outline.add(stretch)
        self.diagnosing.add(stretch)
        for site, from_ms, to_ms in self.spans:
            part = between(stretch, from_ms, to_ms)
            if part.size:
                self.by_site.setdefault(site, FiguresTally(self.needed)).add(part)


@dataclass
class Wrapping:
    """The readings of one job. `file` gives an attachment as a file. Safe to use from several threads."""

    store: Store
    file: Callable[[Attachment], Path]
    background: Background
    laying_background: InitVar[Background]
    gone: Gone = field(default_factory=Gone)
    laying: Laying = field(init=False)
    _names: Names = field(default_factory=Names)
    _key: tuple[object, ...] = ()
    _so_far: _SoFar | None = None
    _firsts: dict[str, int] = field(default_factory=dict)
    _broken: dict[str, str] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def __post_init__(self, laying_background: Background) -> None:
        self.laying = Laying(laying_background)

    @property
    def busy(self) -> bool:
        """Whether the readings are being gone through."""
        return self.background.state.busy

    def attachments(self) -> list[Attachment]:
        """The readings and logs of the job."""
        return [attachment for attachment in self.store.attachment_list() if attachment.kind in (READINGS, LOG)]

    def begin(self, snapshot: Snapshot) -> None:
        """Go through the readings, where any came or went since, the plan needs other levels, or names changed."""
        with self._lock:
            if self.busy or self.background.state.fault:
                return
            called = tuple(snapshot.names.name_of(id_) for id_, _ in snapshot.document.draft.entries("link"))
            asked = (tuple(sorted(needed_levels(snapshot).items())), called)
            key = (tuple(attachment.id for attachment in self.attachments()), asked)
            if key == self._key:
                return
            if not key[0]:
                self.gone, self._key = Gone(), key
                return

            def work(run: WorkRun) -> None:
                self.gone, self._key = self._go_through(snapshot, asked, run), key

            self.background.begin(work)

    def wait(self, timeout_s: float) -> bool:
        """Wait until the readings have been gone through. Whether they have."""
        return self.background.wait(timeout_s)

    def _go_through(self, snapshot: Snapshot, asked: object, run: WorkRun) -> Gone:
        self._names = snapshot.names
        pieces = self._pieces()
        ids = [piece.attachment.id for piece in pieces]
        so_far = self._so_far
        if so_far is None or so_far.key != asked or ids[: len(so_far.ids)] != so_far.ids:
            so_far = _SoFar.begin(snapshot, asked)
        # The pages draw from what was told last; what is added to is a copy of its own.
        so_far.outline, self._so_far = copy.deepcopy(so_far.outline), None
        for n, piece in enumerate(pieces[len(so_far.ids) :], len(so_far.ids)):
            run.tell("going through the readings", n / len(pieces))
            for stretch in self._stretches_of(piece):
                run.check()
                so_far.add(stretch)
            so_far.ids.append(piece.attachment.id)
        self._so_far = so_far
        outline, by_site = so_far.outline, so_far.by_site
        figures = so_far.tally.figures()
        late = sum(figure.late for figure in figures)
        told = list(self._broken.values())
        if late:
            told.append(f"{counted(late, 'reading')} of a time that their link had already; left out.")
        sites = {site: site_figures.figures() for site, site_figures in by_site.items()}
        readings = sum(figure.readings for figure in figures)
        diagnosing = so_far.diagnosing
        return Gone(
            figures, outline, diagnosing.episodes(), tuple(told), readings, sites, diagnosing.breaks.links()
        )

    def stretches(self, from_ms: int | None = None, to_ms: int | None = None) -> Iterator[Stretch]:
        """All readings, piece by piece in the order of their first moments; between two times, if given.

        What cannot be read is left out and told by `gone.told`.
        """
        pieces = self._pieces()
        for n, piece in enumerate(pieces):
            if to_ms is not None and piece.first_ms >= to_ms:
                break
            if from_ms is not None and piece.attachment.kind == READINGS and _over(pieces, n, from_ms):
                continue
            yield from self._stretches_of(piece)

    def _stretches_of(self, piece: _Piece) -> Iterator[Stretch]:
        """The readings of one attachment, by what the links are called now; one that cannot be read is told."""
        names = self._names
        try:
            for stretch in self._read(piece.attachment):
                yield called(stretch, lambda link: names.name_of(names.id_of("link", link)))
        except InputError as error:
            self._broken[piece.attachment.id] = str(error)

    def _pieces(self) -> list[_Piece]:
        """The attachments by their first moment; those that hold nothing are left out."""
        pieces = []
        for attachment in self.attachments():
            if attachment.id not in self._firsts and attachment.id not in self._broken:
                try:
                    first = next((part for part in self._read(attachment) if part.size), None)
                except InputError as error:
                    self._broken[attachment.id] = str(error)
                    continue
                if first is not None:
                    self._firsts[attachment.id] = int(first.time_ms[0])
            if attachment.id in self._firsts:
                pieces.append(_Piece(attachment, self._firsts[attachment.id]))
        return sorted(pieces, key=lambda piece: (piece.first_ms, piece.attachment.id))

    def _read(self, attachment: Attachment) -> Iterable[Stretch]:
        """The readings of one attachment. Raises InputError."""
        if attachment.kind == READINGS:
            return (stretch_in(self.store, attachment),)
        return self._log(attachment)

    def _log(self, attachment: Attachment) -> Iterator[Stretch]:
        from linkwright.watch.log.reading import read_batches
        from linkwright.watch.log.stretches import stretch_of

        for batch in read_batches(self.file(attachment), attachment.name):
            yield stretch_of(batch)

    def outline(self, from_ms: int, to_ms: int, columns: int) -> Outline:
        """What a picture between two times is drawn from: the readings themselves where they are few."""
        if to_ms - from_ms > FINE_MS:
            return self.gone.outline
        fine = Outline(max(1, (to_ms - from_ms) // max(1, columns)), from_ms, to_ms)
        for stretch in self.stretches(from_ms, to_ms):
            fine.add(stretch)
        return fine


def _over(pieces: list[_Piece], n: int, from_ms: int) -> bool:
    """Whether a stretch of the store ends before a time: a later one of them begins before it, by ten minutes."""
    later = (piece.first_ms for piece in pieces[n + 1 :] if piece.attachment.kind == READINGS)
    first = next(later, None)
    return first is not None and first < from_ms - 600_000


def site_spans(snapshot: Snapshot) -> list[tuple[str, int, int]]:
    """Which site is worked on from when to when [ms]: its calls with times."""
    calls = () if snapshot.shoot is None else scheduled(snapshot.shoot)
    return [
        (call.live.site.name, round(call.span[0].timestamp() * 1000.0), round(call.span[1].timestamp() * 1000.0))
        for call in calls
        if call.span is not None
    ]


def needed_levels(snapshot: Snapshot) -> dict[str, float]:
    """The level that each link's receiver needs in the newest plan, the highest of its calls [dBm]."""
    return _levels_of(snapshot.made, snapshot.names)[0]


def planned_levels(snapshot: Snapshot) -> dict[str, float]:
    """The local mean that the newest plan expects of each link at its worst spot, the lowest of its calls [dBm]."""
    return _levels_of(snapshot.made, snapshot.names)[1]


@latest
def _levels_of(made: Made | None, names: Names) -> tuple[dict[str, float], dict[str, float]]:
    """The highest level that each link needs, and the lowest that is expected of it [dBm], by its name of now."""
    needed, planned = dict[str, float](), dict[str, float]()
    if made is None:
        return needed, planned
    for link in (link for call in made.plan.calls for link in call.links):
        name = names.name_of(made.names.id_of("link", link.link))
        need, mean = round(link.noise_and_interference_dbm + link.required_cnr_db, 1), round(link.wanted_dbm, 1)
        needed[name], planned[name] = max(need, needed.get(name, need)), min(mean, planned.get(name, mean))
    return needed, planned
