"""What the files that a shoot's sites name hold: sweeps, and TV predicted from lists of stations.

Whoever asks says how a file is read: from a folder beside the shoot, or out of the job's attachments.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from linkwright.shoot.errors import InputError

if TYPE_CHECKING:
    from linkwright.air.predicted import Predicted, ReceivingPlace
    from linkwright.air.readers import Readout
    from linkwright.rules import Territory
    from linkwright.shoot.models import Shoot

#: A sweep file by its name; the TV that a list of stations gives at a place. Both raise InputError.
ReadSweep = Callable[[str], "Readout"]
PredictTv = Callable[[str, "Territory", "ReceivingPlace"], "Predicted"]


def sweeps_of(shoot: Shoot, read: ReadSweep) -> tuple[Mapping[str, tuple[Readout, ...]], tuple[InputError, ...]]:
    """The readable sweeps of every site that names some, by its name, and why the others are not."""
    by_site: dict[str, tuple[Readout, ...]] = {}
    troubles: list[InputError] = []
    for site in shoot.site:
        readouts = []
        for name in site.sweeps:
            try:
                readouts.append(read(name))
            except InputError as error:
                troubles.append(error)
        if site.sweeps:
            by_site[site.name] = tuple(readouts)
    return by_site, tuple(troubles)


def tv_of(shoot: Shoot, predict: PredictTv) -> tuple[Mapping[str, Predicted], tuple[InputError, ...]]:
    """TV at every site that names a list of stations, by its name, and what is wrong with the others.

    Raises InputError for a region that the rules do not know.
    """
    if not any(site.stations for site in shoot.site):
        return {}, ()
    from linkwright.air.predicted import ReceivingPlace
    from linkwright.rules import territory

    region = territory(shoot.shoot.region)
    by_site: dict[str, Predicted] = {}
    troubles: list[InputError] = []
    for site in shoot.site:
        if site.stations is None:
            continue
        if site.latitude is None or site.longitude is None:
            says = f'site "{site.name}" has stations and no position: give its latitude and longitude'
            troubles.append(InputError(says))
            continue
        try:
            place = ReceivingPlace(site.latitude, site.longitude, site.surroundings)
            by_site[site.name] = predict(site.stations, region, place)
        except InputError as error:
            troubles.append(error)
    return by_site, tuple(troubles)
