"""Checking a whole set."""

from __future__ import annotations

from pathlib import Path

import pytest

from simsearch.errors import SetError
from simsearch.sets.check import check_set
from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.reference_set import open_set
from tests.tiny_set import (
    GridEncoder,
    make_set,
    photo_row,
    picture,
    type_row,
    write_photos,
    write_types,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a set with nothing wrong."""
    folder = make_set(tmp_path / "set")
    write_datapackage(folder)
    open_set(folder).rebuild_index(GridEncoder())
    return folder


def whats(folder: Path) -> list[tuple[str, str, str]]:
    return [(found.severity, found.where, found.what) for found in check_set(folder)]


def test_a_good_set_has_no_problem(folder: Path) -> None:
    assert check_set(folder, encoder=GridEncoder()) == []


def test_a_photo_that_was_replaced_is_found_by_its_hash(folder: Path) -> None:
    picture((1, 2, 3), seed=9).save(folder / "photos/knee-2.png")
    found = whats(folder)
    assert found[0][:2] == ("error", "photos.csv, photo knee-2")
    assert "hash" in found[0][2]
    assert len(found) == 1


def test_a_photo_that_does_not_open_is_found(folder: Path) -> None:
    (folder / "photos/knee-1.png").write_bytes(b"not a picture")
    rows = [photo_row(folder, "knee-1", "knee")]  # with the hash of what is there now
    write_photos(folder, rows)
    assert any(where == "photos.csv, photo knee-1" for _, where, _ in whats(folder))


def test_rendered_rows_must_say_so(folder: Path) -> None:
    rows = [
        photo_row(folder, "knee-1", "knee", source="made here"),
        photo_row(folder, "knee-2", "knee", kind="photo"),
        photo_row(folder, "knee-3", "knee", kind="photo", source="taken on the fen"),
    ]
    write_photos(folder, rows)
    told = {where for _, where, what in whats(folder) if "rendered" in what and "photo" in where}
    assert told == {"photos.csv, photo knee-1", "photos.csv, photo knee-2"}


def test_types_without_photos_and_stray_and_repeated_files(folder: Path) -> None:
    (folder / "photos/stray.png").write_bytes((folder / "photos/knee-1.png").read_bytes())
    (folder / "photos/knee-2.png").write_bytes((folder / "photos/knee-1.png").read_bytes())
    write_photos(folder, [photo_row(folder, "knee-1", "knee"), photo_row(folder, "knee-2", "knee")])
    warned = {where: what for severity, where, what in whats(folder) if severity == "warning"}
    assert "dolphin" in warned["types.csv"]
    assert "no row" in warned["photos/stray.png"]
    assert "same picture as photo 'knee-1'" in warned["photos.csv, photo knee-2"]


def test_a_date_that_was_read_needs_its_source(folder: Path) -> None:
    write_types(folder, [type_row("knee", basis="read", sources="")])
    write_photos(folder, [photo_row(folder, "knee-1", "knee")])
    assert any("no source is named" in what for _, _, what in whats(folder))


def test_index_missing_stale_or_damaged(folder: Path) -> None:
    rows = [photo_row(folder, photo.id, photo.type) for photo in open_set(folder).photos]
    write_photos(folder, rows[1:])
    write_datapackage(folder)
    found = [problem for problem in check_set(folder) if problem.where == "index"]
    assert "0 new, 1 removed, 0 changed" in found[0].what
    assert f"simsearch index {folder}" in found[0].what_to_do

    write_photos(folder, rows)
    write_datapackage(folder)
    assert check_set(folder) == []
    other = GridEncoder(fingerprint="e" * 64)
    assert [problem.where for problem in check_set(folder, encoder=other)] == ["index"]

    vectors = next((folder / "index").glob("vectors-*.npy"))
    content = bytearray(vectors.read_bytes())
    content[-4] ^= 1  # the lowest bit of the last number: still of unit length, yet not the same
    vectors.write_bytes(bytes(content))
    found = [problem for problem in check_set(folder) if problem.where == "index"]
    assert "has changed since it was written" in found[0].what

    for path in (folder / "index").iterdir():
        path.unlink()
    found = [problem for problem in check_set(folder) if problem.where == "index"]
    assert "no index" in found[0].what


def test_a_description_out_of_date_is_a_warning(folder: Path) -> None:
    with open(folder / "sources.csv", "ab") as handle:
        handle.write(b"fen-2,More notes,,,read,\r\n")
    assert [(s, w) for s, w, _ in whats(folder)] == [("warning", "datapackage.json")]
    (folder / "datapackage.json").unlink()
    assert [(s, w) for s, w, _ in whats(folder)] == [("warning", "datapackage.json")]


def test_wrong_tables_are_told_and_the_rest_is_still_checked(folder: Path) -> None:
    rows = [photo_row(folder, "knee-1", "knee", view="top"), photo_row(folder, "knee-2", "knee")]
    write_photos(folder, rows)
    picture((1, 2, 3), seed=9).save(folder / "photos/knee-2.png")
    wheres = [where for severity, where, _ in whats(folder) if severity == "error"]
    assert wheres == ["photos.csv, row 2, column view", "photos.csv, photo knee-2"]


def test_no_folder_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(SetError):
        check_set(tmp_path / "none")


def test_photos_not_yet_in_a_good_index_are_a_warning(folder: Path) -> None:
    rows = [photo_row(folder, photo.id, photo.type) for photo in open_set(folder).photos]
    picture((9, 9, 9), seed=77).save(folder / "photos/knee-new.png")
    write_photos(folder, [*rows, photo_row(folder, "knee-new", "knee")])
    write_datapackage(folder)
    found = check_set(folder, encoder=GridEncoder())
    assert [(one.severity, one.where) for one in found] == [("warning", "index")]
    assert "knee-new" in found[0].what
    assert f"simsearch index {folder}" in found[0].what_to_do

    # One new photo excuses neither one that has gone nor another encoder.
    write_photos(folder, [*rows[1:], photo_row(folder, "knee-new", "knee")])
    write_datapackage(folder)
    severities = {one.severity for one in check_set(folder) if one.where == "index"}
    assert severities == {"error"}
    write_photos(folder, [*rows, photo_row(folder, "knee-new", "knee")])
    found = check_set(folder, encoder=GridEncoder(fingerprint="e" * 64))
    assert ("error", "index") in [(one.severity, one.where) for one in found]


def test_a_set_without_an_index_yet_is_sound(folder: Path) -> None:
    for path in (folder / "index").iterdir():
        path.unlink()
    assert [(one.severity, one.where) for one in check_set(folder)] == [("warning", "index")]
