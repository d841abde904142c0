"""Retrieval figures against examples worked by hand, and scikit-learn if it is there."""

from __future__ import annotations

import numpy as np
import pytest

from simsearch.evaluation.metrics import (
    average_precision,
    bootstrap_interval,
    class_mean,
    figures,
    leave_out,
    recall_at,
    relevance_by_rank,
)


def test_a_worked_example() -> None:
    # Query a: ranking a b a -> hits 1 0 1, precisions at the hits 1/1 and 2/3.
    # Query b: ranking a a b -> hits 0 0 1, precision 1/3.
    rows = relevance_by_rank(
        np.array([[0.9, 0.5, 0.4], [0.8, 0.1, 0.3]]), ["a", "b"], ["a", "b", "a"]
    )
    assert [row.tolist() for row in rows] == [[True, False, True], [False, False, True]]
    assert recall_at(rows, 1).tolist() == [1, 0]
    assert recall_at(rows, 3).tolist() == [1, 1]
    assert np.allclose(average_precision(rows), [(1 + 2 / 3) / 2, 1 / 3])


def test_leave_one_out_and_leave_group_out() -> None:
    # Each photo is closest to itself; a1 and a2 are of one scene.
    scores = np.array([[9, 8, 1, 2], [8, 9, 3, 1], [1, 3, 9, 2], [2, 1, 2.5, 9.0]])
    labels, scenes = ["a", "a", "a", "b"], ["s", "s", "t", "u"]
    alone = figures(scores, labels)
    # Rankings without oneself: a1 -> a2, a2 -> a1, a3 -> a2: right; b has no other b: not counted.
    assert (alone.queries, alone.classes, alone.recall_1) == (3, 1, 1.0)
    apart = figures(scores, labels, scenes)
    # Without the scene: a1 -> b, a2 -> a3, a3 -> a2.
    assert apart.recall_1 == pytest.approx(2 / 3)
    assert leave_out(scenes).sum() == 6


def test_ties_count_against() -> None:
    rows = relevance_by_rank(np.zeros((1, 4)), ["a"], ["a", "b", "b", "a"])
    assert rows[0].tolist() == [False, False, True, True]


def test_classes_weigh_alike() -> None:
    values = np.array([1, 1, 1, 1, 0.0])
    assert class_mean(values, ["a"] * 4 + ["b"]) == 0.5
    assert class_mean(np.array([1, np.nan, np.nan]), ["a", "a", "b"]) == 1
    assert np.isnan(class_mean(np.array([np.nan]), ["a"]))
    assert np.isnan(bootstrap_interval(np.array([np.nan]), ["a"])).all()


def test_the_interval() -> None:
    labels = ["a"] * 200
    values = np.array([1.0] * 140 + [0.0] * 60)
    low, high = bootstrap_interval(values, labels)
    # Normal approximation: 0.7 +- 1.96 sqrt(0.7 x 0.3 / 200) = 0.7 +- 0.0635.
    assert low == pytest.approx(0.7 - 0.0635, abs=0.012)
    assert high == pytest.approx(0.7 + 0.0635, abs=0.012)
    assert bootstrap_interval(values, labels) == (low, high)
    assert bootstrap_interval(np.ones(5), ["a"] * 5) == (1, 1)


def test_wrong_input_is_refused() -> None:
    with pytest.raises(ValueError, match="labels"):
        relevance_by_rank(np.zeros((2, 3)), ["a"], ["a", "b", "c"])
    with pytest.raises(ValueError, match="no numbers"):
        relevance_by_rank(np.array([[np.nan]]), ["a"], ["a"])


def test_average_precision_equals_a_library() -> None:
    sklearn = pytest.importorskip("sklearn.metrics")
    rng = np.random.default_rng(2)
    scores = rng.normal(size=(20, 60))
    labels, gallery = rng.integers(0, 4, 20), rng.integers(0, 4, 60)
    found = average_precision(relevance_by_rank(scores, labels, gallery))
    for value, row, label in zip(found, scores, labels, strict=True):
        assert value == pytest.approx(sklearn.average_precision_score(gallery == label, row))
