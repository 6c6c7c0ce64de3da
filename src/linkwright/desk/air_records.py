"""Records of sweeps that other programs send: rows, and what they state of them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from linkwright.air.readers import ReadOptions
from linkwright.air.readers.columns import KHZ
from linkwright.air.sweep import DETECTOR_WORDS
from linkwright.shoot.errors import InputError

#: Largest piece of sweeps that is taken at once [bytes].
MOST_BYTES: Final = 8 * 1024 * 1024
#: What a record may state besides its rows.
STATED: Final[Mapping[str, Any]] = {
    "unit": ("dBm", "dBuV", "dBuV/m", "dB"), "frequency_unit": tuple(KHZ), "detector": tuple(DETECTOR_WORDS),
    "columns": ("traces", "sweeps", "bins"), "from_khz": float, "to_khz": float, "step_khz": float,
    "resolution_khz": float, "averages": float,
}  # fmt: skip
FIELDS: Final = frozenset({"rows", "source", "site", *STATED})


@dataclass(frozen=True, slots=True)
class SentRows:
    """Rows of a sweep, the name of who sends them, the site ("" where none is said), and what is stated of them."""

    rows: str
    source: str
    site: str
    stated: Mapping[str, Any]

    def options(self) -> ReadOptions:
        """What is stated, for the readers. Raises InputError for what is no such thing."""
        given: dict[str, Any] = {}
        for key, fits in STATED.items():
            value = self.stated.get(key)
            if value is None:
                continue
            if isinstance(fits, tuple) and value not in fits:
                raise InputError(f'{key} is "{str(value)[:40]}"; expected one of {", ".join(fits)}')
            if fits is float and (isinstance(value, bool) or not isinstance(value, int | float)):
                raise InputError(f'{key} is "{str(value)[:40]}"; expected a number')
            given[key] = int(value) if key == "averages" else value
        return ReadOptions(**given)


def records_of(payload: bytes) -> list[SentRows]:
    """The records of a payload, one or a list. Raises InputError for what is none."""
    if len(payload) > MOST_BYTES:
        raise InputError(f"the rows have more than {MOST_BYTES // 1024 // 1024} MiB; send them in parts")
    try:
        decoded = json.loads(payload.decode("utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        raise InputError(
            f'what was sent is not JSON ({type(error).__name__}); expected {{"rows": "..."}}'
        ) from None
    records = decoded if isinstance(decoded, list) else [decoded]
    for record in records:
        if not isinstance(record, dict) or not isinstance(record.get("rows"), str):
            raise InputError('found a record without rows, expected {"rows": "lines of a sweep", "source": "name"}')
        unknown = sorted(set(record) - FIELDS)
        if unknown:
            raise InputError(f'found the field "{unknown[0][:40]}", expected one of {", ".join(sorted(FIELDS))}')
    return [
        SentRows(
            record["rows"], str(record.get("source") or "sweep")[:80], str(record.get("site") or "")[:200], record
        )
        for record in records
    ]
