"""Reading sweeps: bytes from outside become `Sweep`s, or an `InputError` that says why not."""

from __future__ import annotations

import dataclasses
import io
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, NoReturn

from linkwright.air.readers import columns, lists, rows, sigmf, traces
from linkwright.air.readers.lists import ListedCarrier
from linkwright.air.readers.options import AS_IT_SAYS, ReadOptions
from linkwright.air.readers.text import Text, too_large
from linkwright.air.sweep import Sweep
from linkwright.progress import Tell
from linkwright.shoot.errors import InputError
from linkwright.shoot.regular import open_regular

__all__ = [
    "LIMIT_BYTES", "LIMIT_SAMPLES_BYTES", "ListedCarrier", "ReadOptions", "Readout", "evidence", "read_bytes",
    "read_file", "read_stream", "read_sweep", "read_sweep_bytes", "read_sweeps",
]  # fmt: skip

#: Largest file of text that is read [bytes]; some 36 million levels. It bounds the memory to under 1 GiB.
LIMIT_BYTES = 256 * 1024 * 1024
#: Largest recording of samples [bytes]: they are gone through in parts, so only time bounds them.
LIMIT_SAMPLES_BYTES = 16 * 1024**3
#: A list that somebody typed is no longer than this [bytes].
_LIST_BYTES = 64 * 1024


@dataclass(frozen=True)
class Readout:
    """What a file holds: sweeps (one for each trace), or carriers that somebody heard and listed."""

    path: str
    sweeps: tuple[Sweep, ...]
    heard: tuple[ListedCarrier, ...] = ()


def read_file(
    path: Path, name: str | None = None, options: ReadOptions = AS_IT_SAYS, tell: Tell | None = None
) -> Readout:
    """What is in a file; `name` is the file as the person named it, for what is said about it.

    `options` override what the file says; `tell` is told how far it is. Raises `InputError` for whatever
    cannot be read, and for a file over `LIMIT_BYTES`, which is told before any of it is read.
    """
    shown = name if name is not None else str(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError("found a folder, expected a sweep file", path=shown)
        if not stat.S_ISREG(status.st_mode):
            raise InputError("found a device or a pipe, expected a sweep file", path=shown)
        is_samples = sigmf.is_sigmf(path)
        limit = LIMIT_SAMPLES_BYTES if is_samples else LIMIT_BYTES
        if status.st_size > limit:
            raise too_large(status.st_size, limit, shown)
        if is_samples:
            return Readout(shown, (sigmf.read(path, shown, options, tell),))
        with open_regular(path, shown) as file:
            return read_stream(file, shown, options, status.st_size, tell)
    except FileNotFoundError:
        raise InputError("there is no such file; expected a sweep file", path=shown) from None
    except PermissionError:
        raise InputError("the file may not be read; give yourself the right to read it", path=shown) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"the file could not be read ({reason})", path=shown) from None


def read_stream(
    stream: BinaryIO,
    name: str,
    options: ReadOptions = AS_IT_SAYS,
    size: int | None = None,
    tell: Tell | None = None,
) -> Readout:
    """What a stream of text holds; `size` [bytes] is for `tell`. Raises `InputError` as `read_file`."""
    text = Text(stream, name, LIMIT_BYTES, size, tell)
    reader = next(reader for reader in READERS if reader.begins(text.head))
    return reader.read(text, options)


def _rows(text: Text, options: ReadOptions) -> Readout:
    return Readout(text.name, (rows.read(text, options),))


def _metadata(text: Text, options: ReadOptions) -> NoReturn:
    del options
    raise InputError("found the metadata of a SigMF recording, expected it named .sigmf-meta", path=text.name)


def _columns(text: Text, options: ReadOptions) -> Readout:
    """A table of columns; where it is short enough that somebody typed it, it may be a list of carriers."""
    if len(text.head) <= _LIST_BYTES:
        whole = text.whole()
        listed = lists.heard(whole, options)
        if listed is not None:
            return Readout(text.name, (), listed)
        text = Text(io.BytesIO(whole), text.name, LIMIT_BYTES)
    if options.columns == "carriers":
        says = "found no list of carriers; expected a frequency at the beginning of every line"
        raise InputError(says, path=text.name)
    return Readout(text.name, columns.read(text, options))


@dataclass(frozen=True)
class SweepReader:
    """A form of text: what it is, how its first block tells, and what reads it, or refuses it with `InputError`."""

    form: str
    begins: Callable[[bytes], bool]
    read: Callable[[Text, ReadOptions], Readout]


#: The forms of text, by the first that its beginning tells; the last takes whatever is left.
READERS: Final = (
    SweepReader("rows of a sweep utility", rows.looks_like_rows, _rows),
    SweepReader(
        "metadata of SigMF", lambda head: head.lstrip().startswith(b"{") and b"core:datatype" in head, _metadata
    ),
    SweepReader("columns, or a list of carriers", lambda _head: True, _columns),
)


def read_bytes(data: bytes, name: str) -> Readout:
    """What is in `data`, called `name` in what is said about it. Raises `InputError` as `read_file`."""
    return read_stream(io.BytesIO(data), name, size=len(data))


def read_sweeps(
    path: Path, name: str | None = None, options: ReadOptions = AS_IT_SAYS, tell: Tell | None = None
) -> tuple[Sweep, ...]:
    """The sweeps in a file, one for each trace. Raises `InputError`, also for a list of carriers."""
    return _only_sweeps(read_file(path, name, options, tell), name if name is not None else str(path))


def read_sweep(path: Path, name: str | None = None, options: ReadOptions = AS_IT_SAYS) -> Sweep:
    """One sweep: of several traces the one that misleads least, which is said. Raises as `read_sweeps`."""
    return _one(read_sweeps(path, name, options))


def read_sweep_bytes(data: bytes, name: str, options: ReadOptions = AS_IT_SAYS) -> Sweep:
    """The sweep in `data`, called `name` in what is said about it. Raises `InputError` as `read_sweep`."""
    if len(data) > LIMIT_BYTES:
        raise too_large(len(data), LIMIT_BYTES, name)
    return _one(_only_sweeps(read_stream(io.BytesIO(data), name, options), name))


def evidence(sweeps: tuple[Sweep, ...]) -> tuple[Sweep, ...]:
    """The traces that say what is on the air: all but the lowest held, unless that is all there is."""
    useful = tuple(sweep for sweep in sweeps if sweep.detector != "lowest")
    return useful or sweeps


def _only_sweeps(readout: Readout, name: str) -> tuple[Sweep, ...]:
    if not readout.sweeps:
        raise InputError(
            f"found a list of {len(readout.heard)} carriers, expected a sweep; such a list says nothing about the "
            "rest of the band: enter its carriers as [[other]]",
            path=name,
        )
    return readout.sweeps


def _one(sweeps: tuple[Sweep, ...]) -> Sweep:
    """The trace that misleads least: an average before a live one, before the highest or lowest held."""
    if len(sweeps) == 1:
        return sweeps[0]
    kinds = [traces.kind_of(sweep.trace) if sweep.trace else None for sweep in sweeps]
    chosen = min(range(len(sweeps)), key=lambda n: (traces.PREFERRED.index(kinds[n]), n))
    others = ", ".join(str(sweep.trace) for sweep in sweeps if sweep is not sweeps[chosen])
    note = f'of {len(sweeps)} traces "{sweeps[chosen].trace}" was taken, and not {others}'
    return dataclasses.replace(sweeps[chosen], understood=(*sweeps[chosen].understood, note))
