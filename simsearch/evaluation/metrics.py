"""Retrieval figures from a table of scores, and how sure they are.

A *query* is a photo that is looked up, the *gallery* is what it is looked up in, a gallery photo
is *relevant* if it has the query's label. Ties are broken against the method measured: of
equal scores the irrelevant photo comes first, so a method that scores everything alike gets 0.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Figures:
    """What is reported of one method on one set; shares from 0 to 1."""

    queries: int
    classes: int
    recall_1: float
    recall_1_interval: tuple[float, float]
    recall_5: float
    mean_average_precision: float


def relevance_by_rank(
    scores: npt.NDArray[Any],
    query_labels: Sequence[Any],
    gallery_labels: Sequence[Any],
    left_out: Any = None,
) -> list[npt.NDArray[np.bool_]]:
    """Return for each query which gallery photos are relevant, best score first.

    ``scores`` is (queries, gallery), higher is closer. ``left_out`` is a boolean array of the
    same shape; gallery photos that are True in a query's row take no part in it.
    """
    relevant = np.asarray(query_labels)[:, None] == np.asarray(gallery_labels)[None, :]
    table = np.asarray(scores, dtype=np.float64)
    if table.shape != relevant.shape:
        raise ValueError(f"The scores are {table.shape}, the labels {relevant.shape}.")
    if not np.isfinite(table).all():
        raise ValueError("The scores hold values that are no numbers.")
    kept = np.ones_like(relevant) if left_out is None else ~np.asarray(left_out, dtype=bool)
    rows = []
    for row_scores, row_relevant, row_kept in zip(table, relevant, kept, strict=True):
        order = np.lexsort((row_relevant, -row_scores))  # by score; relevant last among equals
        rows.append(row_relevant[order][row_kept[order]])
    return rows


def leave_out(groups: Sequence[Any]) -> npt.NDArray[np.bool_]:
    """Return (n, n) booleans that leave out, for each photo, those of its own group.

    With a group of its own for each photo this is leave-one-out; with the scene a photo was cut
    from as group, no photo can be found by its background.
    """
    names = np.asarray(groups)
    return np.asarray(names[:, None] == names[None, :])


def recall_at(rows: Sequence[npt.NDArray[np.bool_]], k: int) -> Floats:
    """Return 1 for each query with a relevant photo among its first ``k``, else 0.

    A query without any relevant photo in the gallery gives nan: it cannot be right.
    """
    found = [float(row[:k].any()) if row.any() else np.nan for row in rows]
    return np.asarray(found, dtype=np.float64)


def average_precision(rows: Sequence[npt.NDArray[np.bool_]]) -> Floats:
    """Return for each query the mean of the precisions at its relevant photos (nan if none)."""
    values = []
    for row in rows:
        places = np.flatnonzero(row)
        precisions = np.arange(1, len(places) + 1) / (places + 1)
        values.append(precisions.mean() if len(places) else np.nan)
    return np.asarray(values, dtype=np.float64)


def class_mean(values: Floats, labels: Sequence[Any]) -> float:
    """Return the mean over classes of the mean within each class; nan values do not count.

    Without any other value the mean is nan.
    """
    means = [part.mean() for part in _by_class(values, labels)]
    return float(np.mean(means)) if means else float("nan")


def bootstrap_interval(
    values: Floats, labels: Sequence[Any], *, seed: int = 0, draws: int = 2000, level: float = 0.95
) -> tuple[float, float]:
    """Return the percentile bootstrap interval of ``class_mean`` over queries.

    Queries are drawn with replacement within each class. The gallery stays as it is, so the
    interval says how the figure depends on the photos looked up, not on the set searched.
    It is nan where no class has two queries, since nothing varies then.
    """
    rng = np.random.default_rng(seed)
    parts = _by_class(values, labels)
    if max((len(part) for part in parts), default=0) < 2:
        return float("nan"), float("nan")
    drawn = [part[rng.integers(0, len(part), (draws, len(part)))].mean(axis=1) for part in parts]
    low, high = np.quantile(np.mean(drawn, axis=0), [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def _by_class(values: Floats, labels: Sequence[Any]) -> list[Floats]:
    """Return the values of each class, without nan and without classes that have none."""
    names = np.asarray(labels)
    parts = [values[(names == name) & ~np.isnan(values)] for name in np.unique(names)]
    return [part for part in parts if len(part)]


def figures(
    scores: npt.NDArray[Any],
    labels: Sequence[Any],
    groups: Sequence[Any] | None = None,
    *,
    seed: int = 0,
) -> Figures:
    """Return the figures of a set searched in itself.

    ``scores`` is (n, n). Each photo is looked up among all others that are not of its group
    (default: among all others).
    """
    own = range(len(labels)) if groups is None else groups
    rows = relevance_by_rank(scores, labels, labels, leave_out(own))
    return summary(rows, labels, seed=seed)


def summary(
    rows: Sequence[npt.NDArray[np.bool_]], classes: Sequence[Any], *, seed: int = 0
) -> Figures:
    """Return the figures of the rows of ``relevance_by_rank``; ``classes`` weigh alike."""
    first = recall_at(rows, 1)
    return Figures(
        queries=int((~np.isnan(first)).sum()),
        classes=len({name for name, value in zip(classes, first, strict=True) if value == value}),
        recall_1=class_mean(first, classes),
        recall_1_interval=bootstrap_interval(first, classes, seed=seed),
        recall_5=class_mean(recall_at(rows, 5), classes),
        mean_average_precision=class_mean(average_precision(rows), classes),
    )


def chance(rows: Sequence[npt.NDArray[np.bool_]], classes: Sequence[Any]) -> Figures:
    """Return what to expect of a method that orders the gallery at random: no interval.

    ``rows`` as from ``relevance_by_rank``, in any order: only how many of a row are relevant
    counts.
    """
    sizes = [(len(row), int(row.sum())) for row in rows]
    first = np.array([_lucky(size, relevant, 1) for size, relevant in sizes])
    return Figures(
        queries=int((~np.isnan(first)).sum()),
        classes=len({name for name, value in zip(classes, first, strict=True) if value == value}),
        recall_1=class_mean(first, classes),
        recall_1_interval=(float("nan"), float("nan")),
        recall_5=class_mean(np.array([_lucky(n, r, 5) for n, r in sizes]), classes),
        mean_average_precision=class_mean(
            np.array([_random_precision(n, r) for n, r in sizes]), classes
        ),
    )


def _lucky(size: int, relevant: int, k: int) -> float:
    """The chance that one of ``relevant`` is among the first ``k`` of ``size`` at random."""
    if not relevant:
        return float("nan")
    return 1 - math.comb(size - relevant, k) / math.comb(size, min(k, size))


def _random_precision(size: int, relevant: int) -> float:
    """The expected average precision of a random order.

    A place k holds a relevant photo with probability R / N; given that, each of the k - 1 places
    before it does with probability (R - 1) / (N - 1). Summed over k: harmonic numbers.
    """
    if not relevant:
        return float("nan")
    harmonic = float((1 / np.arange(1, size + 1)).sum())
    rest = (relevant - 1) / (size - 1) * (size - harmonic) if size > 1 else 0.0
    return (harmonic + rest) / size
