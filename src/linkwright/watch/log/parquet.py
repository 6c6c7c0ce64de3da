"""Logs as Parquet, read and written in batches; needs the extra `parquet`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO, Final

import numpy as np

from linkwright.progress import Tell
from linkwright.shoot.errors import InputError
from linkwright.watch.log.columns import Amiss, NameTable, column_index, scale_and_range, zoned
from linkwright.watch.log.mapping import Mapping
from linkwright.watch.log.record import FIELDS, MOST_LINKS, Batch

ROWS: Final = 262_144


def _pyarrow() -> Any:
    try:
        import pyarrow.parquet
    except ImportError:
        raise InputError('Parquet needs the extra "parquet": pip install "linkwright[parquet]"') from None
    return pyarrow


def parquet_batches(
    file: BinaryIO, name: str, mapping: Mapping, amiss: Amiss, tell: Tell | None = None
) -> Iterator[Batch]:
    """The readings of a Parquet log. Raises InputError."""
    pa = _pyarrow()
    try:
        table = pa.parquet.ParquetFile(file)
        cells = list(table.schema_arrow.names)
        columns = {}
        for key in ("time", "link", *FIELDS):
            at = column_index(cells, key, mapping, name)
            if at is not None:
                columns[key] = cells[at]
        names, done = NameTable(mapping), 0
        for part in table.iter_batches(batch_size=ROWS, columns=list(columns.values())):
            yield _batch(pa, part, columns, names, amiss)
            done += part.num_rows
            if tell is not None:
                tell(f"reading {name}", done / max(1, table.metadata.num_rows))
    except (pa.ArrowException, OSError, EOFError, UnicodeDecodeError) as error:
        says = " ".join(str(error).split())[:120]
        raise InputError(f"is no Parquet log that can be read ({says})", path=name) from None


def _batch(pa: Any, part: Any, columns: dict[str, str], names: NameTable, amiss: Amiss) -> Batch:
    """One part of the file as columns."""
    time_ns, local, nowhen = _times(pa, part.column(columns["time"]), names.mapping, amiss.name)
    index, nobody = _links(pa, part, columns, names, amiss.name)
    ranges = scale_and_range(names.mapping)
    values = np.full((part.num_rows, len(FIELDS)), np.nan, dtype=np.float32)
    wrong = nowhen | nobody
    first = "a row lacks its time or its link" if wrong.any() else ""
    for n, key in enumerate(FIELDS):
        if key not in columns:
            continue
        read = _numbers(pa, part.column(columns[key]), key, amiss.name)
        if ranges[0, n] != 1.0 or ranges[1, n] != 0.0:
            read = read * ranges[0, n] + ranges[1, n]
        out = (read < ranges[2, n]) | (read > ranges[3, n])
        if out.any() and not first:
            first = f"{key} is {read[out][0]:g}; expected {ranges[2, n]:g} to {ranges[3, n]:g}"
        wrong |= out
        values[:, n] = read
    amiss.refuse(int(wrong.sum()), first)
    keep = ~wrong if wrong.any() else slice(None)
    amiss.rows += int((~wrong).sum())
    time_ns, refused = zoned(time_ns[keep], local[keep], names.mapping, amiss, None)
    index = index[keep]
    time_ns = time_ns + (names.shift_ns()[index] if index.size else 0)
    if not refused.any():
        return Batch(tuple(names.ours), index, time_ns, values[keep])
    good = ~refused
    return Batch(tuple(names.ours), index[good], time_ns[good], values[keep][good])


def _times(pa: Any, column: Any, mapping: Mapping, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times [ns], which are local, and which are missing."""
    kind = column.type
    nowhen = np.asarray(column.is_null())
    local = np.zeros(len(column), dtype=bool)
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        try:
            column = column.cast(pa.timestamp("ns", "UTC"))
        except pa.ArrowInvalid:
            column = column.cast(pa.timestamp("ns"))
            local[:] = True
    elif pa.types.is_timestamp(kind):
        local[:] = kind.tz is None
        column = column.cast(pa.timestamp("ns", kind.tz))
    elif mapping.time_unit is not None and (pa.types.is_integer(kind) or pa.types.is_floating(kind)):
        scale = {"s": 1e9, "ms": 1e6, "us": 1e3, "ns": 1.0}[mapping.time_unit]
        if pa.types.is_integer(kind):
            return np.asarray(column.fill_null(0)).astype(np.int64) * np.int64(scale), local, nowhen
        seconds = np.nan_to_num(np.asarray(column.fill_null(0.0)), posinf=0.0, neginf=0.0)
        return np.round(np.clip(seconds * scale, -9e18, 9e18)).astype(np.int64), local, nowhen
    else:
        raise InputError(f"has times of type {kind}; expected timestamps or ISO 8601 text", path=name)
    return np.asarray(column.cast(pa.int64()).fill_null(0)), local, nowhen


def _links(
    pa: Any, part: Any, columns: dict[str, str], names: NameTable, name: str
) -> tuple[np.ndarray, np.ndarray]:
    """Whose each row is, and which rows name nobody."""
    if "link" not in columns:
        return np.zeros(part.num_rows, dtype=np.int32), np.zeros(part.num_rows, dtype=bool)
    coded = part.column(columns["link"])
    if not pa.types.is_dictionary(coded.type):
        coded = coded.cast(pa.string()).dictionary_encode()
    met = []
    for text in coded.dictionary.cast(pa.string()).to_pylist():
        ours = names.mapping.rename.get(text, text) if text else ""
        if len(ours) > 80 or not ours.isprintable():
            raise InputError(f"has the link {ours[:30]!r}; expected a name of 1 to 80 letters", path=name)
        if ours and ours not in names.ours:
            if len(names.ours) >= MOST_LINKS:
                raise InputError(f"has more than {MOST_LINKS} links; is that column the link?", path=name)
            names.ours.append(ours)
        met.append(names.ours.index(ours) if ours else -1)
    codes = np.asarray(coded.indices.fill_null(-1)).astype(np.int64)
    index = np.array([*met, -1], dtype=np.int32)[codes]
    return np.maximum(index, 0), index < 0


def _numbers(pa: Any, column: Any, key: str, name: str) -> np.ndarray:
    kind = column.type
    if pa.types.is_boolean(kind):
        column = column.cast(pa.int8())
    elif not (pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)):
        raise InputError(f"has {key} of type {kind}; expected numbers", path=name)
    if not pa.types.is_float32(kind):
        column = column.cast(pa.float64())
    return np.asarray(column.to_numpy(zero_copy_only=False))


def write_parquet(path: str, batches: Iterable[Batch]) -> None:
    """Write a log as Parquet. Raises InputError where it cannot be written."""
    pa = _pyarrow()
    types = [("time", pa.timestamp("ns", "UTC")), ("link", pa.dictionary(pa.int32(), pa.string()))]
    schema = pa.schema([*types, *((key, pa.float32()) for key in FIELDS)])
    try:
        with pa.parquet.ParquetWriter(path, schema, compression="zstd") as out:
            for batch in batches:
                link = pa.DictionaryArray.from_arrays(pa.array(batch.link), pa.array(batch.names))
                columns = [pa.array(batch.values[:, n], from_pandas=True) for n in range(len(FIELDS))]
                time = pa.array(batch.time_ns, pa.int64()).cast(pa.timestamp("ns", "UTC"))
                out.write_table(pa.table([time, link, *columns], schema=schema))
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", path=path) from None
