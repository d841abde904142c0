"""From photo similarities to type scores."""

from __future__ import annotations

import numpy as np
import pytest

from simsearch.leads.grouping import PhotoGroups

Label = tuple[str, str]


def scores(labels: list[Label], similarities: list[float], best: int = 3) -> dict[str, float]:
    groups = PhotoGroups.of(labels)
    row = groups.type_scores(np.array([similarities], np.float32), best)[0]
    return {name: float(value) for name, value in zip(groups.type_ids, row, strict=True)}


def by_hand(labels: list[Label], similarities: list[float], best: int = 3) -> dict[str, float]:
    """Score types with plain dictionaries: the slow and obvious way."""
    specimens: dict[Label, float] = {}
    for label, similarity in zip(labels, similarities, strict=True):
        specimens[label] = max(similarity, specimens.get(label, -2.0))
    result = {}
    for name in dict.fromkeys(name for name, _ in labels):
        own = sorted((s for (n, _), s in specimens.items() if n == name), reverse=True)[:best]
        result[name] = float(np.mean(own + [own[-1]] * (best - len(own))))
    return result


def random_set(rng: np.random.Generator) -> tuple[list[Label], list[float]]:
    labels = [
        (f"type-{rng.integers(5)}", f"object-{rng.integers(6)}") for _ in range(rng.integers(1, 60))
    ]
    return labels, list(rng.uniform(-1, 1, len(labels)))


@pytest.mark.parametrize("seed", range(20))
def test_scores_are_those_worked_by_hand(seed: int) -> None:
    labels, similarities = random_set(np.random.default_rng(seed))
    found, expected = scores(labels, similarities), by_hand(labels, similarities)
    assert list(found) == list(expected)
    assert found == pytest.approx(expected, abs=1e-6)


def test_a_worked_example() -> None:
    labels = [("a", "1"), ("a", "1"), ("a", "2"), ("b", "1"), ("b", "2"), ("b", "3"), ("b", "4")]
    similarities = [0.9, 0.8, 0.6, 0.7, 0.7, 0.7, 0.1]
    # a: specimens 0.9 and 0.6, the farthest again in the empty place: (0.9 + 0.6 + 0.6) / 3
    assert scores(labels, similarities) == pytest.approx({"a": 0.7, "b": 0.7}, abs=1e-6)


def order(found: dict[str, float], without: str = "") -> list[str]:
    return sorted((name for name in found if name != without), key=lambda n: -found[n])


@pytest.mark.parametrize("seed", range(20))
def test_a_flood_of_one_type_that_is_no_closer_changes_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    labels, similarities = random_set(rng)
    flooded = labels[0][0]
    before = scores(labels, similarities)
    own = [
        max(s for label, s in zip(labels, similarities, strict=True) if label == specimen)
        for specimen in {label for label in labels if label[0] == flooded}
    ]
    ceiling = sorted(own, reverse=True)[:3][-1]  # its third nearest, or its farthest
    flood = [(flooded, f"flood-{number}") for number in range(500)]
    after = scores(labels + flood, similarities + list(rng.uniform(-1, ceiling, len(flood))))
    # The others are untouched, the flooded type has not risen ...
    assert order(after, flooded) == order(before, flooded)
    assert after[flooded] <= before[flooded] + 1e-6
    # ... and with three specimens or more of its own it has not moved at all.
    if len(own) >= 3:
        assert after == pytest.approx(before, abs=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_more_photos_of_an_object_that_are_no_closer_count_once(seed: int) -> None:
    rng = np.random.default_rng(seed)
    labels, similarities = random_set(rng)
    picked = int(rng.integers(len(labels)))
    copies = [similarities[picked] - float(gap) for gap in rng.uniform(0, 1, 100)]
    after = scores(labels + [labels[picked]] * 100, similarities + copies)
    assert after == scores(labels, similarities)


def test_objects_of_the_same_name_in_two_types_are_two_objects() -> None:
    assert scores([("a", "1"), ("b", "1")], [0.5, 0.1]) == pytest.approx({"a": 0.5, "b": 0.1})


def test_one_lucky_photo_does_not_win() -> None:
    labels = [("a", str(n)) for n in range(3)] + [("b", str(n)) for n in range(3)]
    found = scores(labels, [0.95, 0.1, 0.1, 0.8, 0.8, 0.8])
    assert found["b"] > found["a"]


def test_the_order_of_photos_in_the_index_does_not_matter() -> None:
    rng = np.random.default_rng(1)
    labels, similarities = random_set(rng)
    shuffled = rng.permutation(len(labels))
    again = scores([labels[i] for i in shuffled], [similarities[i] for i in shuffled])
    assert again == pytest.approx(scores(labels, similarities))


def test_a_score_needs_a_specimen() -> None:
    with pytest.raises(ValueError, match="best is 0"):
        scores([("a", "1")], [0.5], best=0)


def test_a_photo_left_out_is_as_if_it_were_not_there() -> None:
    rng = np.random.default_rng(3)
    labels = [("a", "a1"), ("a", "a2"), ("a", "a2"), ("b", "b1"), ("b", "b2"), ("c", "c1")]
    similarities = rng.uniform(-1, 1, size=(7, 6)).astype(np.float32)
    for gone in ([1, 2], [0], [4], [0, 3]):
        rest = [i for i in range(6) if i not in gone]
        without = similarities.copy()
        without[:, gone] = -np.inf
        fewer = PhotoGroups.of([labels[i] for i in rest])
        np.testing.assert_array_equal(
            PhotoGroups.of(labels).type_scores(without), fewer.type_scores(similarities[:, rest])
        )
    similarities[:, 5] = -np.inf
    assert np.isneginf(PhotoGroups.of(labels).type_scores(similarities)[:, 2]).all()
