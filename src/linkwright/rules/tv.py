"""TV channels by number, on the territory's raster."""

from __future__ import annotations

from dataclasses import dataclass

from linkwright.rules.models import Territory
from linkwright.shoot.errors import InputError


@dataclass(frozen=True)
class TvChannel:
    """A TV channel and its edges [kHz] on the raster."""

    number: str
    from_khz: int
    to_khz: int

    @property
    def centre_khz(self) -> int:
        """The middle of the channel [kHz]."""
        return (self.from_khz + self.to_khz) // 2


def tv_channels(territory: Territory) -> tuple[TvChannel, ...]:
    """The territory's TV channels from the lowest upwards; none where its raster is not known."""
    if territory.tv_raster is None:
        return ()
    return tuple(
        TvChannel(name, segment.from_khz + n * segment.width_khz, segment.from_khz + (n + 1) * segment.width_khz)
        for segment in territory.tv_raster.segment
        for n, name in enumerate(segment.channels())
    )


def tv_channel(territory: Territory, number: str) -> TvChannel:
    """The TV channel that people call `number`.

    Raises InputError where the territory has no such channel, or where its raster is not known.
    """
    channels = {channel.number: channel for channel in tv_channels(territory)}
    if not channels or territory.tv_raster is None:
        raise InputError(
            f'TV channel "{number}" cannot be placed: no raster is known for region {territory.code}; '
            "give the multiplex as an [[other]] with from_mhz and to_mhz"
        )
    wanted = number.strip().upper()
    wanted = wanted.lstrip("0") or wanted
    if wanted not in channels:
        raise InputError(
            f'region {territory.code} has no TV channel "{number}": its channels are {_spans(territory)} '
            f"({territory.tv_raster.note})"
        )
    return channels[wanted]


def _spans(territory: Territory) -> str:
    """ "2 to 4, 5 to 6, 7 to 13 and 14 to 36"."""
    assert territory.tv_raster is not None
    spans = [
        f"{names[0]} to {names[-1]}" for names in (segment.channels() for segment in territory.tv_raster.segment)
    ]
    return " and ".join(filter(None, [", ".join(spans[:-1]), spans[-1]]))
