"""Marks in a row that look like letters: a name, a date or a watermark over a photo.

A rule of thumb, not reading: small marks of about one height, side by side on one line, lighter
or darker than what lies around them. A label or the figures of a scale beside the find look
just the same, and are as good a reason to look; faint or slanting watermarks are not seen.
"""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
_Box = tuple[int, int, int, int]  # left, top, width, height

_LEAST_STEP = 18  # grey levels between a mark and what lies around it
_LOWEST, _HIGHEST = 6, 40  # heights of letters in pixels


def letters_in_a_row(grey: Bytes) -> int:
    """Return how many letter-like marks stand in the longest row of a grey picture."""
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (15, 15))
    most = 0
    for how in (cv2.MORPH_TOPHAT, cv2.MORPH_BLACKHAT):
        standing_out = cv2.morphologyEx(grey, how, kernel)
        marks = (standing_out > _LEAST_STEP).astype(np.uint8)
        _, _, stats, _ = cv2.connectedComponentsWithStats(marks)
        kept = [[int(n) for n in row[:4]] for row in stats[1:] if _is_letter(row)]
        boxes = [(left, top, width, height) for left, top, width, height in kept]
        most = max(most, _longest_row(boxes))
    return most


def _is_letter(stats: NDArray[np.int32]) -> bool:
    _, _, width, height, area = (int(n) for n in stats)
    if not _LOWEST <= height <= _HIGHEST or not 0.12 * height <= width <= 1.6 * height:
        return False
    return 0.2 <= area / (width * height) <= 0.95


def _longest_row(boxes: list[_Box]) -> int:
    """The longest chain of marks of one height on one line, each close to the next."""
    most = 0
    for height in range(_LOWEST, _HIGHEST + 1, 2):
        alike = sorted(box for box in boxes if 0.7 * height <= box[3] <= 1.35 * height)
        for line in {box[1] + box[3] for box in alike}:
            on_line = [box for box in alike if abs(box[1] + box[3] - line) <= 0.12 * height + 1]
            most = max(most, _longest_chain(on_line, height))
    return most


def _longest_chain(boxes: list[_Box], height: int) -> int:
    most = run = 1 if boxes else 0
    for before, after in pairwise(boxes):
        gap = after[0] - (before[0] + before[2])
        run = run + 1 if -0.2 * height <= gap <= 1.2 * height else 1
        most = max(most, run)
    return most
