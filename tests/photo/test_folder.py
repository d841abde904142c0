"""list_photos: what counts, in which order."""

from __future__ import annotations

from pathlib import Path

import pytest

from simsearch.errors import PhotoError
from simsearch.photo import list_photos


def test_photos_are_found_by_ending_in_order(tmp_path: Path) -> None:
    names = ["b.JPG", "a.heic", "sub/c.Tiff", "sub/deep/d.webp", "e.bmp", "f.png"]
    others = ["notes.txt", ".hidden.jpg", ".cache/x.jpg", "__MACOSX/b.JPG", "g.gif", "jpg"]
    for name in names + others:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    (tmp_path / "folder.jpg").mkdir()
    found = [path.relative_to(tmp_path).as_posix() for path in list_photos(tmp_path)]
    assert found == ["a.heic", "b.JPG", "e.bmp", "f.png", "sub/c.Tiff", "sub/deep/d.webp"]
    assert list_photos(str(tmp_path)) == list_photos(tmp_path)


def test_an_empty_folder_has_no_photos(tmp_path: Path) -> None:
    assert list_photos(tmp_path) == []


def test_a_loop_of_links_ends(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").touch()
    (tmp_path / "loop").symlink_to(tmp_path, target_is_directory=True)
    assert list_photos(tmp_path) == [tmp_path / "a.jpg"]


def test_a_missing_folder_and_a_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="no folder"):
        list_photos(tmp_path / "gone")
    (tmp_path / "a.jpg").touch()
    with pytest.raises(PhotoError, match="is a file"):
        list_photos(tmp_path / "a.jpg")
