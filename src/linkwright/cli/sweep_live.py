"""`linkwright sweep - --live`: rows as they come, judged here or sent to the pages."""

from __future__ import annotations

import dataclasses
import json
import os
import select
import sys
import time
from collections.abc import Iterator, Sequence
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


def _told(coming: Coming, mine: tuple[Mine, ...], as_json: bool) -> int:
    """Judge here, and tell who is new, one line each."""
    from linkwright.air.arrivals import Arrivals
    from linkwright.air.fresh import FreshAir
    from linkwright.air.passes import Passes
    from linkwright.cli.output import console
    from linkwright.units import counted

    sources: dict[str, Passes] = {}
    air = FreshAir()
    arrivals = Arrivals(air)
    arrivals.expect(mine)
    told: dict[tuple[int, int], dict[str, Any]] = {}

    def passed(passes: Passes, sweeps: Iterator[Any]) -> None:
        before = passes.refused
        for sweep in sweeps:
            try:
                air.add(sweep, time.time())
            except InputError as error:
                passes.refused += 1
                passes.says = passes.says or str(error)
                continue
            arrivals.look(time.time())
            for new in _news(arrivals, told):
                if not as_json:
                    console().print(new["says"])
        if not before and passes.refused:
            print(f"Left out: {passes.says}", file=sys.stderr)

    def fed(name: str, data: bytes) -> None:
        if data:
            passes = sources.setdefault(name, Passes(name, coming.options))
            passed(passes, passes.feed(data))

    try:
        for name, data in coming.pieces:
            fed(name, data)
        for passes in sources.values():
            passed(passes, passes.end())
    except KeyboardInterrupt:
        pass
    fed(*coming.rest())
    refused = sum(passes.refused for passes in sources.values())
    if not air.passes:
        says = next((passes.says for passes in sources.values() if passes.says), "")
        nothing = InputError(says or "no pass of a sweep came; expected rows of a sweep")
    else:
        nothing = None
    return _ended(
        coming, nothing, refused, f"{_passes(air.passes)}, {counted(refused, 'row')} left out.",
        {"passes": air.passes, "refused": refused, "new": list(told.values())}, as_json,
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


def _sent(coming: Coming, address: str, as_json: bool) -> int:
    """Send whole lines to the pages, and tell once what they refuse; while they cannot be reached, lines wait."""
    from linkwright.cli.sending import post
    from linkwright.units import counted

    waiting: dict[str, bytes] = {}
    passes = refused = lost = 0
    says, away = "", False

    def send(last: bool = False) -> None:
        nonlocal passes, refused, says, lost, away
        for name, data in waiting.items():
            cut = len(data) if last else data.rfind(b"\n") + 1
            if not cut:
                continue
            record = {"rows": data[:cut].decode("utf-8", "replace"), "source": name, **_stated(coming.options)}
            try:
                answer = json.loads(post(address, json.dumps(record).encode(), "rows"))
            except InputError as error:
                if not passes or last:
                    raise
                lost += max(0, len(data) - MOST_WAITING)
                waiting[name] = data[-MOST_WAITING:]
                if not away:
                    print(f"{error}; the rows wait", file=sys.stderr)
                away = True
                return
            away = False
            coming.hear(answer)
            waiting[name] = data[cut:]
            passes, refused = passes + int(answer["passes"]), refused + int(answer["refused"])
            if answer["says"] and not says:
                says = str(answer["says"][0])
                print(f"Left out: {says}", file=sys.stderr)

    try:
        sent_s = time.monotonic()
        for name, data in coming.pieces:
            if data:
                waiting[name] = waiting.get(name, b"") + data
            if time.monotonic() - sent_s >= LOOK_S or sum(map(len, waiting.values())) > 2 * PIECE:
                send()
                sent_s = time.monotonic()
        send(last=True)
    except KeyboardInterrupt:
        pass
    name, data = coming.rest()
    if data:
        waiting[name] = waiting.get(name, b"") + data
        send(last=True)
    more = f", {lost} bytes lost while the pages could not be reached" if lost else ""
    return _ended(
        coming, None, refused, f"{_passes(passes)} sent, {counted(refused, 'row')} left out{more}.",
        {"passes": passes, "refused": refused, "says": says}, as_json,
    )  # fmt: skip
