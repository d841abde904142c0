"""Pieces of masks, against scipy's labelling."""

from __future__ import annotations

import numpy as np
import pytest
import torch
from scipy import ndimage

from simsearch.synthetic.pieces import biggest, labels, one_piece

CORNERS = np.ones((3, 3), int)


def _spiral(size: int) -> np.ndarray:
    """One long winding piece: the hardest thing for labels that travel."""
    mask = np.zeros((size, size), bool)
    turns = np.linspace(0, 10 * np.pi, 6000)
    r = size * 0.48 * turns / turns.max()
    rows = (size / 2 + r * np.sin(turns)).astype(int).clip(0, size - 1)
    cols = (size / 2 + r * np.cos(turns)).astype(int).clip(0, size - 1)
    mask[rows, cols] = True
    return mask


def _masks() -> torch.Tensor:
    rng = np.random.default_rng(0)
    noise = [rng.random((48, 48)) < share for share in (0.1, 0.25, 0.35, 0.45, 0.8)]
    comb = np.zeros((48, 48), bool)
    comb[:, ::2] = True
    comb[0] = True
    empty = np.zeros((48, 48), bool)
    return torch.from_numpy(np.stack([*noise, _spiral(48), comb, comb[::-1], empty]))


def test_labels_tell_the_pieces_that_scipy_tells() -> None:
    masks = _masks()
    for mask, label in zip(masks.numpy(), labels(masks).reshape(masks.shape).numpy(), strict=True):
        expected, number = ndimage.label(mask, CORNERS)
        pairs = set(zip(expected.ravel().tolist(), label.ravel().tolist(), strict=True))
        assert len(pairs) == number + (not mask.all())
        assert ((label == 0) == ~mask).all()


def test_the_biggest_piece_is_that_of_scipy() -> None:
    masks = _masks()
    piece, number = biggest(masks, masks.float())
    for mask, found, pixels in zip(masks.numpy(), piece.numpy(), number.tolist(), strict=True):
        expected, _ = ndimage.label(mask, CORNERS)
        sizes = np.bincount(expected.ravel())[1:]
        assert pixels == (sizes.max() if len(sizes) else 0) == found.sum()
        assert ndimage.label(found, CORNERS)[1] == (1 if len(sizes) else 0)


@pytest.mark.parametrize(("gap", "stays"), [(1, True), (3, True), (9, False)])
def test_a_gap_of_a_few_pixels_does_not_part_a_thing(gap: int, stays: bool) -> None:
    mask = torch.zeros(1, 64, 64, dtype=torch.bool)
    mask[:, 10:20, 5:30] = True
    mask[:, 10:20, 30 + gap : 50] = True
    left = one_piece(mask)
    assert bool(left[0, 15, 45]) == stays and bool(left[0, 15, 10])
