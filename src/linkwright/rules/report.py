"""Everything known about a territory as one document: what `linkwright rules --json` prints."""

from __future__ import annotations

import dataclasses
import datetime
from typing import Any

from linkwright.rules.hazards import WHOLE_SPECTRUM_KHZ, HardWarning, hard_warnings
from linkwright.rules.lookup import closed_ranges
from linkwright.rules.models import Row, Territory
from linkwright.rules.tv import tv_channels


def rules_document(territory: Territory, at: tuple[float, float] | None, on: datetime.date) -> dict[str, Any]:
    """The rules of a territory on the day `on`, as plain JSON values.

    at : position [degrees north, degrees east] for the warnings that hang on a place, or None.
    `tv` is empty: predicting TV needs a list of stations.
    """
    latitude, longitude = at if at is not None else (None, None)
    warnings = hard_warnings(territory, latitude, longitude, [WHOLE_SPECTRUM_KHZ])
    rows = sorted(territory.rows, key=lambda row: (row.from_khz, row.to_khz, row.id))
    return {
        "region": territory.code,
        "name": territory.name,
        "regulator": territory.regulator,
        "about": territory.about,
        "on": on.isoformat(),
        "at": None if at is None else {"latitude": at[0], "longitude": at[1]},
        "rows": [_row(row, on) for row in rows],
        "closed": [closed_range.model_dump(mode="json") for closed_range in closed_ranges(territory, on)],
        "tv": [],
        "permits": [permit.model_dump(mode="json") for permit in territory.permits],
        "raster": _raster(territory),
        "protection": None if territory.tv_protection is None else territory.tv_protection.model_dump(mode="json"),
        "notes": [note.model_dump(mode="json") for note in territory.notes],
        "warnings": [_warning(warning) for warning in warnings],
        "cautions": list(territory.cautions),
    }


def _warning(warning: HardWarning) -> dict[str, Any]:
    return dataclasses.asdict(warning) | {"settled_by": list(warning.settled_by)}


def _row(row: Row, on: datetime.date) -> dict[str, Any]:
    return row.model_dump(mode="json") | {"ended": row.ended(on)}


def _raster(territory: Territory) -> dict[str, Any] | None:
    if territory.tv_raster is None:
        return None
    told = territory.tv_raster.model_dump(mode="json", exclude={"segment"})
    return told | {"channels": [dataclasses.asdict(channel) for channel in tv_channels(territory)]}
