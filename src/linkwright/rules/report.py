"""Everything known about a territory on a day: what `linkwright rules` prints."""

from __future__ import annotations

import dataclasses
import datetime
from dataclasses import dataclass
from typing import Any

from linkwright.rules.hazards import WHOLE_SPECTRUM_KHZ, HardWarning, hard_warnings
from linkwright.rules.lookup import closed_ranges
from linkwright.rules.models import Closed, Row, Territory
from linkwright.rules.tv import tv_channels


@dataclass(frozen=True)
class RulesReport:
    """The rules of a territory on the day `on`; at : position [degrees north, degrees east] for the warnings that
    hang on a place, or None."""

    territory: Territory
    at: tuple[float, float] | None
    on: datetime.date

    @property
    def rows(self) -> list[Row]:
        """Its rows from the lowest frequency up."""
        return sorted(self.territory.rows, key=lambda row: (row.from_khz, row.to_khz, row.id))

    @property
    def closed(self) -> tuple[Closed, ...]:
        """What is closed on the day."""
        return closed_ranges(self.territory, self.on)

    @property
    def warnings(self) -> tuple[HardWarning, ...]:
        """Hard warnings for whoever transmits anywhere in the spectrum."""
        latitude, longitude = self.at if self.at is not None else (None, None)
        return tuple(hard_warnings(self.territory, latitude, longitude, [WHOLE_SPECTRUM_KHZ]))

    def document(self) -> dict[str, Any]:
        """As plain JSON values. `tv` is empty: predicting TV needs a list of stations."""
        territory = self.territory
        return {
            "region": territory.code,
            "name": territory.name,
            "regulator": territory.regulator,
            "about": territory.about,
            "on": self.on.isoformat(),
            "at": None if self.at is None else {"latitude": self.at[0], "longitude": self.at[1]},
            "rows": [_row(row, self.on) for row in self.rows],
            "closed": [closed_range.model_dump(mode="json") for closed_range in self.closed],
            "tv": [],
            "permits": [permit.model_dump(mode="json") for permit in territory.permits],
            "raster": _raster(territory),
            "protection": None if (tv := territory.tv_protection) is None else tv.model_dump(mode="json"),
            "notes": [note.model_dump(mode="json") for note in territory.notes],
            "warnings": [_warning(warning) for warning in self.warnings],
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
