"""What a list of stations says, a column an array."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from linkwright.units import BoolArray, FloatArray, IntArray

#: Effective height where a list states none [m]. Assumed: in a public list of the US of 2017 the stations without a
#: height have at most 15 kW, and the median of those up to 15 kW that state one is 306 m.
ASSUMED_HEIGHT_M: Final = 300.0


@dataclass(frozen=True, slots=True, eq=False)
class Stations:
    """n transmitters.

    name, channel : as the list has them; a channel is "" where the list gives a frequency instead.
    frequency_mhz : centre [MHz], nan where the list gives a channel.
    latitude, longitude : degrees north and east.
    erp_kw : effective radiated power in the direction of its maximum [kW].
    height_m : of the antenna over the mean ground about [m]; `ASSUMED_HEIGHT_M` where `height_known` is not.
    antenna_m : of the antenna above the ground at its foot [m], nan where it is not known.
    directional : whether the list says that it does not radiate alike in all directions.
    notes : how the list was understood, a sentence each.
    """

    name: tuple[str, ...]
    channel: tuple[str, ...]
    frequency_mhz: FloatArray
    latitude: FloatArray
    longitude: FloatArray
    erp_kw: FloatArray
    height_m: FloatArray
    height_known: BoolArray
    antenna_m: FloatArray
    directional: BoolArray
    notes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.name)

    def only(self, which: IntArray) -> Stations:
        """The stations with these indices, in this order."""
        return Stations(
            name=tuple(self.name[i] for i in which),
            channel=tuple(self.channel[i] for i in which),
            frequency_mhz=self.frequency_mhz[which],
            latitude=self.latitude[which],
            longitude=self.longitude[which],
            erp_kw=self.erp_kw[which],
            height_m=self.height_m[which],
            height_known=self.height_known[which],
            antenna_m=self.antenna_m[which],
            directional=self.directional[which],
            notes=self.notes,
        )
