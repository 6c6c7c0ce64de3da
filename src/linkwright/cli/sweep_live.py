"""`linkwright sweep - --live`: rows as they come, judged here or sent to the pages."""

from __future__ import annotations

import dataclasses
import json
import os
import select
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final
from urllib.parse import urlsplit

from linkwright.cli.sweep_tuned import Coming, TunedSweep, tuned
from linkwright.shoot.errors import InputError

if TYPE_CHECKING:
    from linkwright.air.arrivals import Arrivals
    from linkwright.air.ours import Mine
    from linkwright.air.passes import Passes
    from linkwright.air.readers import ReadOptions
    from linkwright.air.sweep import Sweep

#: It is looked for more so often [s], and so much is read at a time [bytes].
LOOK_S: Final = 0.25
PIECE: Final = 256 * 1024
#: Files of a folder that are watched, and how many of those who were new the document lists.
MOST_FILES: Final = 64
#: So much waits for pages that cannot be reached [bytes].
MOST_WAITING: Final = 6 * 1024 * 1024
MOST_TOLD: Final = 1_000


def watch(
    named: Sequence[str], options: ReadOptions, shoot: str | None, asked: TunedSweep | None, as_json: bool
) -> int:
    """Read until nothing more comes or Ctrl-C. 0: every row was read, 1: some were refused.

    asked : the receiver, or recordings in its place, that rows are made of.
    """
    addresses = [source for source in named if urlsplit(source).scheme in ("http", "https")]
    places = [source for source in named if source not in addresses]
    if len(addresses) > 1:
        raise InputError(f"found {len(addresses)} addresses, expected one to send to")
    if addresses and "columns" in _stated(options) and options.columns == "carriers":
        raise InputError("a list of carriers is no sweep to be sent")
    if asked is None:
        coming = Coming(_pieces(places or ["-"]), options)
        mine = () if addresses else _ours(shoot)
        return _sent(coming, addresses[0], as_json) if addresses else _told(coming, mine, as_json)
    if places:
        raise InputError(f'found "{places[0]}" beside a receiver, expected nothing or an address to send to')
    mine = _ours(shoot)
    with tuned(asked, options, set(_stated(options)), mine) as coming:
        return _sent(coming, addresses[0], as_json) if addresses else _told(coming, mine, as_json)


def _stated(options: ReadOptions) -> dict[str, Any]:
    stated = {key: value for key, value in dataclasses.asdict(options).items() if value is not None}
    stated.pop("sweeps", None)
    stated.pop("lasted_s", None)
    return stated


def _ours(shoot: str | None) -> tuple[Mine, ...]:
    """The carriers and spares of a shoot, planned now; none where none is named."""
    if shoot is None:
        return ()
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.newcomers import ours_in
    from linkwright.plan.chain import scene_of
    from linkwright.plan.pipeline import make_plan

    read = load_shoot(shoot)
    return tuple(mine for each in ours_in(make_plan(read, {}), scene_of(read, {})).values() for mine in each)


# Where rows come from


