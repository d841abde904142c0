"""Coordinates between the national grids and WGS84, all computed by pyproj (PROJ).

Which transformation, and how accurate it is:

- Great Britain, EPSG:27700. With the Ordnance Survey's OSTN15 grid file in PROJ's data folder that
  grid is used (1 m by the EPSG register). Without it, as PROJ is installed by pip, the
  seven-parameter Helmert transformation "OSGB36 to WGS 84 (6)", EPSG:1314. The EPSG register gives
  it 2 m; the Ordnance Survey's "A guide to coordinate systems in Great Britain" says up to about
  5 m (from memory), and 5 m is what is stated here.
- Ireland, EPSG:29903 (TM75 / Irish Grid, used in the north and the south): "TM75 to WGS 84 (2)",
  seven parameters, 1 m by the EPSG register.
- Irish Transverse Mercator, EPSG:2157, on a datum taken to be WGS84 within 1 m.

The projections themselves are exact to millimetres. WGS84 and ETRS89 are taken as one, as in the
EPSG register; they have drifted apart by less than a metre.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from simsearch.register.errors import FindspotError

if TYPE_CHECKING:
    from pyproj import Transformer

GB, IRELAND, ITM, WGS84 = 27700, 29903, 2157, 4326
_OSGB_HELMERT = "OSGB36 to WGS 84 (6)"
_OSGB_HELMERT_ACCURACY_M = 5.0


@dataclass(frozen=True)
class Transformation:
    """How a pair of coordinates was computed: in words, and its stated accuracy in metres."""

    name: str
    accuracy_m: float


def to_wgs84(easting: float, northing: float, epsg: int) -> tuple[float, float]:
    """Return latitude and longitude (degrees, WGS84) of metres on grid ``epsg``."""
    longitude, latitude = _chosen(epsg)[0].transform(easting, northing)
    return _finite(latitude, longitude, f"{easting:.0f} {northing:.0f}")


def from_wgs84(latitude: float, longitude: float, epsg: int) -> tuple[float, float]:
    """Return easting and northing in metres on grid ``epsg`` of WGS84 degrees."""
    easting, northing = _chosen(epsg)[0].transform(longitude, latitude, direction="INVERSE")
    return _finite(easting, northing, f"{latitude} {longitude}")


def transformation(epsg: int) -> Transformation:
    """Which transformation is used between grid ``epsg`` and WGS84 on this computer."""
    return _chosen(epsg)[1]


@lru_cache(maxsize=8)
def _chosen(epsg: int) -> tuple[Transformer, Transformation]:
    from pyproj.transformer import TransformerGroup

    with warnings.catch_warnings():
        # pyproj warns when a more accurate grid file is not installed; we say it ourselves.
        warnings.simplefilter("ignore", UserWarning)
        group = TransformerGroup(epsg, WGS84, always_xy=True)
    return choose(group.transformers)


def choose(transformers: list[Any]) -> tuple[Any, Transformation]:
    """Pick the most accurate of ``transformers``; what has no stated accuracy is left out."""
    stated = [item for item in transformers if item.accuracy is not None and item.accuracy >= 0]
    best = min(stated, key=lambda item: float(item.accuracy))
    words = best.description.removesuffix(" + axis order change (2D)")
    accuracy = float(best.accuracy)
    if _OSGB_HELMERT in words:
        return best, Transformation(
            f"{words}: seven-parameter Helmert, EPSG:1314", _OSGB_HELMERT_ACCURACY_M
        )
    return best, Transformation(words, accuracy)


def _finite(first: float, second: float, given: str) -> tuple[float, float]:
    if not (math.isfinite(first) and math.isfinite(second)):
        raise FindspotError(
            f"{given} is outside the area of this grid.",
            hint="Check the figures, or give the place as latitude and longitude or in words.",
        )
    return first, second
