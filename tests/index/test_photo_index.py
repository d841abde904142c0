"""Exact search, shapes, and what counts as stale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from simsearch.encode.framing import Square
from simsearch.errors import StaleIndexError
from simsearch.index import PhotoIndex
from simsearch.index.build import squares_of
from tests.tiny_set import GridEncoder


def unit(rng: np.random.Generator, *shape: int) -> NDArray[np.float32]:
    rows = rng.normal(size=shape)
    return (rows / np.linalg.norm(rows, axis=-1, keepdims=True)).astype(np.float32)


def index_of(vectors: NDArray[np.float32], /, **changes: object) -> PhotoIndex:
    count = len(vectors)
    values: dict[str, object] = {
        "vectors": vectors,
        "photo_ids": tuple(f"p{number}" for number in range(count)),
        "sha256": ("0" * 64,) * count,
        "encoder_name": "grid",
        "encoder_fingerprint": "f" * 64,
    }
    return PhotoIndex(**(values | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(("count", "dim", "k"), [(1, 1, 1), (7, 3, 5), (500, 64, 10), (90, 8, 90)])
def test_search_equals_brute_force(count: int, dim: int, k: int) -> None:
    rng = np.random.default_rng(count)
    vectors, queries = unit(rng, count, dim), unit(rng, 6, dim)
    scores, positions = index_of(vectors).search(queries, k)
    every = queries @ vectors.T
    assert scores.shape == positions.shape == (6, k)
    np.testing.assert_allclose(scores, -np.sort(-every, axis=1)[:, :k], atol=1e-5)
    # Positions are compared through their scores, since equal scores may stand in any order.
    np.testing.assert_allclose(np.take_along_axis(every, positions, axis=1), scores, atol=1e-5)
    assert all(len(set(row)) == k for row in positions.tolist())


def test_every_similarity_stands_at_its_photo() -> None:
    rng = np.random.default_rng(3)
    vectors, queries = unit(rng, 40, 16), unit(rng, 5, 16)
    np.testing.assert_allclose(
        index_of(vectors).similarities(queries), queries @ vectors.T, atol=1e-5
    )


def test_k_is_cut_to_the_number_of_photos() -> None:
    vectors = unit(np.random.default_rng(0), 3, 4)
    scores, positions = index_of(vectors).search(vectors[:1], 50)
    assert scores.shape == (1, 3)
    assert sorted(positions[0]) == [0, 1, 2]
    assert positions[0, 0] == 0


@pytest.mark.parametrize("shape", [(4,), (1, 5), (1, 4, 1)])
def test_queries_of_another_shape_are_refused(shape: tuple[int, ...]) -> None:
    index = index_of(unit(np.random.default_rng(0), 3, 4))
    with pytest.raises(ValueError, match="this index needs"):
        index.search(np.ones(shape, np.float32), 1)


def test_asking_for_no_photo_is_refused() -> None:
    index = index_of(unit(np.random.default_rng(0), 3, 4))
    with pytest.raises(ValueError, match="k is 0"):
        index.search(np.ones((1, 4), np.float32), 0)


VECTORS = unit(np.random.default_rng(0), 3, 4)
PATCHES = np.ones((3, 2, 2, 4), np.int8)
SCALES = np.ones(3, np.float32)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"vectors": VECTORS.astype(np.float64)}, "float32"),
        ({"vectors": VECTORS[0]}, "float32"),
        ({"vectors": VECTORS * 2}, "unit length"),
        ({"vectors": np.full((3, 4), np.nan, np.float32)}, "unit length"),
        ({"photo_ids": ("a", "b")}, "2 photo ids"),
        ({"photo_ids": ("a", "b", "a")}, "repeated"),
        ({"sha256": ("0",)}, "1 hashes"),
        ({"patches": PATCHES}, "together"),
        ({"patch_scales": SCALES}, "together"),
        ({"patches": PATCHES[:2], "patch_scales": SCALES}, "patches are"),
        ({"patches": PATCHES.astype(np.float32), "patch_scales": SCALES}, "patches are"),
        ({"patches": PATCHES, "patch_scales": SCALES[:2]}, "patch scales are"),
        ({"patches": PATCHES, "patch_scales": SCALES * np.inf}, "not finite"),
        ({"squares": np.ones((3, 3), np.float32)}, "squares are"),
        ({"squares": np.ones((3, 4), np.float32)}, "no area"),
        ({"squares": np.full((3, 4), np.nan, np.float32)}, "not finite"),
    ],
)
def test_parts_that_do_not_fit_are_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        index_of(VECTORS, **changes)


def test_another_encoder_is_told_apart_by_its_fingerprint() -> None:
    index = index_of(VECTORS)
    index.require_encoder(GridEncoder(name="renamed"), "a set")
    with pytest.raises(StaleIndexError, match="cannot be compared") as caught:
        index.require_encoder(GridEncoder(fingerprint="e" * 64), "a set")
    assert 'simsearch index "a set"' in caught.value.hint


def test_photos_that_differ_are_counted() -> None:
    index = index_of(VECTORS)
    index.require_photos([("p2", "0" * 64), ("p1", "0" * 64), ("p0", "0" * 64)], "set")
    with pytest.raises(StaleIndexError, match="1 new, 2 removed, 1 changed"):
        index.require_photos([("p0", "1" * 64), ("new", "0" * 64)], "set")


def test_patches_are_read_back_as_numbers() -> None:
    scales = np.array([1.0, 0.5, 2.0], np.float32)
    index = index_of(VECTORS, patches=PATCHES, patch_scales=scales)
    np.testing.assert_array_equal(index.patches_at(1), np.full((2, 2, 4), 0.5))
    with pytest.raises(ValueError, match="no patches"):
        index_of(VECTORS).patches_at(0)


def test_patches_of_several_photos_come_in_the_order_asked_for() -> None:
    stored = np.arange(3 * 2 * 2 * 4).reshape(3, 2, 2, 4).astype(np.int8)
    scales = np.array([1.0, 0.5, 2.0], np.float32)
    index = index_of(VECTORS, patches=stored, patch_scales=scales)
    read = index.patches_of([2, 0, 2])
    assert read.dtype == np.float32
    for row, position in zip(read, (2, 0, 2), strict=True):
        np.testing.assert_array_equal(row, stored[position] * scales[position])
    assert index.patches_of([]).shape == (0, 2, 2, 4)
    with pytest.raises(ValueError, match="no patches"):
        index_of(VECTORS).patches_of([0])


class _Finder(GridEncoder):
    """An encoder that looks at a square in the left upper quarter of each photo."""

    def squares(self, photos: Sequence[Image.Image]) -> list[Square]:
        return [Square(p.width / 4, p.height / 4, p.height / 2) for p in photos]


def test_squares_are_fractions_of_the_photo() -> None:
    wide = Image.new("RGB", (80, 40))
    np.testing.assert_allclose(squares_of([wide], _Finder()), [[0.125, 0, 0.375, 0.5]])
    # Padded to a square of 80 x 80, which reaches half the photo's height beyond it.
    np.testing.assert_allclose(squares_of([wide], GridEncoder()), [[0, -0.5, 1, 1.5]])
    assert squares_of([], GridEncoder()).shape == (0, 4)
