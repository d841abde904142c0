"""Taking photos out of an index together with a larger change."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from simsearch.index import (
    PhotoIndex,
    index_files_without,
    keep_rows,
    open_index,
    stored_file_problems,
    update_index,
)
from tests.index.test_update import Counting, photos_in, unfinished
from tests.tiny_set import GridEncoder


@pytest.fixture
def index(tmp_path: Path) -> PhotoIndex:
    return update_index(photos_in(tmp_path / "photos", 6), Counting(), tmp_path / "index")


def carry_out(folder: Path, ids: set[str], staged: bool) -> None:
    """Do to a set's folder what a change would."""

    def paths() -> Iterator[Path]:
        number = 0
        while True:
            number += 1
            yield folder / f"staged-{number}"

    stage = paths().__next__ if staged else None
    found = index_files_without(folder / "index", ids, stage=stage)
    assert all(isinstance(content, Path) == staged for content in list(found.put.values())[:-1])
    for file, content in found.put.items():
        if isinstance(content, Path):
            content.replace(folder / file)
        else:
            (folder / file).write_bytes(content)
    for file in found.remove:
        (folder / file).unlink()


@pytest.mark.parametrize("staged", [True, False])
def test_what_is_left_is_a_whole_index(tmp_path: Path, index: PhotoIndex, staged: bool) -> None:
    carry_out(tmp_path, {"p1", "p4", "never there"}, staged)
    left = open_index(tmp_path / "index")
    assert left.photo_ids == ("p0", "p2", "p3", "p5")
    kept = [0, 2, 3, 5]
    np.testing.assert_array_equal(left.vectors, index.vectors[kept])
    np.testing.assert_array_equal(left.patches_of([0, 1, 2, 3]), index.patches_of(kept))
    assert left.squares is not None and index.squares is not None
    np.testing.assert_array_equal(left.squares, index.squares[kept])
    assert stored_file_problems(tmp_path / "index") == []
    assert len(list((tmp_path / "index").iterdir())) == 5


def test_nothing_of_a_withdrawn_photo_stays_in_any_file(tmp_path: Path, index: PhotoIndex) -> None:
    photos = photos_in(tmp_path / "photos", 6)
    other = GridEncoder(fingerprint="e" * 64)
    keep_rows(photos, other, tmp_path / "index", tmp_path / "apart")
    assert unfinished(tmp_path / "index")
    vector, digest = index.vectors[2].tobytes(), index.sha256[2]

    def holding() -> list[str]:
        traces = (vector, digest.encode(), bytes.fromhex(digest))
        files = list((tmp_path / "index").iterdir())
        return [p.name for p in files if any(trace in p.read_bytes() for trace in traces)]

    assert len(holding()) == 3  # the description, the vectors, the unfinished rows
    carry_out(tmp_path, {"p2"}, staged=True)
    assert holding() == []


def test_with_the_last_photo_the_index_goes(tmp_path: Path, index: PhotoIndex) -> None:
    carry_out(tmp_path, set(index.photo_ids), staged=False)
    assert list((tmp_path / "index").iterdir()) == []


def test_an_index_that_cannot_be_read_goes_whole(tmp_path: Path, index: PhotoIndex) -> None:
    (tmp_path / "index" / "index.json").write_text("{")
    (tmp_path / "index" / "calibration.json").write_text("{}")
    carry_out(tmp_path, {"p0"}, staged=False)
    assert [path.name for path in (tmp_path / "index").iterdir()] == ["calibration.json"]


def test_without_an_index_there_is_nothing_to_do(tmp_path: Path) -> None:
    found = index_files_without(tmp_path / "index", {"p0"})
    assert found.put == {} and found.remove == ()
