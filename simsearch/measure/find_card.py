"""Finding the photo card in a photo, and refusing, with the reason, where that is not safe.

A wrong scale is worse than none: every doubt below ends in a CardError that says what to do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simsearch.measure.layout import LAYOUTS, Layout, dictionary
from simsearch.measure.model import CardError
from simsearch.measure.plane import Camera, Plane, fit_plane
from simsearch.measure.sharpness import edge_rise

Floats = NDArray[np.float64]

LEAST_MARKERS = 4
LEAST_SPREAD = 0.5
"""The markers seen must span this share of the area that all of them span."""
FLATTEST_VIEW = math.cos(math.radians(46))
"""Shortest over longest scale in the middle of the card; about the cosine of the tilt."""
MOST_OFF_MM = 0.6
"""Root mean square distance of the corners from where the plane puts them."""
MOST_RISE_MM = 1.4
"""Width of the blurred edge of a marker, from 10 to 90 in 100 of black to white."""
LEAST_PX_PER_MM = 2.5
MOST_SCALE_ERROR = 0.015
_LENS_MARKERS = 6  # with fewer, the bulge of the lens would be guessed from too little
_STRAY_MM = 2.5
NOT_FLAT = 0.003
"""Share of the scale that paper on a table may rise and fall by without the markers showing it:
a middle that stands 1 mm higher, seen from 30 cm."""


@dataclass(frozen=True, eq=False)
class CardView:
    """The card as one photo shows it.

    ``off_mm`` is the reprojection error (root mean square, mm on the card), ``scale_error`` how
    far off the scale may be, as a share: twice the standard error that leaving out each marker in
    turn gives (jackknife), the largest of several distances across the room, with NOT_FLAT.
    ``rise_mm`` is the width of a marker's blurred edge; ``px_per_mm`` the least scale in the
    middle of the room.
    """

    layout: Layout
    plane: Plane
    markers: tuple[int, ...]
    off_mm: float
    scale_error: float
    rise_mm: float
    px_per_mm: float
    camera: Camera


def find_card(photo: Image.Image) -> CardView:
    """Find the card in an upright RGB photo.

    Raises CardError with the reason "none", "two cards", "few markers", "oblique", "small",
    "blurred", "bent" or "unsure".
    """
    grey = np.asarray(photo.convert("L"))
    layout, seen = _markers(grey)
    seen = _without_strays(layout, seen)
    _check_spread(layout, seen)
    numbers = tuple(sorted(seen))
    pixels = np.stack([seen[n] for n in numbers])
    mm = np.stack([layout.markers[n].corners() for n in numbers])
    plane = _fitted(pixels, mm, photo.size)
    middle = _middle(layout)
    least, most = plane.pixels_per_mm(middle)
    off = plane.to_card(pixels.reshape(-1, 2)) - mm.reshape(-1, 2)
    view = CardView(
        layout, plane, numbers,
        off_mm=float(np.sqrt((off**2).sum(1).mean())),
        scale_error=_scale_error(layout, plane, pixels, mm),
        rise_mm=edge_rise(grey, plane, [layout.markers[n] for n in numbers]),
        px_per_mm=least,
        camera=plane.camera(),
    )  # fmt: skip
    _check(view, least / most)
    return view


def seen_markers(photo: Image.Image) -> int:
    """How many of the card's markers a photo shows; 0 where there is no card."""
    try:
        return len(_markers(np.asarray(photo.convert("L")))[1])
    except CardError:
        return 0


