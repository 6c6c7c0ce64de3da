"""Lists of TV stations: a table with a row a transmitter becomes `Stations`, or an `InputError` says why not."""

from linkwright.air.stations.model import Stations
from linkwright.air.stations.reader import parse_stations, read_stations

__all__ = ["Stations", "parse_stations", "read_stations"]
