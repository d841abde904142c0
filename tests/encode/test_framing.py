"""Cutting squares out of photos, and finding the piece of a mask that is the object."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage  # type: ignore[import-untyped]

from simsearch.encode.framing import (
    FILL,
    LEAST_SHARE,
    Square,
    border_colour,
    cut,
    largest_piece,
    square_around,
    whole,
)

GROUND = (90, 110, 130)


def _photo(width: int, height: int, dot: tuple[int, int] | None = None) -> Image.Image:
    """A plain photo with a white dot of 5 x 5 pixels around the middle of one pixel."""
    pixels = np.empty((height, width, 3), np.uint8)
    pixels[:] = GROUND
    if dot:
        x, y = dot
        pixels[y - 2 : y + 3, x - 2 : x + 3] = 255
    return Image.fromarray(pixels)


def _bright(picture: Image.Image) -> tuple[float, float]:
    """Middle of what is bright, in pixels from the left upper corner."""
    rows, cols = np.nonzero(np.asarray(picture)[..., 0] > 170)
    return float(cols.mean() + 0.5), float(rows.mean() + 0.5)


# ---- cut ------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("size", "square"),
    [
        ((100, 60), Square(70, 30, 50)),  # inside
        ((100, 60), Square(90, 30, 60)),  # beyond the right
        ((100, 60), Square(70, 45, 90)),  # beyond top, bottom and right
        ((100, 60), Square(50, 30, 100)),  # the whole photo
        ((60, 100), Square(50, 20, 70)),  # beyond top and right of an upright photo
        ((100, 60), Square(71.3, 28.9, 77.7)),  # between the pixels
    ],
)
def test_a_dot_lands_where_it_should(size: tuple[int, int], square: Square) -> None:
    dot = (55, 25) if size == (60, 100) else (75, 28)
    picture = cut(_photo(*size, dot), square, 120)
    assert picture.size == (120, 120) and picture.mode == "RGB"
    scale = 120 / square.side
    x = (dot[0] + 0.5 - (square.x - square.side / 2)) * scale
    y = (dot[1] + 0.5 - (square.y - square.side / 2)) * scale
    assert _bright(picture) == pytest.approx((x, y), abs=0.8)


def test_beyond_the_photo_lies_the_colour_of_its_border() -> None:
    pixels = np.asarray(_photo(80, 80)).copy()
    pixels[20:60, 20:60] = (250, 20, 20)
    picture = np.asarray(cut(Image.fromarray(pixels), Square(80, 0, 100), 100))
    outside = np.ones((100, 100), bool)
    outside[50:, :50] = False
    assert (np.abs(picture[outside].astype(int) - GROUND) <= 2).all()
    assert (picture[~outside][:, 0] > 200).any()


def test_the_border_colour_is_that_of_most_of_the_border() -> None:
    pixels = np.asarray(_photo(64, 64)).copy()
    pixels[8:56, 8:56] = 255
    pixels[:8, :20] = 0  # a dark corner
    assert border_colour(Image.fromarray(pixels)) == pytest.approx(GROUND, abs=2)


@pytest.mark.parametrize("size", [(1, 1), (1, 200), (300, 2), (640, 480)])
def test_whole_photos_of_any_shape_can_be_cut(size: tuple[int, int]) -> None:
    photo = _photo(*size)
    square = whole(photo)
    assert square == Square(size[0] / 2, size[1] / 2, max(size))
    picture = np.asarray(cut(photo, square, 64)).astype(int)
    assert picture.shape == (64, 64, 3) and (np.abs(picture - GROUND) <= 2).all()


# ---- the mask's largest piece ---------------------------------------------------------------
def _expected(body: np.ndarray) -> np.ndarray:
    """The same by scipy's labelling, corners touching."""
    label, count = ndimage.label(body, structure=np.ones((3, 3)))
    areas = ndimage.sum_labels(body, label, np.arange(1, count + 1))
    keep = [i + 1 for i, area in enumerate(areas) if area * 4 >= areas.max()]
    return np.isin(label, keep)


@pytest.mark.parametrize("share", [0.05, 0.2, 0.35, 0.5, 0.9])
@pytest.mark.parametrize("seed", range(4))
def test_largest_piece_is_that_of_scipy(share: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    body = rng.random((24, 31)) < share
    smooth = ndimage.uniform_filter(rng.random((40, 40)), 5) < np.quantile(rng.random(9), share)
    for mask in (body, smooth):
        np.testing.assert_array_equal(largest_piece(mask), _expected(mask))


def test_pieces_kept_are_a_quarter_of_the_largest_at_least() -> None:
    body = np.zeros((20, 20), bool)
    body[1:9, 1:9] = True  # 64
    body[12:16, 12:16] = True  # 16, just enough
    body[12:15, 1:6] = True  # 15, too slight
    found = largest_piece(body)
    assert found[1:9, 1:9].all() and found[12:16, 12:16].all() and not found[12:15, 1:6].any()


def test_a_winding_piece_is_one_piece() -> None:
    body = np.zeros((21, 21), bool)
    body[::2] = True
    body[1::4, -1] = True
    body[3::4, 0] = True
    assert largest_piece(body).sum() == body.sum()


def test_nothing_stays_nothing() -> None:
    assert not largest_piece(np.zeros((6, 6), bool)).any()


# ---- the square around it -------------------------------------------------------------------
def _mask(rows: slice, cols: slice, side: int = 48) -> np.ndarray:
    mask = np.full((side, side), 0.1, np.float32)
    mask[rows, cols] = 0.9
    return mask


def test_the_object_spans_its_share_of_the_square() -> None:
    found = square_around(_mask(slice(18, 30), slice(20, 26)), Square(240, 240, 480))
    assert found is not None
    assert found.side == pytest.approx(12 * 10 / FILL)
    assert (found.x, found.y) == pytest.approx((230, 240))


def test_the_square_is_in_the_photo_and_not_in_the_mask() -> None:
    # The whole of a wide photo: the square seen begins 100 pixels above it.
    found = square_around(_mask(slice(20, 28), slice(20, 28)), Square(200, 100, 400))
    assert found is not None and (found.x, found.y) == pytest.approx((200, 100))


@pytest.mark.parametrize("corner", [slice(0, 20), slice(28, 48)])
def test_the_square_holds_the_object_and_stays_within_what_was_seen(corner: slice) -> None:
    seen = Square(100, 100, 200)
    found = square_around(_mask(corner, corner), seen)
    assert found is not None
    cell = 200 / 48
    low, high = corner.start * cell, corner.stop * cell
    slack = 1e-6
    for middle in (found.x, found.y):
        assert middle - found.side / 2 <= low + slack and middle + found.side / 2 >= high - slack
        assert middle - found.side / 2 >= -slack and middle + found.side / 2 <= 200 + slack


def test_specks_and_doubts_are_no_object() -> None:
    seen = Square(50, 50, 100)
    assert square_around(np.zeros((48, 48), np.float32), seen) is None
    assert square_around(np.full((48, 48), 0.49, np.float32), seen) is None
    side = int(np.sqrt(LEAST_SHARE) * 48)
    assert square_around(_mask(slice(9, 9 + side), slice(9, 9 + side)), seen) is None
    assert square_around(_mask(slice(9, 11 + side), slice(9, 11 + side)), seen) is not None