def _markers(grey: NDArray[np.uint8]) -> tuple[Layout, dict[int, Floats]]:
    """The markers of one card with their corners in pixels (4, 2), by number."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary(), settings).detectMarkers(grey)
    found = [] if numbers is None else [int(n) for n in np.asarray(numbers).ravel()]
    # The detector counts from the middle of the first pixel, everything here from its corner.
    places = [np.asarray(c, np.float64).reshape(4, 2) + 0.5 for c in corners]
    cards = []
    for layout in LAYOUTS.values():
        of_card = [(n, p) for n, p in zip(found, places, strict=True) if n in layout.markers]
        if len(of_card) > len(dict(of_card)):
            cards += [(layout, dict(of_card))] * 2
        elif len(of_card) >= 2:
            cards.append((layout, dict(of_card)))
    if not cards:
        raise CardError(
            "none", "No photo card is seen in the photo.",
            hint="Print one with: simsearch card CARD.pdf; lay the find on it, all markers in "
            "view and sharp.",
        )  # fmt: skip
    if len(cards) > 1:
        raise CardError(
            "two cards", "More than one photo card is seen in the photo.",
            hint="Leave only the card that the find lies on.",
        )  # fmt: skip
    return cards[0]


def _without_strays(layout: Layout, seen: dict[int, Floats]) -> dict[int, Floats]:
    """Without markers whose place agrees with no others: covered by half, or not of the card."""
    if len(seen) < LEAST_MARKERS:
        return seen
    pixels = np.concatenate(list(seen.values()))
    mm = np.concatenate([layout.markers[n].corners() for n in seen])
    _, good = cv2.findHomography(pixels, mm, cv2.RANSAC, _STRAY_MM, maxIters=500)
    if good is None:
        return {}
    rows = np.asarray(good).reshape(-1, 4)
    return {n: place for (n, place), row in zip(seen.items(), rows, strict=True) if row.all()}


def _check_spread(layout: Layout, seen: dict[int, Floats]) -> None:
    """Raise CardError where too little of the card is seen to say how it lies."""
    spread = 0.0
    if seen:
        spread = _span(layout, list(seen)) / _span(layout, list(layout.markers))
    if len(seen) >= LEAST_MARKERS and spread >= LEAST_SPREAD:
        return
    what = f"Only {len(seen)} of the card's {len(layout.markers)} markers can be used"
    if len(seen) >= LEAST_MARKERS:
        what += ", and they lie in one part of the card"
    raise CardError(
        "few markers", f"{what}; the scale would be guesswork.",
        hint="Take the photo again with the whole card in view, nothing on the markers, and no "
        "glare or hard shadow on them.",
    )  # fmt: skip


def _span(layout: Layout, numbers: list[int]) -> float:
    corners = np.concatenate([layout.markers[n].corners() for n in numbers]).astype(np.float32)
    return float(cv2.contourArea(cv2.convexHull(corners)))


def _fitted(pixels: Floats, mm: Floats, size: tuple[int, int]) -> Plane:
    lens = len(pixels) >= _LENS_MARKERS
    return fit_plane(pixels.reshape(-1, 2), mm.reshape(-1, 2), size, lens=lens)


def _scale_error(layout: Layout, plane: Plane, pixels: Floats, mm: Floats) -> float:
    """Twice the jackknife error of distances across the room, as a share, with NOT_FLAT."""
    ends = _crossings(layout)
    shown = plane.to_photo(ends.reshape(-1, 2))
    lengths = []
    for left_out in range(len(pixels)):
        others = np.arange(len(pixels)) != left_out
        moved = _fitted(pixels[others], mm[others], plane.size).to_card(shown).reshape(-1, 2, 2)
        lengths.append(np.linalg.norm(moved[:, 1] - moved[:, 0], axis=1))
    share = np.stack(lengths) / np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) - 1
    count = len(pixels)
    variance = (count - 1) / count * ((share - share.mean(0)) ** 2).sum(0)
    return math.hypot(2 * float(np.sqrt(variance).max()), NOT_FLAT)


def _crossings(layout: Layout) -> Floats:
    """Distances in the middle half of the room, where finds lie: ends (n, 2, 2) in mm."""
    room = layout.room
    middle, reach = _middle(layout), np.array([room.width, room.height]) / 4
    across = np.array([[1, 0], [0, 1], [1, 1], [1, -1]]) * reach
    return np.stack([middle - across, middle + across], 1)


def _middle(layout: Layout) -> Floats:
    room = layout.room
    return np.array([room.x + room.width / 2, room.y + room.height / 2])


def _check(view: CardView, flatness: float) -> None:
    """Raise CardError where a view of the card is too poor to measure in."""
    if flatness < FLATTEST_VIEW:
        raise CardError(
            "oblique", "The photo looks at the card too much from the side.",
            hint="Take it from straight above, or nearly.",
        )  # fmt: skip
    if view.px_per_mm < LEAST_PX_PER_MM:
        raise CardError(
            "small", f"The card is too small in the photo ({view.px_per_mm:.1f} pixels per mm).",
            hint="Go nearer, so that the card fills the photo, or use the camera's full size.",
        )  # fmt: skip
    if view.rise_mm > MOST_RISE_MM:
        raise CardError(
            "blurred", f"The photo is blurred: edges are {view.rise_mm:.1f} mm wide.",
            hint="Hold the camera still, let it focus on the card, and use more light.",
        )  # fmt: skip
    if view.off_mm > MOST_OFF_MM:
        raise CardError(
            "bent",
            f"The markers lie {view.off_mm:.1f} mm from where a flat card would have them.",
            hint="Lay the card flat on something hard; do not use a wide-angle or panorama mode.",
        )
    if view.scale_error > MOST_SCALE_ERROR:
        raise CardError(
            "unsure",
            f"The scale could be {100 * view.scale_error:.1f} in 100 off: the markers that are "
            "seen do not agree well enough.",
            hint="Take the photo again with all markers in view, the card flat, the photo sharp.",
        )
