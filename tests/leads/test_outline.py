"""Outlines of masks, with scikit-image as the oracle."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.measure import find_contours, points_in_poly

from simsearch.leads.outline import area_of, outline


def disc(side: int, radius: float, x: float, y: float) -> np.ndarray:
    rows, cols = np.mgrid[0:side, 0:side] + 0.5
    return (np.hypot(cols - x, rows - y) <= radius).astype(np.float32)


def test_a_disc_has_one_line_with_the_area_and_place_another_library_finds() -> None:
    mask = disc(48, 14, 20, 27)
    (line,) = outline(mask)
    (contour,) = find_contours(mask, 0.5)
    theirs = contour[:, ::-1] + 0.5  # pixel middles at whole numbers there
    assert abs(area_of(line)) * 48**2 == pytest.approx(abs(area_of(theirs)), rel=0.03)
    assert line.mean(axis=0) * 48 == pytest.approx([20, 27], abs=0.3)
    assert np.hypot(*(line * 48 - [20, 27]).T) == pytest.approx(14, abs=0.8)


def test_a_ring_has_a_line_outside_and_one_inside() -> None:
    ring = disc(48, 18, 24, 24) - disc(48, 9, 24, 24)
    outer, inner = outline(ring)
    assert abs(area_of(outer)) > abs(area_of(inner))
    assert np.sign(area_of(outer)) != np.sign(area_of(inner))
    assert points_in_poly(inner, outer).all()


def test_specks_are_left_out_and_large_pieces_kept() -> None:
    two = np.maximum(disc(48, 10, 12, 12), disc(48, 6, 36, 36))
    two[45, 3] = 1
    assert len(outline(two)) == 2


def test_masks_that_touch_the_edge_meet_in_a_corner_or_are_empty() -> None:
    assert outline(np.zeros((5, 5), np.float32)) == []
    (full,) = outline(np.ones((4, 8), np.float32))
    assert full.min() >= 0
    assert full.max() <= 1
    assert abs(area_of(full)) == pytest.approx(1, abs=0.05)
    checkers = np.array([[1, 0], [0, 1]], np.float32)
    assert sum(abs(area_of(line)) for line in outline(checkers)) > 0
    assert outline(np.full((3, 3), np.nan, np.float32)) == []


def test_a_slighter_second_object_is_not_part_of_the_find() -> None:
    two = np.maximum(disc(48, 12, 16, 16), disc(48, 4, 40, 40))
    (line,) = outline(two)
    assert line.max() < 0.65
