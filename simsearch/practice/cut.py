"""Breaking a photographed object for practice: find it on its plain ground, break off a part.

Only the object's own pixels are kept, laid on a plain ground of the photo's own colour, and what
is made is always called "cut for practice".
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

Mask = NDArray[np.bool_]
_RING = 0.03  # of the shorter side: the ground is judged by this border
_LEAST, _MOST = 0.01, 0.8  # share of the photo that an object may cover
_TOUCHING = 0.08  # share of the border that it may touch
_CLEAR = 3.0  # how many times the ground's own unevenness it must stand out
_TILT = np.radians(15)
_ROUGH = 0.06  # of the object's length: how far a jagged break strays
_MARGIN = 0.15
_GLEAM = 0.02  # of the object's area


@dataclass(frozen=True)
class Cut:
    """A fragment: its picture, and the share of the object's area that is left of it."""

    picture: Image.Image
    kept: float


def find_object(photo: Image.Image) -> Mask | None:
    """Where the object is: bool (height, width), or ``None`` when the ground is too busy to tell.

    The ground may shade evenly from side to side.
    """
    pixels = np.asarray(photo.convert("RGB"))
    lab = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB).astype(np.float32)
    height, width = lab.shape[:2]
    ring = np.ones((height, width), bool)
    edge = max(2, round(_RING * min(height, width)))
    if min(height, width) < 8 * edge:
        return None
    ring[edge:-edge, edge:-edge] = False
    away = _away_from_ground(lab, ring)
    noise = float(np.percentile(away[ring], 90))
    scaled = np.clip(away / max(float(away.max()), 1e-6) * 255, 0, 255).astype(np.uint8)
    otsu, _ = cv2.threshold(scaled, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    threshold = max(0.7 * otsu / 255 * float(away.max()), 1.5 * noise, 2.0)
    found = cv2.morphologyEx(
        (away > threshold).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)
    )
    mask = _large_pieces(found > 0)
    share, touching = float(mask.mean()), float(mask[ring].mean())
    if not _LEAST <= share <= _MOST or touching > _TOUCHING:
        return None
    return mask if float(away[mask].mean()) >= _CLEAR * max(noise, 0.5) else None


def _away_from_ground(lab: NDArray[np.float32], ring: Mask) -> NDArray[np.float32]:
    """How far each pixel is from a ground whose colour is a plane fitted to the border."""
    height, width = ring.shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    plane = np.stack([x / width, y / height, np.ones_like(x)], axis=-1)
    rows, colours = plane[ring], lab[ring]
    sure = np.ones(len(rows), bool)
    for _ in range(2):  # once with all, once without what of the object reaches the border
        fit, *_ = np.linalg.lstsq(rows[sure], colours[sure], rcond=None)
        off = np.linalg.norm(colours - rows @ fit, axis=1)
        sure = off <= np.percentile(off, 85)
    # Light and shade differ more than colour does, and a shadow is no part of the object.
    away = (lab - plane @ fit) * np.array([0.7, 1.4, 1.4], np.float32)
    smooth = cv2.GaussianBlur(away.astype(np.float32), (0, 0), 1.0)
    return np.linalg.norm(smooth, axis=2).astype(np.float32)


def _large_pieces(found: Mask) -> Mask:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        found.astype(np.uint8), connectivity=8
    )
    if count < 2:
        return np.zeros(found.shape, bool)
    areas = stats[1:, cv2.CC_STAT_AREA]
    large = 1 + np.flatnonzero(areas * 10 >= areas.max())
    pieces = np.isin(labels, large)
    # A gleam as bright as the ground leaves a small hole; the hole of a ring is larger.
    _, holes, sizes, _ = cv2.connectedComponentsWithStats(
        (~pieces).astype(np.uint8), connectivity=4
    )
    small = np.flatnonzero(sizes[:, cv2.CC_STAT_AREA] <= _GLEAM * pieces.sum())
    return pieces | np.isin(holes, small)


def break_off(
    photo: Image.Image, mask: Mask, kept: float, rng: np.random.Generator, *, jagged: bool
) -> Cut:
    """Leave about ``kept`` (0..1) of the object's area, broken across its length.

    The break is a straight line, or a jagged one. Pieces that it cuts loose are lost as well.
    """
    y, x = np.nonzero(mask)
    spots = np.stack([x, y], axis=1).astype(np.float64)
    middle = spots.mean(axis=0)
    values, vectors = np.linalg.eigh(np.cov((spots - middle).T))
    angle = np.arctan2(*vectors[::-1, int(np.argmax(values))]) + rng.normal(0, _TILT)
    angle += np.pi * rng.integers(2)  # either end may be the one that is left
    along = (spots - middle) @ np.array([np.cos(angle), np.sin(angle)])
    across = (spots - middle) @ np.array([-np.sin(angle), np.cos(angle)])
    place = along + (_jagged(across, float(np.ptp(along)), rng) if jagged else 0.0)
    stays = place <= np.quantile(place, kept)
    left = np.zeros(mask.shape, np.uint8)
    left[y[stays], x[stays]] = 1
    _, labels, stats, _ = cv2.connectedComponentsWithStats(left, connectivity=8)
    largest = labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return Cut(_on_plain_ground(photo, mask, largest), float(largest.sum() / mask.sum()))


def _jagged(across: NDArray[np.float64], length: float, rng: np.random.Generator) -> NDArray:
    """A broken line over ``across``: the midpoints of ever shorter parts are moved."""
    heights, rough = rng.normal(0, _ROUGH * length, 2), _ROUGH * length
    for _ in range(5):
        rough *= 0.65
        between = (heights[:-1] + heights[1:]) / 2 + rng.normal(0, rough, len(heights) - 1)
        heights = np.insert(heights, np.arange(1, len(heights)), between)
    ends = np.linspace(across.min(), across.max(), len(heights))
    return np.interp(across, ends, heights)


def _on_plain_ground(photo: Image.Image, mask: Mask, left: Mask) -> Image.Image:
    pixels = np.asarray(photo.convert("RGB")).astype(np.float32)
    ground = np.median(pixels[~mask], axis=0) if (~mask).any() else np.full(3, 200.0)
    soft = cv2.GaussianBlur(left.astype(np.float32), (0, 0), 0.8)
    # Softened inwards only: no pixel of what was broken off may show.
    soft = np.where(left, np.clip(2 * soft - 1, 0.0, 1.0) ** 0.5, 0.0)[..., None]
    made = Image.fromarray((pixels * soft + ground * (1 - soft)).round().astype(np.uint8))
    rows, columns = np.nonzero(left)
    side = max(float(np.ptp(rows)), float(np.ptp(columns)), 8.0) * (1 + 2 * _MARGIN)
    centre = (float(columns.min() + columns.max()) / 2, float(rows.min() + rows.max()) / 2)
    box = [round(centre[i % 2] + (-side / 2 if i < 2 else side / 2)) for i in range(4)]
    plain = Image.new("RGB", (box[2] - box[0], box[3] - box[1]), tuple(map(round, ground.tolist())))
    plain.paste(made, (-box[0], -box[1]))
    return plain
