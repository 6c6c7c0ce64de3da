"""Writing a log as CSV: the tidy record, an empty cell for what is not known."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np

from linkwright.watch.log.record import BATTERY, FIELDS, MUTED, QUALITY, Batch

#: Decimal places of each column.
_DECIMALS: Final = tuple(0 if n == MUTED else 3 if n in (QUALITY, BATTERY) else 1 for n in range(len(FIELDS)))


def csv_lines(batches: Iterable[Batch]) -> Iterator[str]:
    """The lines of a log, its column names first, each with a line feed; times in UTC to the millisecond."""
    yield ",".join(("time", "link", *FIELDS)) + "\n"
    for batch in batches:
        names = [_cell(name) for name in batch.names]
        times = np.datetime_as_string(batch.time_ns.astype("datetime64[ns]"), unit="ms")
        columns = [_column(batch.values[:, n], places) for n, places in enumerate(_DECIMALS)]
        for time, link, *cells in zip(times.tolist(), batch.link.tolist(), *columns, strict=True):
            yield f"{time}+00:00,{names[link]},{','.join(cells)}\n"


def _column(values: np.ndarray, places: int) -> list[str]:
    """The cells of a column: few values occur, each is written once."""
    steps = 10**places
    whole = np.round(np.nan_to_num(values, nan=1e6).astype(np.float64) * steps).astype(np.int64)
    different, which = np.unique(whole, return_inverse=True)
    texts = ["" if whole == 10**6 * steps else f"{whole / steps:.{places}f}" for whole in different.tolist()]
    return [texts[n] for n in which.tolist()]


def _cell(text: str) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow([text])
    return out.getvalue()


def json_records(batch: Batch) -> list[dict[str, str | float | int]]:
    """The readings of a batch as the program takes them live; what is not known is left out."""
    from linkwright.watch.log.record import iso_of

    records: list[dict[str, str | float | int]] = []
    for link, time_ns, row in zip(batch.link.tolist(), batch.time_ns.tolist(), batch.values.tolist(), strict=True):
        record: dict[str, str | float | int] = {"time": iso_of(time_ns), "link": batch.names[link]}
        for n, key in enumerate(FIELDS):
            if row[n] == row[n]:
                record[key] = int(row[n]) if n == MUTED else round(row[n], 4)
        records.append(record)
    return records
