"""Rows of features per type, with an invented way of placing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from simsearch.index import PhotoIndex
from simsearch.leads.features import (
    COMBINATIONS,
    PHOTOS_PLACED,
    combine_features,
    features_of,
    fused,
    patch_scores,
    photos_to_place,
)
from simsearch.leads.grouping import PhotoGroups
from simsearch.leads.left_out import features_with_and_without
from simsearch.leads.placing import Placed

NO_PAIRS = np.zeros((0, 4), np.float32)
LABELS = [(name, f"{name}{copy // 2}") for name in "abcd" for copy in range(4)]
GROUPS = PhotoGroups.of(LABELS)


def small_index(with_patches: bool = True) -> PhotoIndex:
    rng = np.random.default_rng(0)
    vectors = rng.normal(size=(16, 8)).astype(np.float32)
    patches = np.zeros((16, 2, 2, 4), np.int8)
    patches[:, 0, 0, 0] = np.arange(16)
    return PhotoIndex(
        vectors=vectors / np.linalg.norm(vectors, axis=1, keepdims=True),
        photo_ids=tuple(f"p{n}" for n in range(16)),
        sha256=("0" * 64,) * 16,
        encoder_name="grid",
        encoder_fingerprint="f" * 64,
        patches=patches if with_patches else None,
        patch_scales=np.ones(16, np.float32) if with_patches else None,
    )


def placed(agreement: float) -> Placed:
    return Placed(agreement, 1.0, 0.0, (0.0, 0.0), 1.0, NO_PAIRS)


class Counting:
    """Places by the number that stands in the first patch, and remembers what was asked for."""

    def __init__(self) -> None:
        self.asked: list[list[int]] = []

    def __call__(self, query: np.ndarray, references: np.ndarray) -> Sequence[Placed]:
        numbers = references[:, 0, 0, 0]
        self.asked.append([int(number) for number in numbers])
        return [placed(float(number) / 100) for number in numbers]


FIND = small_index().vectors[:1] * 0.9
GRID = np.zeros((1, 2, 2, 4), np.float32)


def test_columns_are_vector_and_patches() -> None:
    index, place = small_index(), Counting()
    found = features_of(index, GROUPS, FIND, GRID, place=place)
    assert found.values.shape == (1, 4, 2)
    np.testing.assert_allclose(
        found.values[0, :, 0], GROUPS.type_scores(index.similarities(FIND))[0], rtol=1e-6
    )
    # Each type: the nearest photo of each of its two specimens, and the mean of their numbers.
    similar = index.similarities(FIND)[0]
    for number in range(4):
        nearest = [
            max(range(start, start + 2), key=lambda p: similar[p])
            for start in (4 * number, 4 * number + 2)
        ]
        assert found.values[0, number, 1] == pytest.approx(np.mean(nearest) / 100)
    assert sorted(place.asked[0]) == sorted(found.placed[0])
    assert len(found.placed[0]) == 4 * PHOTOS_PLACED


def test_without_patches_there_is_one_column() -> None:
    assert features_of(small_index(), GROUPS, FIND, None).values.shape == (1, 4, 1)
    assert features_of(small_index(False), GROUPS, FIND, GRID).values.shape == (1, 4, 1)


def test_only_the_nearest_types_are_placed_and_the_rest_count_as_the_worst_of_them() -> None:
    scores = np.array([0.2, 0.9, 0.5, 0.7])
    similar = np.repeat(scores, 4).astype(np.float32)
    chosen = photos_to_place(similar, scores, GROUPS, types=2)
    assert chosen.tolist() == [4, 6, 12, 14]
    found = patch_scores({4: placed(0.3), 6: placed(0.5), 12: placed(0.1)}, GROUPS, scores)
    np.testing.assert_allclose(found, [0.1, 0.4, 0.1, 0.1])
    assert (patch_scores({}, GROUPS, scores) == 0).all()


def test_with_and_without_its_type_and_its_group() -> None:
    index = small_index()
    own = GROUPS.specimen_of_photo == 0
    families = ["bow", "bow", "plate", "plate"]
    found = features_with_and_without(
        index, GROUPS, families, (FIND[0], GRID[0]), 0, always_out=own
    )
    gone = {kind: np.isneginf(table[:, 0]).tolist() for kind, table in found.items()}
    assert gone == {
        "whole": [False] * 4,
        "type": [True, False, False, False],
        "group": [True, True, False, False],
    }
    for table in found.values():
        assert (np.isneginf(table[:, 0]) == np.isneginf(table[:, 1])).all()
    # The find is photo 0 of the set. With its own object left out it no longer finds itself.
    assert found["whole"][0, 0] < features_of(index, GROUPS, FIND, GRID).values[0, 0, 0] - 0.2
    # What is left is measured as in a set that never had the rest.
    rest = [position for position in range(16) if position >= 8]
    fewer = PhotoGroups.of([LABELS[position] for position in rest])
    alone = fewer.type_scores(FIND @ index.vectors[rest].T)
    np.testing.assert_allclose(found["group"][2:, 0], alone[0], rtol=1e-5)


def test_a_placing_that_is_known_is_not_made_again() -> None:
    index, place = small_index(), Counting()
    first = features_of(index, GROUPS, FIND, GRID, place=place)
    again = features_of(index, GROUPS, FIND, GRID, known=first.placed, place=place)
    assert len(place.asked) == 1
    np.testing.assert_array_equal(first.values, again.values)


def test_photos_of_one_find_are_combined() -> None:
    features = np.array([[[0.9, 0.1], [0.1, 0.1]], [[0.4, 0.2], [0.5, 0.4]]])
    np.testing.assert_allclose(combine_features(features, "max"), [[0.9, 0.2], [0.5, 0.4]])
    np.testing.assert_allclose(combine_features(features, "mean"), features.mean(axis=0))
    # The nearest types are 0.9 and 0.5 away: the first photo counts exp(15 * 0.4) times as much.
    first = np.exp(6.0) / (1 + np.exp(6.0))
    weighed = first * features[0] + (1 - first) * features[1]
    np.testing.assert_allclose(combine_features(features), weighed)
    for how in COMBINATIONS:
        np.testing.assert_allclose(combine_features(features[:1], how), features[0])
    features[:, 1] = -np.inf  # a type that is left out stays out
    for how in COMBINATIONS:
        assert np.isneginf(combine_features(features, how)[1]).all()
    with pytest.raises(ValueError, match="combined"):
        combine_features(features, "sum")  # type: ignore[arg-type]


def test_the_weighted_sum_takes_as_many_weights_as_there_are_columns() -> None:
    features = np.array([[0.5, 0.2], [0.1, 0.9]])
    np.testing.assert_allclose(fused(features, (2.0, 1.0)), [1.2, 1.1])
    np.testing.assert_allclose(fused(features[:, :1], (2.0, 1.0)), [1.0, 0.2])
    with pytest.raises(ValueError, match="columns"):
        fused(np.zeros((2, 3)), (1.0, 1.0))