def _pieces(places: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """What comes, with the name of where it comes from; nothing (b"") while nothing does. Ends where all are."""
    if list(places) == ["-"]:
        yield from _piped(sys.stdin.buffer)
        return
    if "-" in places:
        raise InputError("found - beside files, expected standard input alone")
    folders = [Path(place) for place in places]
    for folder in folders:
        if not folder.exists():
            raise InputError("there is no such file or folder; expected one that is written to", path=str(folder))
    began = {path: path.stat().st_size for path in _files(folders) if path not in folders}
    at: dict[Path, int] = dict(began)  # what stood in a folder before is not of now
    while True:
        quiet = True
        for path in _files(folders):
            for data in _grown(path, at):
                quiet = False
                yield path.name, data
        if quiet:
            yield "", b""
            time.sleep(LOOK_S)


def _piped(stream: BinaryIO) -> Iterator[tuple[str, bytes]]:
    number = stream.fileno()
    while True:
        try:
            ready = bool(select.select([number], [], [], LOOK_S)[0])
        except (OSError, ValueError):
            ready = True  # no pipe that can be asked: wait for what comes
        if not ready:
            yield "", b""
            continue
        data = os.read(number, PIECE)
        if not data:
            return
        yield "the sweep", data


def _files(folders: Sequence[Path]) -> list[Path]:
    """The files to read: those named, and those in folders, the newest of them."""
    paths: list[Path] = []
    for folder in folders:
        if folder.is_dir():
            inside = [path for path in folder.iterdir() if path.is_file() and not path.name.startswith(".")]
            paths += sorted(inside, key=lambda path: path.stat().st_mtime)[-MOST_FILES:]
        elif folder.exists():
            paths.append(folder)
    return paths


def _grown(path: Path, at: dict[Path, int]) -> Iterator[bytes]:
    """What a file has more than before; all of it where it became shorter, as one that was written anew."""
    try:
        size = path.stat().st_size
        begin = at.get(path, 0)
        begin = 0 if size < begin else begin
        with path.open("rb") as file:
            file.seek(begin)
            while begin < size and (data := file.read(min(PIECE, size - begin))):
                begin += len(data)
                yield data
        at[path] = begin
    except OSError as error:
        raise InputError(f"the file could not be read ({error.strerror})", path=str(path)) from None


# What becomes of them


@dataclass
class _Judging:
    """Judges passes here: the air, who came, and what was told of them; `arrivals` look into that very air."""

    options: ReadOptions
    arrivals: Arrivals
    quiet: bool
    sources: dict[str, Passes] = field(default_factory=dict)
    told: dict[tuple[int, int], dict[str, Any]] = field(default_factory=dict)

    def feed(self, name: str, data: bytes) -> None:
        """The next piece of a source."""
        from linkwright.air.passes import Passes

        if data:
            passes = self.sources.setdefault(name, Passes(name, self.options))
            self._passed(passes, passes.feed(data))

    def end(self) -> None:
        """What each source still holds."""
        for passes in self.sources.values():
            self._passed(passes, passes.end())

    def _passed(self, passes: Passes, sweeps: Iterable[Sweep]) -> None:
        from linkwright.cli.output import console

        before = passes.refused
        for sweep in sweeps:
            try:
                self.arrivals.air.add(sweep, time.time())
            except InputError as error:
                passes.refused += 1
                passes.says = passes.says or str(error)
                continue
            self.arrivals.look(time.time())
            for new in _news(self.arrivals, self.told):
                if not self.quiet:
                    console().print(new["says"])
        if not before and passes.refused:
            print(f"Left out: {passes.says}", file=sys.stderr)


def _told(coming: Coming, mine: tuple[Mine, ...], as_json: bool) -> int:
    """Judge here, and tell who is new, a line each."""
    from linkwright.air.arrivals import Arrivals
    from linkwright.air.fresh import FreshAir
    from linkwright.units import counted

    air = FreshAir()
    judging = _Judging(coming.options, Arrivals(air), as_json)
    judging.arrivals.expect(mine)
    try:
        for name, data in coming.pieces:
            judging.feed(name, data)
        judging.end()
    except KeyboardInterrupt:
        pass
    judging.feed(*coming.rest())
    sources = judging.sources.values()
    refused = sum(passes.refused for passes in sources)
    nothing = None
    if not air.passes:
        says = next((passes.says for passes in sources if passes.says), "")
        nothing = InputError(says or "no pass of a sweep came; expected rows of a sweep")
    return _ended(
        coming, nothing, refused, f"{_passes(air.passes)}, {counted(refused, 'row')} left out.",
        {"passes": air.passes, "refused": refused, "new": list(judging.told.values())}, as_json,
    )  # fmt: skip


def _ended(
    coming: Coming, nothing: InputError | None, refused: int, says: str, document: dict[str, Any], as_json: bool
) -> int:
    """Tell what came of it, and why it ended where that is a fault; the status to leave with."""
    from linkwright.cli.output import console, print_json

    more, more_of_it = coming.says()
    fault = coming.fault() or nothing
    if as_json:
        print_json(document | more_of_it | ({} if fault is None else {"error": str(fault)}))
    else:
        console().print(says + more)
    if fault is not None:
        print(fault, file=sys.stderr)
        return 2
    return 1 if refused else 0


def _passes(count: int) -> str:
    return f"{count} pass{'' if count == 1 else 'es'}"


def _news(arrivals: Arrivals, told: dict[tuple[int, int], dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Who was not told yet."""
    from linkwright.desk.airing import nearest

    for somebody in arrivals.somebodies:
        key = (somebody.number, somebody.times)
        if not somebody.on or key in told or somebody.kind == "ours":
            continue
        if len(told) >= MOST_TOLD:
            told.pop(next(iter(told)))
        mine = nearest(arrivals.mine, somebody)
        at = time.strftime("%H:%M:%S", time.localtime(somebody.since_s))
        level = f"{somebody.level_db:.0f} {arrivals.air.unit}".replace("-", "\N{MINUS SIGN}")
        where = (
            ""
            if mine is None
            else f", {'on' if mine.is_on(somebody.centre_khz, somebody.width_khz) else 'beside'} "
        )
        if mine is not None:
            where += f"{'the spare' if mine.spare else 'the carrier'} {mine.khz / 1000:.3f} of {mine.link}"
        word = {"product": f"comes of {somebody.of}", "wide": "wide"}.get(
            somebody.kind, "there" if somebody.first else "new"
        )
        wide = f"{somebody.width_khz:.0f} kHz wide"
        told[key] = {
            "since": at,
            "centre_khz": round(somebody.centre_khz, 1),
            "width_khz": round(somebody.width_khz, 1),
            "level_db": round(somebody.level_db, 1),
            "unit": arrivals.air.unit,
            "over_floor_db": round(somebody.over_db, 1),
            "kind": somebody.kind,
            "first": somebody.first,
            "link": None if mine is None else mine.link,
            "says": f"{at} {somebody.centre_khz / 1000:.3f} MHz, {word}: {level}, {wide}{where}.",
        }
        yield told[key]


@dataclass
class _Sending:
    """Sends whole lines to the pages, and tells once what they refuse; while they cannot be reached, lines wait."""

    coming: Coming
    address: str
    waiting: dict[str, bytes] = field(default_factory=dict)
    passes: int = 0
    refused: int = 0
    lost: int = 0
    says: str = ""
    away: bool = False

    def take(self, name: str, data: bytes) -> None:
        """A piece of a source, to be sent."""
        if data:
            self.waiting[name] = self.waiting.get(name, b"") + data

    def send(self, last: bool = False) -> None:
        """Send what waits; `last`: what does not end with a line too. Raises InputError."""
        from linkwright.cli.sending import post

        for name, data in self.waiting.items():
            cut = len(data) if last else data.rfind(b"\n") + 1
            if not cut:
                continue
            rows = data[:cut].decode("utf-8", "replace")
            record = {"rows": rows, "source": name, **_stated(self.coming.options)}
            try:
                answer = json.loads(post(self.address, json.dumps(record).encode(), "rows"))
            except InputError as error:
                if not self.passes or last:
                    raise
                self.lost += max(0, len(data) - MOST_WAITING)
                self.waiting[name] = data[-MOST_WAITING:]
                if not self.away:
                    print(f"{error}; the rows wait", file=sys.stderr)
                self.away = True
                return
            self.away = False
            self.coming.hear(answer)
            self.waiting[name] = data[cut:]
            self.passes, self.refused = self.passes + int(answer["passes"]), self.refused + int(answer["refused"])
            if answer["says"] and not self.says:
                self.says = str(answer["says"][0])
                print(f"Left out: {self.says}", file=sys.stderr)


def _sent(coming: Coming, address: str, as_json: bool) -> int:
    """Send what comes to the pages, until it ends or somebody stops it."""
    from linkwright.units import counted

    sending = _Sending(coming, address)
    try:
        sent_s = time.monotonic()
        for name, data in coming.pieces:
            sending.take(name, data)
            if time.monotonic() - sent_s >= LOOK_S or sum(map(len, sending.waiting.values())) > 2 * PIECE:
                sending.send()
                sent_s = time.monotonic()
        sending.send(last=True)
    except KeyboardInterrupt:
        pass
    name, data = coming.rest()
    if data:
        sending.take(name, data)
        sending.send(last=True)
    lost = f", {sending.lost} bytes lost while the pages could not be reached" if sending.lost else ""
    return _ended(
        coming, None, sending.refused,
        f"{_passes(sending.passes)} sent, {counted(sending.refused, 'row')} left out{lost}.",
        {"passes": sending.passes, "refused": sending.refused, "says": sending.says}, as_json,
    )  # fmt: skip
