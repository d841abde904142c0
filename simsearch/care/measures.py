"""Figures taken from the pixels of one photo: how sharp, how light, whether text lies over it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simsearch.care.lettering import letters_in_a_row

Floats = NDArray[np.float32]

_BLUR_WINDOW = 11  # the published method blurs again over eleven pixels
_CLIPPED = 252
_SIDE = 320


@dataclass(frozen=True)
class Measures:
    """What one photo's pixels say.

    ``longest`` is the longest side in pixels, no more than photos are read at. ``blur`` is
    between 0, sharp, and 1, and ``contrast`` the spread of grey levels. ``middle`` and ``light``
    are the grey levels that half and nearly all pixels stay below (0 to 255), ``clipped`` the
    share of the photo that is burnt out without touching its edge (a white ground is no fault),
    ``letters`` the most letter-like marks in one row.
    """

    longest: int
    blur: float
    contrast: float
    middle: float
    light: float
    clipped: float
    letters: int


def measures_of(photo: Image.Image) -> Measures:
    """Measure one upright RGB photo."""
    grey = np.asarray(photo.convert("L"))
    # Blur is measured at one size, or a photo from a better camera would count as less sharp.
    seen = shrunk(grey, _SIDE)
    return Measures(
        longest=max(photo.size),
        blur=blur_of(seen),
        contrast=float(seen.std()),
        middle=float(np.percentile(seen, 50)),
        light=float(np.percentile(seen, 95)),
        clipped=_burnt_out(seen),
        letters=letters_in_a_row(grey),
    )


def shrunk(grey: NDArray[np.uint8], longest: int) -> NDArray[np.uint8]:
    """Return a grey picture at no more than ``longest`` pixels a side."""
    factor = longest / max(grey.shape)
    if factor >= 1:
        return grey
    width, height = (max(1, round(side * factor)) for side in (grey.shape[1], grey.shape[0]))
    small = cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8)


def blur_of(grey: NDArray[np.uint8]) -> float:
    """Return how blurred a grey picture is, from 0 (sharp) to 1.

    The picture is blurred once more along each axis: what is sharp loses much of the difference
    between neighbouring pixels, what is blurred already loses little. After F. Crété, T.
    Dolmière, P. Ladret and M. Nicolas, "The blur effect: perception and estimation with a new
    no-reference perceptual blur metric", Proc. SPIE 6492 (2007).
    """
    picture = (grey / np.float32(255)).astype(np.float32)
    answers = []
    for axis in (0, 1):
        size = (1, _BLUR_WINDOW) if axis == 0 else (_BLUR_WINDOW, 1)
        again = np.asarray(cv2.blur(picture, size, borderType=cv2.BORDER_REFLECT), np.float32)
        before = np.abs(_edges(picture, axis))
        lost = np.maximum(0, before - np.abs(_edges(again, axis)))
        inside = np.s_[2:-1, 2:-1]
        total = float(before[inside].sum())
        if total > 0:
            answers.append((total - float(lost[inside].sum())) / total)
    return max(answers, default=1.0)


def _edges(picture: Floats, axis: int) -> Floats:
    """Differences along one axis, smoothed across it, as the published method takes them."""
    across, down = (0, 1) if axis == 0 else (1, 0)
    found = cv2.Sobel(picture, cv2.CV_32F, across, down, borderType=cv2.BORDER_REFLECT)
    return np.asarray(found, np.float32)


def _burnt_out(grey: NDArray[np.uint8]) -> float:
    """The share of the photo that is white and not joined to its edge."""
    _, names, stats, _ = cv2.connectedComponentsWithStats((grey >= _CLIPPED).astype(np.uint8))
    edge = np.unique(np.concatenate([names[0], names[-1], names[:, 0], names[:, -1]]))
    inside = [n for n in range(1, len(stats)) if n not in set(edge.tolist())]
    return float(sum(stats[n, cv2.CC_STAT_AREA] for n in inside)) / grey.size
