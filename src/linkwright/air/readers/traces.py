"""What the columns behind a frequency are: one trace, several traces of different kinds, or sweeps of one kind."""

from __future__ import annotations

import re
from dataclasses import dataclass

from linkwright.air.readers.headers import TraceHeader, detector_in
from linkwright.air.readers.options import ReadOptions
from linkwright.air.readers.table import Table
from linkwright.air.sweep import Detector

#: How a title names the kind of a trace; the first that fits counts.
_KINDS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("max hold", re.compile(r"max|peak|highest", re.IGNORECASE)),
    ("min hold", re.compile(r"min(?!ut)|lowest", re.IGNORECASE)),
    ("average", re.compile(r"av(?:g|erage)|mean|rms", re.IGNORECASE)),
    ("live", re.compile(r"clear|write|live|actual|current|sample|normal", re.IGNORECASE)),
)
_SWEEP_TITLE = re.compile(
    r"^\W*(?:(?:sweep|scan|run|pass)\W*)?\d[\d:.\-TtZ/ ]*\W*(?:\[?dB\w*\]?)?\W*$", re.IGNORECASE
)
#: Which kind is taken where only one can be: the least misleading first.
PREFERRED = ("average", "live", None, "max hold", "min hold")


@dataclass(frozen=True)
class Trace:
    """Some columns behind the frequency (from 0), what the file calls them, their kind, and the detector."""

    columns: list[int]
    name: str | None
    kind: str | None
    detector: Detector


@dataclass(frozen=True)
class TableTraces:
    """The traces of a table, and what was guessed."""

    traces: tuple[Trace, ...]
    guessed: list[str]


def traces(table: Table, known: TraceHeader, options: ReadOptions) -> TableTraces:
    """The traces of a table with a frequency column."""
    count = table.values.shape[1] - 1
    titles, rest = _titles(table, count)
    if options.columns == "sweeps" or (titles and all(_SWEEP_TITLE.match(title) for title in titles)):
        return TableTraces((Trace(list(range(count)), None, None, known.detector),), [])
    if count == 1:
        return TableTraces((Trace([0], None, None, known.detector),), [])
    kinds = [kind_of(title) for title in titles]
    if not any(kinds) and options.columns != "traces":
        guess = f"{count} columns of levels taken as sweeps of one kind: the file does not name them"
        return TableTraces((Trace(list(range(count)), None, None, known.detector),), [guess])
    all_traces = []
    live = detector_in(rest)  # a title that names a held trace says nothing about the others
    for number in range(count):
        name = titles[number] if titles else f"trace {number + 1}"
        kind = kinds[number] if kinds else None
        all_traces.append(Trace([number], name, kind, options.detector or detector_of(kind, known, live)))
    return TableTraces(tuple(all_traces), [])


def kind_of(title: str) -> str | None:
    """The kind of trace that a title names; None where it names none."""
    return next((kind for kind, pattern in _KINDS if pattern.search(title)), None)


def detector_of(kind: str | None, known: TraceHeader, live: Detector) -> Detector:
    """How the looks of a trace of that kind were put together; `live` for one that nothing was done to."""
    if kind == "max hold":
        return "peak"
    if kind == "min hold":
        return "lowest"
    if kind == "average":
        return known.average_type
    return live


def _titles(table: Table, count: int) -> tuple[list[str], str]:
    """The titles of the columns behind the frequency, from the last line of the header with as many fields,
    and the rest of the header."""
    lines = table.header.split(b"\n")
    for number in reversed(range(len(lines))):
        line = lines[number]
        fields = table.layout.fields(line) if table.layout.separator != b" " else line.split(b"\t")
        if len(fields) == count + 1 and all(fields):
            rest = b"\n".join(lines[:number] + lines[number + 1 :]).decode("utf-8", "replace")
            return [field.decode("utf-8", "replace").strip(" \"'") for field in fields[1:]], rest
    return [], table.header.decode("utf-8", "replace")
