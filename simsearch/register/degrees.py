"""Latitude and longitude (WGS84) as somebody wrote them, with the precision of their figures.

Computed in decimal numbers: a float of 1.29 is a little less, and dropping its figures would
give 1.28.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

from simsearch.register.errors import FindspotError

_METRES_PER_DEGREE = 111_320.0  # of latitude; of longitude at the equator
_HELP = "Write degrees like 52.6580, 1.7161 or 52°39'28.8\"N 1°42'57.9\"E, latitude first."
_NUMBER = r"\d+(?:\.\d+)?"
_PLAIN = re.compile(rf"([-+]?{_NUMBER})°?\s*([NS]?)[\s,;]+([-+]?{_NUMBER})°?\s*([EW]?)")
_SEXAGESIMAL = re.compile(
    rf"(\d+)°\s*(\d+)['′]\s*(?:({_NUMBER})[\"″])?\s*([NS])[\s,;]*"
    rf"(\d+)°\s*(\d+)['′]\s*(?:({_NUMBER})[\"″])?\s*([EW])"
)
# Powers of ten only, so that the figures that are left say how far they were cut.
_STEPS = tuple(Decimal(1).scaleb(power) for power in range(-8, 2))


@dataclass(frozen=True)
class Degrees:
    """A field of degrees: the figures kept, and the steps (in degrees) they were cut to.

    The place lies between a figure and the next step away from nought.
    """

    latitude: Decimal
    longitude: Decimal
    latitude_step: Decimal
    longitude_step: Decimal

    def text(self) -> str:
        """Write it as decimal degrees, with the figures that its steps allow."""
        return (
            f"{_written(self.latitude, self.latitude_step)}, "
            f"{_written(self.longitude, self.longitude_step)}"
        )

    def point(self) -> tuple[float, float]:
        """Latitude and longitude as written."""
        return float(self.latitude), float(self.longitude)

    def middle(self) -> tuple[float, float]:
        """Latitude and longitude of the middle of the field."""
        return (
            float(_half_way(self.latitude, self.latitude_step)),
            float(_half_way(self.longitude, self.longitude_step)),
        )

    def side_m(self) -> float:
        """The longer side of the field, in metres."""
        north = float(self.latitude_step) * _METRES_PER_DEGREE
        return max(north, float(self.longitude_step) * _metres_per_degree_east(self.latitude))

    def coarser(self, side_m: float) -> Degrees:
        """The field of at least ``side_m`` metres each way that this lies in: figures dropped."""
        latitude_step = _step(side_m / _METRES_PER_DEGREE, self.latitude_step)
        latitude = _cut(self.latitude, latitude_step)
        # Measured at the latitude that is left, so that doing it twice changes nothing.
        longitude_step = _step(side_m / _metres_per_degree_east(latitude), self.longitude_step)
        longitude = _cut(self.longitude, longitude_step)
        return Degrees(latitude, longitude, latitude_step, longitude_step)


def read_degrees(text: str) -> Degrees:
    """Read latitude and longitude, decimal or in degrees, minutes and seconds.

    Raises ``FindspotError`` for anything else and for values that no place has.
    """
    value = text.strip()
    plain, parts = _PLAIN.fullmatch(value), _SEXAGESIMAL.fullmatch(value)
    if plain is not None:
        found = _from_plain(plain)
    elif parts is not None:
        groups = parts.groups()
        latitude, latitude_step = _from_parts(groups[:4], text)
        longitude, longitude_step = _from_parts(groups[4:], text)
        found = Degrees(latitude, longitude, latitude_step, longitude_step)
    else:
        raise FindspotError(f"'{text}' is not a latitude and longitude.", hint=_HELP)
    if abs(found.latitude) > 89 or abs(found.longitude) > 180:
        raise FindspotError(f"'{text}' is no place on the earth.", hint=_HELP)
    return found


def _from_plain(parts: re.Match[str]) -> Degrees:
    latitude, south, longitude, west = parts.groups()
    return Degrees(
        Decimal(latitude) * (-1 if south == "S" else 1),
        Decimal(longitude) * (-1 if west == "W" else 1),
        _figures(latitude),
        _figures(longitude),
    )


def _from_parts(parts: tuple[str | None, ...], text: str) -> tuple[Decimal, Decimal]:
    degrees, minutes, seconds, side = (part or "" for part in parts)
    if int(minutes) > 59 or Decimal(seconds or 0) >= 60:
        raise FindspotError(f"'{text}' has more than 59 minutes or seconds.", hint=_HELP)
    value = Decimal(degrees) + Decimal(minutes) / 60 + Decimal(seconds or 0) / 3600
    step = _figures(seconds) / 3600 if seconds else Decimal(1) / 60
    return (-value if side in "SW" else value), step


def _figures(number: str) -> Decimal:
    """The worth of the last figure: of 52.6580 it is 0.0001."""
    return Decimal(1).scaleb(int(Decimal(number).as_tuple().exponent))


def _metres_per_degree_east(latitude: Decimal) -> float:
    return _METRES_PER_DEGREE * math.cos(math.radians(float(latitude)))


def _step(degrees: float, figures: Decimal) -> Decimal:
    """The first power of ten that is no shorter than either."""
    wanted = max(degrees, float(figures)) * (1 - 1e-9)
    return next((step for step in _STEPS if float(step) >= wanted), _STEPS[-1])


def _cut(value: Decimal, step: Decimal) -> Decimal:
    return (value / step).to_integral_value(ROUND_DOWN) * step


def _half_way(value: Decimal, step: Decimal) -> Decimal:
    return value - step / 2 if value.is_signed() else value + step / 2


def _written(value: Decimal, step: Decimal) -> str:
    places = min(8, max(0, -int(step.as_tuple().exponent)))
    return f"{value.quantize(Decimal(1).scaleb(-places), ROUND_DOWN):f}"
