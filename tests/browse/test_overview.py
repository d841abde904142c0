"""The overview: near means similar, the same every time, kept under what it depends on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from simsearch.browse import overview as made
from simsearch.browse.overview import lay_out, layout_key, overview
from simsearch.index import PhotoIndex

Floats = NDArray[np.float32]


def clusters(count: int, groups: int = 6, dim: int = 40, seed: int = 0) -> tuple[Floats, Floats]:
    """Unit vectors in ``groups`` bunches, and which bunch each is in."""
    rng = np.random.default_rng(seed)
    which = np.arange(count) % groups
    rows = rng.normal(size=(groups, dim))[which] + 0.25 * rng.normal(size=(count, dim))
    return (rows / np.linalg.norm(rows, axis=1, keepdims=True)).astype(np.float32), which


def index_of(vectors: Floats, fingerprint: str = "f" * 64) -> PhotoIndex:
    names = tuple(f"p{number}" for number in range(len(vectors)))
    return PhotoIndex(vectors, names, tuple("a" * 64 for _ in names), "fake", fingerprint)


def test_near_means_similar() -> None:
    """Judged by scikit-learn's trustworthiness (Venna & Kaski 2001), 1 at best."""
    manifold = pytest.importorskip("sklearn.manifold")
    vectors, which = clusters(120)
    points = lay_out(vectors)
    assert manifold.trustworthiness(vectors, points, n_neighbors=8) > 0.9
    away = np.linalg.norm(points[:, None] - points[None], axis=2)
    np.fill_diagonal(away, np.inf)
    assert (which[away.argmin(axis=1)] == which).mean() > 0.98


def test_it_is_the_same_every_time() -> None:
    vectors, _ = clusters(60)
    assert np.array_equal(lay_out(vectors), lay_out(vectors.copy()))


@pytest.mark.parametrize("count", [0, 1, 2, 3, 7, 8, 9, 20])
@pytest.mark.parametrize("dim", [1, 2, 40])
def test_sets_of_any_size_fit_into_the_square(count: int, dim: int) -> None:
    points = lay_out(clusters(count, dim=dim)[0])
    assert points.shape == (count, 2)
    assert points.dtype == np.float32
    assert np.isfinite(points).all() and ((points >= 0) & (points <= 1)).all()


def test_equal_photos_make_no_trouble() -> None:
    """Re-saved copies: all the same, each many times, or two bunches of equals."""
    for vectors in (clusters(1)[0], clusters(5)[0], clusters(2)[0], clusters(40)[0]):
        points = lay_out(np.tile(vectors, (30, 1))[:200])
        assert np.isfinite(points).all()


def test_it_is_computed_once_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    index = index_of(clusters(20)[0])
    assert not made.is_kept(index, cache=tmp_path / "new")
    first = overview(index, cache=tmp_path / "new")
    assert made.is_kept(index, cache=tmp_path / "new")
    monkeypatch.setattr(made, "lay_out", lambda vectors: pytest.fail("computed again"))
    assert np.array_equal(overview(index, cache=tmp_path / "new"), first)


@pytest.mark.parametrize(
    "content", [b"", b"not an array", b"\x93NUMPY\x01\x00", np.zeros((3, 2)).tobytes()]
)
def test_a_spoilt_cache_is_made_again(tmp_path: Path, content: bytes) -> None:
    index = index_of(clusters(20)[0])
    first = overview(index, cache=tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_bytes(content)
    assert np.array_equal(overview(index, cache=tmp_path), first)
    # Another's layout of the wrong length, and one with holes, are not used either.
    for wrong in (np.zeros((5, 2), np.float32), np.full((20, 2), np.nan, np.float32)):
        np.save(file, wrong)
        assert np.array_equal(overview(index, cache=tmp_path), first)


def test_a_cache_that_cannot_be_written_only_costs_time(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    points = overview(index_of(clusters(10)[0]), cache=tmp_path / "file")
    assert len(points) == 10


def test_the_name_changes_with_photos_and_encoder() -> None:
    vectors, _ = clusters(10)
    keys = {
        layout_key(index_of(vectors)),
        layout_key(index_of(vectors, "e" * 64)),
        layout_key(index_of(vectors[:9])),
    }
    assert len(keys) == 3
    assert layout_key(index_of(vectors)) in keys
