"""Published nearest-neighbour figures on outlines, reproduced with the measuring code.

The sets come inside the package sktime (dev extra). See simsearch/evaluation/published.py for
what was read where.
"""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("cv2")

from simsearch.evaluation.outline import best_shift
from simsearch.evaluation.published import (
    PUBLISHED,
    Published,
    check_lines,
    data_folder,
    distances,
    nearest_error,
    read_both,
)

FOLDER = data_folder()
needs_the_sets = pytest.mark.skipif(
    FOLDER is None, reason="the package sktime, whose wheel holds the published sets, is missing"
)


def both(one: Published) -> tuple:
    assert FOLDER is not None
    return read_both(FOLDER, one.name)


@needs_the_sets
@pytest.mark.parametrize("one", PUBLISHED, ids=lambda one: one.name)
def test_the_sets_are_the_published_ones(one: Published) -> None:
    (gallery, gallery_labels), (queries, labels) = both(one)
    assert gallery.shape == (one.training, one.length) and queries.shape == (one.test, one.length)
    assert set(labels) == set(gallery_labels)


@needs_the_sets
@pytest.mark.parametrize("one", PUBLISHED, ids=lambda one: one.name)
def test_the_error_of_the_nearest_neighbour(one: Published) -> None:
    (gallery, gallery_labels), (queries, labels) = both(one)
    error = nearest_error(distances(queries, gallery), labels, gallery_labels)
    assert f"{error:.4f}" == f"{one.error:.4f}"


@needs_the_sets
def test_projectile_points_exactly() -> None:
    """ArrowHead: a published error of 0.2000 of 175 is 35 wrong, 140 right."""
    (gallery, gallery_labels), (queries, labels) = both(PUBLISHED[0])
    error = nearest_error(distances(queries, gallery), labels, gallery_labels)
    assert round(175 * (1 - error), 6) == 140


@needs_the_sets
@pytest.mark.parametrize("one", [PUBLISHED[0], PUBLISHED[2]], ids=lambda one: one.name)
def test_the_error_with_warping(one: Published) -> None:
    (gallery, gallery_labels), (queries, labels) = both(one)
    # A few queries at a time stay in the processor's cache: several times quicker.
    apart = [warped(queries[i : i + 8], gallery) for i in range(0, len(queries), 8)]
    error = nearest_error(np.concatenate(apart), labels, gallery_labels)
    assert f"{error:.4f}" == f"{one.warped_error:.4f}"


@needs_the_sets
def test_our_best_shift_is_that_of_trying_every_shift() -> None:
    (gallery, _), (queries, _) = both(PUBLISHED[0])
    tried = [queries[:40] @ np.roll(gallery, step, axis=1).T for step in range(251)]
    assert np.allclose(best_shift(queries[:40], gallery), np.max(tried, axis=0), atol=1e-3)


@needs_the_sets
def test_outlines_shifted_round_are_found_by_our_best_shift() -> None:
    """With every query begun elsewhere the plain distance fails; the best shift does not."""
    (gallery, gallery_labels), (queries, labels) = both(PUBLISHED[0])
    rng = np.random.default_rng(3)
    begun = np.stack([np.roll(one, rng.integers(251)) for one in queries])
    plain = nearest_error(distances(begun, gallery), labels, gallery_labels)
    free = nearest_error(-best_shift(begun, gallery), labels, gallery_labels)
    assert free == nearest_error(-best_shift(queries, gallery), labels, gallery_labels)
    assert free < 0.25 < 0.4 < plain


@needs_the_sets
def test_the_report_says_that_the_figures_agree() -> None:
    lines = check_lines()
    assert len(lines) == len(PUBLISHED)
    assert all(line.endswith(": the same.") for line in lines)


def test_a_missing_package_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("simsearch.evaluation.published.find_spec", lambda name: None)
    (line,) = check_lines()
    assert "not checked" in line and "sktime" in line


def warped(queries: np.ndarray, gallery: np.ndarray) -> np.ndarray:
    """Dynamic time warping over the full window, squared differences: ``(queries, gallery)``.

    Anti-diagonal by anti-diagonal for all pairs at once; diagonal d holds cells (i, d - i).
    """
    length = queries.shape[1]
    a, b = queries[:, None, :], gallery[None, :, ::-1]
    shape = (len(queries), len(gallery), length + 1)
    before = np.full(shape, np.inf)  # index i + 1 of diagonal d - 2; index 0 stays infinite
    last = np.full(shape, np.inf)
    for d in range(2 * length - 1):
        low, high = max(0, d - length + 1), min(d, length - 1) + 1
        # b runs backwards, so that cells of one diagonal lie side by side.
        start = length - 1 - d + low
        costs = (a[..., low:high] - b[..., start : start + high - low]) ** 2
        steps = np.minimum(last[..., low:high], last[..., low + 1 : high + 1])
        if d:
            costs += np.minimum(steps, before[..., low:high])
        now = np.full(shape, np.inf)
        now[..., low + 1 : high + 1] = costs
        before, last = last, now
    return last[..., length]
