"""Retrieval figures against examples worked by hand, and scikit-learn if it is there."""

from __future__ import annotations

import numpy as np
import pytest

from simsearch.evaluation.metrics import (
    average_precision,
    bootstrap_interval,
    chance,
    class_mean,
    figures,
    leave_out,
    recall_at,
    relevance_by_rank,
    summary,
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
    assert np.isnan(bootstrap_interval(np.ones(2), ["a", "b"])).all()  # nothing varies


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


def test_recall_equals_a_library() -> None:
    """Types as classes: one gallery entry for each, so R@k is the top-k accuracy."""
    sklearn = pytest.importorskip("sklearn.metrics")
    rng = np.random.default_rng(4)
    scores, labels = rng.normal(size=(80, 12)), np.arange(80) % 12
    rows = relevance_by_rank(scores, labels, range(12))
    for k in (1, 3, 5):
        expected = sklearn.top_k_accuracy_score(labels, scores, k=k)
        assert recall_at(rows, k).mean() == pytest.approx(expected)
    # The mean over classes of R@1 is balanced accuracy.
    uneven = np.repeat(np.arange(12), [30, 10, *[4] * 10])
    rows = relevance_by_rank(scores, uneven, range(12))
    balanced = sklearn.balanced_accuracy_score(uneven, scores.argmax(axis=1))
    assert summary(rows, uneven).recall_1 == pytest.approx(balanced)


def test_precision_with_one_relevant_is_a_librarys_reciprocal_rank() -> None:
    sklearn = pytest.importorskip("sklearn.metrics")
    rng = np.random.default_rng(5)
    scores, labels = rng.normal(size=(30, 9)), rng.integers(0, 9, 30)
    found = average_precision(relevance_by_rank(scores, labels, range(9))).mean()
    truth = np.eye(9)[labels]
    expected = sklearn.label_ranking_average_precision_score(truth, scores)
    assert found == pytest.approx(expected)


def test_chance_is_what_random_scores_come_to() -> None:
    rng = np.random.default_rng(6)
    labels, gallery = ["a", "a", "b"], ["a"] * 3 + ["b"] * 2 + ["c"] * 5
    expected = chance(relevance_by_rank(np.zeros((3, 10)), labels, gallery), labels)
    drawn = [
        summary(relevance_by_rank(rng.random((3, 10)), labels, gallery), labels)
        for _ in range(1000)
    ]
    assert (expected.queries, expected.classes) == (3, 2)
    assert expected.recall_1 == pytest.approx((3 / 10 + 2 / 10) / 2)
    for name in ("recall_1", "recall_5", "mean_average_precision"):
        mean = np.mean([getattr(one, name) for one in drawn])
        assert getattr(expected, name) == pytest.approx(mean, abs=0.035)
    none = chance(relevance_by_rank(np.zeros((1, 2)), ["x"], ["a", "b"]), ["x"])
    assert none.queries == 0 and np.isnan(none.recall_1)
