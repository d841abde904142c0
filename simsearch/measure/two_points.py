"""A scale from two points that someone clicked: the ends of a scale bar, or across a coin.

One known distance gives a scale along one line and nothing about how the camera was tilted. So
the tilt is not corrected, and an allowance for it is part of every error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from PIL import Image

from simsearch.measure.model import MeasureError, Measurement, Term, together
from simsearch.measure.outline import FindsObjects, likelihood
from simsearch.measure.sizes import sizes_of

Point = tuple[float, float]

TILT_ALLOWED = 15.0
"""Degrees from straight above that a careful photo by hand may be off; what lies along the tilt
then looks shorter by 1 - cos, 3.4 in 100."""
LEAST_APART = 20.0
"""Two clicked points nearer than this (pixels) give no usable scale."""
CLICK_PX = 1.5
"""How far off a click is, at least; in a large photo that was shown small, 1 in 800 of a side."""
_HEIGHT_SHARE = 0.01  # scale and find seldom lie equally high; 3 mm at 30 cm
_MASK_SHARE = 0.04  # of the length: the encoder's outline is 48 cells wide


@dataclass(frozen=True)
class TwoPointScale:
    """``mm_per_px`` with ``error``, the share that it may be off; ``how`` says it in words."""

    mm_per_px: float
    error: float
    how: str


def two_point_scale(size: tuple[int, int], first: Point, second: Point, mm: float) -> TwoPointScale:
    """The scale of a photo of ``size`` (width, height) from two points that lie ``mm`` apart.

    Points are x, y in pixels from the left upper corner: marks of a scale bar, or opposite points
    of a coin's rim and its known diameter. Raises MeasureError for points outside the photo or
    too near to each other, and for a distance that cannot be.
    """
    if not (math.isfinite(mm) and 0.5 <= mm <= 1000):
        raise MeasureError(
            f"Two points cannot be {mm!r} mm apart here.",
            hint="Give the distance in mm, 0.5 to 1000.",
        )
    _check_inside(size, (first, second))
    apart = math.dist(first, second)
    if apart < LEAST_APART:
        raise MeasureError(
            f"The two points are only {apart:.0f} pixels apart.",
            hint="Choose marks that lie farther apart, or a larger photo.",
        )
    click = click_error(size) * math.sqrt(2) / apart
    error = together([click, 1 - math.cos(math.radians(TILT_ALLOWED)), _HEIGHT_SHARE])
    how = (
        f"two points {mm:g} mm apart; the camera's tilt cannot be corrected this way, so up to "
        f"{TILT_ALLOWED:.0f} degrees of it are allowed for in the error"
    )
    return TwoPointScale(mm / apart, error, how)


def measure_between(
    size: tuple[int, int], scale: TwoPointScale, first: Point, second: Point
) -> Measurement:
    """The length between two more clicked points, the ends of the find."""
    _check_inside(size, (first, second))
    apart = math.dist(first, second)
    if apart < 2:
        raise MeasureError(
            "The ends of the find are the same point.", hint="Click one end, then the other."
        )
    length = apart * scale.mm_per_px
    terms = (
        Term("scale", scale.error * length, "clicks on the scale, tilt, different heights"),
        Term(
            "ends", click_error(size) * math.sqrt(2) * scale.mm_per_px, "clicks on the find's ends"
        ),
    )
    how = f"{scale.how}; the find's ends were clicked"
    error = together(term.mm for term in terms)
    return Measurement(length, error, None, None, None, None, scale.mm_per_px, how, terms)


def measure_outline(photo: Image.Image, scale: TwoPointScale, encoder: FindsObjects) -> Measurement:
    """Length, width and area of the find as the encoder sees it, which is roughly.

    Raises MeasureError when the encoder sees no object or one that leaves the photo.
    """
    mask = likelihood(photo, encoder) > 0.5
    if mask.sum() < 100:
        raise MeasureError(
            "No object is found in the photo.", hint="Click the ends of the find instead: --ends."
        )
    if mask[0].any() or mask[-1].any() or mask[:, 0].any() or mask[:, -1].any():
        raise MeasureError(
            "The object seems to go beyond the photo.",
            hint="Click the ends of the find instead: --ends.",
        )
    sizes = sizes_of(mask, 1 / scale.mm_per_px)
    edge = max(_MASK_SHARE * sizes.length, 2 * scale.mm_per_px)
    terms = (
        Term("scale", scale.error * sizes.length, "clicks on the scale, tilt, different heights"),
        Term("edge", edge, "the encoder's outline is coarse"),
    )
    area_error = together([2 * scale.error * sizes.area, edge / 2 * sizes.perimeter])
    return Measurement(
        sizes.length, together(term.mm for term in terms),
        sizes.box[1], together([scale.error * sizes.box[1], edge]),
        sizes.area, area_error, scale.mm_per_px,
        f"{scale.how}; the outline is the encoder's, a rough one", terms,
    )  # fmt: skip


def click_error(size: tuple[int, int]) -> float:
    """How far off a click may be, in pixels of the photo."""
    return max(CLICK_PX, max(size) / 800)


def _check_inside(size: tuple[int, int], points: tuple[Point, ...]) -> None:
    for x, y in points:
        if not (0 <= x <= size[0] and 0 <= y <= size[1]):
            raise MeasureError(
                f"The point {x:g},{y:g} is outside the photo ({size[0]} x {size[1]} pixels).",
                hint="Give x,y in pixels from the left upper corner.",
            )
