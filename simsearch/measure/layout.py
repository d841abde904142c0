"""Where everything on the photo card is, in millimetres.

Origin is the left upper corner of the card, y downwards. Printing and finding use the same
numbers, so they cannot drift apart. The two sizes carry different marker numbers, so that a
photo alone tells which card it shows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

DICTIONARY = "DICT_5X5_50"
"""OpenCV's predefined dictionary that the markers are from: 5 x 5 cells and a black frame."""
CELLS = 7
"""Cells along a marker's side, the frame counted."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Box:
    """A rectangle on the card: left upper corner and size in mm."""

    x: float
    y: float
    width: float
    height: float

    def inside(self, margin: float) -> Box:
        """The rectangle without a strip of ``margin`` mm along its sides."""
        return Box(
            self.x + margin, self.y + margin, self.width - 2 * margin, self.height - 2 * margin
        )

    def corners(self) -> Floats:
        """Corners (4, 2), clockwise from the left upper one, as the marker detector has them."""
        right, low = self.x + self.width, self.y + self.height
        return np.array([[self.x, self.y], [right, self.y], [right, low], [self.x, low]], float)


@dataclass(frozen=True)
class Patch:
    """A neutral patch: ``grey`` is 1 for bare paper, 0 for black."""

    box: Box
    grey: float


@dataclass(frozen=True)
class Layout:
    """One size of the card. ``room`` is the bare part that the find is laid on."""

    name: str
    width: float
    height: float
    markers: dict[int, Box]
    patches: tuple[Patch, ...]
    room: Box
    rule: Box
    upright_rule: Box

    @property
    def titled(self) -> Box:
        """The gap for the name of the card, between the two middle markers at the top."""
        left, right = (self.markers[min(self.markers) + n] for n in (1, 2))
        return Box(left.x + left.width, left.y, right.x - left.x - left.width, left.height)

    @property
    def noted(self) -> Box:
        """The gap for a note, below the one for the name."""
        low = max(box.y for box in self.markers.values())
        return Box(self.titled.x, low, self.titled.width, self.titled.height)


def _layout(
    name: str, width: float, height: float, marker: float, edge: float, patch: float,
    upright: float, first: int,
) -> Layout:  # fmt: skip
    right, low = width - edge - marker, height - edge - marker
    across = np.linspace(edge, right, 4)
    places = [(float(x), edge) for x in across]
    places += [(edge, (edge + low) / 2), (right, (edge + low) / 2)]
    places += [(float(x), low) for x in across]
    quiet = 1.8 * marker / CELLS  # white round each marker; the detector needs about a cell
    rule_top = low - 5 * quiet / 2
    left = edge + marker + quiet + 6
    top = edge + marker + quiet + 1
    room = Box(left, top, right - quiet - left, rule_top - 1 - top)
    return Layout(
        name, width, height,
        {first + n: Box(x, y, marker, marker) for n, (x, y) in enumerate(places)},
        tuple(_patches(across, marker, patch, (edge, low))),
        room,
        Box((width - 100) / 2, rule_top, 100, low - quiet - rule_top + quiet / 2),
        Box(left - 6, top + (room.height - upright) / 2, 4, upright),
    )  # fmt: skip


def _patches(across: Floats, marker: float, size: float, rows: tuple[float, float]) -> list[Patch]:
    """White and grey in the outer gaps between markers, so that light from one side shows."""
    found = []
    for y in rows:
        for left in (across[0] + marker, across[2] + marker):
            gap = across[1] - across[0] - marker
            step = (gap - 2 * size) / 3
            for n, grey in enumerate((1.0, 0.5)):
                x = float(left + step + n * (size + step))
                found.append(Patch(Box(x, y + (marker - size) / 2, size, size), grey))
    return found


A5 = _layout("A5", 210, 148, marker=14, edge=7, patch=10, upright=50, first=0)
A6 = _layout("A6", 148, 105, marker=10, edge=5, patch=7, upright=30, first=10)
LAYOUTS = {layout.name.lower(): layout for layout in (A5, A6)}


@lru_cache(maxsize=1)
def dictionary() -> cv2.aruco.Dictionary:
    """The markers' dictionary."""
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))


def marker_cells(number: int) -> NDArray[np.bool_]:
    """Cells of a marker (CELLS, CELLS), the frame included; True is white."""
    return np.asarray(cv2.aruco.generateImageMarker(dictionary(), number, CELLS)) > 127
