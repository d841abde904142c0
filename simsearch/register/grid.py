"""Findspots: grid references, latitude and longitude, or words, and making them coarser.

A reference names a square (or, in degrees, a small field), not a point; its figures say how large.
Making it coarser drops figures. Nothing is ever rounded, because rounding can move a find into
another square, parish or field. What was stated is kept as it was written.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

from simsearch.register.degrees import read_degrees
from simsearch.register.errors import FindspotError
from simsearch.register.transform import (
    GB,
    IRELAND,
    Transformation,
    from_wgs84,
    to_wgs84,
    transformation,
)

GRID_GB, GRID_IRELAND, DEGREES, WORDS = "grid GB", "grid Ireland", "WGS84", "words"
KINDS = (GRID_GB, GRID_IRELAND, DEGREES, WORDS)
COARSE_M = 1000
_EPSG = {GRID_GB: GB, GRID_IRELAND: IRELAND}
_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # I is not used
_SQUARE_M, _COARSEST_M = 100_000, 10_000
# Great Britain: 700 km by 1300 km from the false origin south-west of Scilly. Ireland: 500 km.
_EXTENT = {GRID_GB: (700_000, 1_300_000), GRID_IRELAND: (500_000, 500_000)}
_REFERENCE = re.compile(r"(?P<letters>[A-Z]{1,2})(?P<figures>\d*)")
_HELP = {
    GRID_GB: "Write two letters and 2 to 10 figures, half easting and half northing: TG 514 131.",
    GRID_IRELAND: "Write one letter and 2 to 10 figures, half easting, half northing: O 159 346.",
}


@dataclass(frozen=True)
class Findspot:
    """Where a find was made, as stated.

    ``value`` is what was written down; ``precision_m`` how near it is meant, in metres, never finer
    than its figures allow, ``None`` for words. ``words`` is the parish or area that may be shown
    to others; for kind "words" ``value`` may say more, and is shown only when asked for.
    """

    kind: str
    value: str
    precision_m: float | None = None
    words: str = ""


@dataclass(frozen=True)
class GridReference:
    """A square of a national grid: its south-west corner and side, in metres."""

    kind: str
    easting: int
    northing: int
    side_m: int

    def text(self) -> str:
        """Write it with letters and figures: ``TG 51409 13177``."""
        letters = _letters(self.kind, self.easting, self.northing)
        count = 5 - round(math.log10(self.side_m))
        east = f"{self.easting % _SQUARE_M:05d}"[:count]
        north = f"{self.northing % _SQUARE_M:05d}"[:count]
        return f"{letters} {east} {north}"

    def coarser(self, side_m: float) -> GridReference:
        """The square of ``side_m`` metres or more (to 10 km) that this lies in: figures dropped."""
        side = self.side_m
        while side < min(side_m, _COARSEST_M):
            side *= 10
        return replace(
            self,
            easting=self.easting - self.easting % side,
            northing=self.northing - self.northing % side,
            side_m=side,
        )


@dataclass(frozen=True)
class Position:
    """A findspot in degrees (WGS84): the middle of what was stated, and how far it may be off.

    ``radius_m`` reaches the corners of the square and includes the transformation's accuracy.
    """

    latitude: float
    longitude: float
    radius_m: float
    how: Transformation | None


def read_findspot(
    text: str, *, kind: str | None = None, precision_m: float | None = None, words: str = ""
) -> Findspot:
    """Make a findspot of what somebody wrote; without ``kind`` it is told from the text.

    Text that looks like no reference and no degrees is taken as words. Raises ``FindspotError``
    for a reference out of bounds, or a precision finer than the figures.
    """
    value = text.strip()
    if not value:
        raise FindspotError(
            "The findspot is empty.", hint="Give a grid reference, degrees, or words."
        )
    kind = kind or _kind_of(value)
    return checked(Findspot(kind, value, precision_m, words.strip()))


def checked(spot: Findspot) -> Findspot:
    """Return ``spot`` with its precision filled in from its figures where none was stated."""
    if spot.kind not in KINDS:
        raise FindspotError(
            f"'{spot.kind}' is no kind of findspot.", hint=f"Kinds: {', '.join(KINDS)}."
        )
    if not spot.value.strip():
        raise FindspotError(
            "The findspot is empty.", hint="Give a grid reference, degrees, or words."
        )
    if spot.kind == WORDS:
        return spot
    own = _own_precision(spot)
    stated = own if spot.precision_m is None else spot.precision_m
    if not math.isfinite(stated) or stated < own * 0.999:
        raise FindspotError(
            f"The findspot {spot.value} is said to be good to {stated:g} m, "
            f"but its figures name a place of {own:g} m.",
            hint="Give more figures, or the precision that they have.",
        )
    return replace(spot, precision_m=stated)


def read_reference(text: str, kind: str) -> GridReference:
    """Read a grid reference of 2 to 10 figures of the grid ``kind``; spaces do not matter."""
    parts = _REFERENCE.fullmatch(re.sub(r"\s+", "", text).upper())
    wanted = 2 if kind == GRID_GB else 1
    if parts is None or len(parts["letters"]) != wanted or "I" in parts["letters"]:
        raise FindspotError(f"'{text}' is not a grid reference.", hint=_HELP[kind])
    figures = parts["figures"]
    if len(figures) % 2 or not 2 <= len(figures) <= 10:
        raise FindspotError(
            f"'{text}' has {len(figures)} figures; 2, 4, 6, 8 or 10 are needed.", hint=_HELP[kind]
        )
    east, north = _square(parts["letters"], kind)
    half = len(figures) // 2
    side = 10 ** (5 - half)
    reference = GridReference(
        kind, east + int(figures[:half]) * side, north + int(figures[half:]) * side, side
    )
    return _inside(reference, text)


def reference_at(easting: float, northing: float, kind: str, side_m: int = 1) -> GridReference:
    """The square of ``side_m`` (1, 10, ... 10000) metres in which a point of a grid lies."""
    east = math.floor(easting / side_m) * side_m
    north = math.floor(northing / side_m) * side_m
    return _inside(GridReference(kind, east, north, side_m), f"{easting:.0f} {northing:.0f}")


def coarse(spot: Findspot, side_m: float = COARSE_M) -> Findspot:
    """The same findspot, no finer than ``side_m`` metres, by dropping figures.

    Degrees lose whole figures, so east and west 1 km becomes a tenth of a degree.
    Of a findspot in words only the words that may be shown are left.
    """
    if spot.kind == WORDS:
        return replace(spot, value=spot.words)
    stated, own = spot.precision_m or 0, _own_precision(spot)
    # A precision that is only that of the figures asks for no cut of its own.
    wanted = max(side_m, stated) if stated > own * 1.001 else side_m
    if spot.kind == DEGREES:
        cell = read_degrees(spot.value).coarser(wanted)
        return replace(spot, value=cell.text(), precision_m=max(cell.side_m(), wanted))
    square = read_reference(spot.value, spot.kind).coarser(wanted)
    return replace(spot, value=square.text(), precision_m=max(float(square.side_m), wanted))


def shown(spot: Findspot | None, *, exact: bool = False) -> str:
    """The findspot for people: coarse unless asked otherwise, with the words that may be shown."""
    if spot is None:
        return "not recorded"
    used = spot if exact else coarse(spot)
    if used.kind == WORDS:
        parts = [used.value, used.words if used.words != used.value else ""]
    else:
        parts = [f"{used.value} (to {distance_words(used.precision_m or 0)})", used.words]
    return ", ".join(part for part in parts if part) or "recorded in words, not shown"


def distance_words(metres: float) -> str:
    """Write a distance for people: "1 km", "100 m"."""
    return f"{metres / 1000:.3g} km" if metres >= 1000 else f"{metres:.3g} m"


def position(spot: Findspot) -> Position | None:
    """The middle of a findspot in degrees and how far it may be off; ``None`` for words."""
    if spot.kind == WORDS:
        return None
    if spot.kind == DEGREES:
        cell = read_degrees(spot.value)
        latitude, longitude = cell.middle()
        side = max(cell.side_m(), spot.precision_m or 0)
        return Position(latitude, longitude, _reach(side), None)
    epsg = _EPSG[spot.kind]
    square = read_reference(spot.value, spot.kind)
    half = square.side_m / 2
    latitude, longitude = to_wgs84(square.easting + half, square.northing + half, epsg)
    how = transformation(epsg)
    side = max(square.side_m, spot.precision_m or 0)
    return Position(latitude, longitude, _reach(side) + how.accuracy_m, how)


def on_grid(spot: Findspot, kind: str) -> GridReference:
    """The square of another grid in which a findspot lies, no finer than it was stated.

    Raises ``FindspotError`` for words and for places that the grid does not reach.
    """
    if spot.kind == WORDS:
        raise FindspotError("Words cannot be converted.", hint="Give a reference or degrees.")
    if spot.kind == kind:
        return read_reference(spot.value, kind)
    if spot.kind == DEGREES:
        latitude, longitude = read_degrees(spot.value).point()
    else:
        square = read_reference(spot.value, spot.kind)
        latitude, longitude = to_wgs84(square.easting, square.northing, _EPSG[spot.kind])
    easting, northing = from_wgs84(latitude, longitude, _EPSG[kind])
    finest = max(spot.precision_m or 0, transformation(_EPSG[kind]).accuracy_m)
    return reference_at(easting, northing, kind).coarser(finest)


def _reach(side_m: float) -> float:
    return math.hypot(side_m, side_m) / 2


def _kind_of(value: str) -> str:
    plain = re.sub(r"\s+", "", value).upper()
    if re.fullmatch(r"[A-HJ-Z]{2}\d+", plain):
        return GRID_GB
    if re.fullmatch(r"[A-HJ-Z]\d+", plain):
        return GRID_IRELAND
    return DEGREES if re.match(r"[-+]?\d+(\.\d+)?\s*(°|,|\s+[-+]?\d+\.|[NS])", value) else WORDS


def _own_precision(spot: Findspot) -> float:
    if spot.kind == DEGREES:
        return read_degrees(spot.value).side_m()
    return float(read_reference(spot.value, spot.kind).side_m)


def _square(letters: str, kind: str) -> tuple[int, int]:
    """South-west corner of a lettered square in metres.

    Letters run in rows of five from the north-west. In Great Britain the first letter names a
    square of 500 km; the false origin is the south-west corner of S (Ordnance Survey).
    """
    last = _LETTERS.index(letters[-1])
    column, row = last % 5, 4 - last // 5
    if kind == GRID_GB:
        first = _LETTERS.index(letters[0])
        column, row = column + (first % 5 - 2) * 5, row + (3 - first // 5) * 5
    return column * _SQUARE_M, row * _SQUARE_M


def _letters(kind: str, easting: int, northing: int) -> str:
    column, row = easting // _SQUARE_M, northing // _SQUARE_M
    inner = _LETTERS[(4 - row % 5) * 5 + column % 5]
    if kind == GRID_IRELAND:
        return inner
    return _LETTERS[(3 - row // 5) * 5 + column // 5 + 2] + inner


def _inside(reference: GridReference, text: str) -> GridReference:
    width, height = _EXTENT[reference.kind]
    if 0 <= reference.easting < width and 0 <= reference.northing < height:
        return reference
    raise FindspotError(
        f"'{text}' is outside the {reference.kind.removeprefix('grid ')} grid.",
        hint="Check the letters; or give latitude and longitude, or words.",
    )
