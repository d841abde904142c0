"""Packing a set: what is in the zip, what stays at home, and what other programs make of it.

Outside: the ``frictionless`` library, the reference implementation of the Data Package standard.
"""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from PIL import Image

from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.reference_set import open_set
from simsearch.sets.sources import SOURCE_COLUMNS
from simsearch.share.pack import export_set
from simsearch.share.plain import is_plain
from simsearch.share.problems import ShareError
from simsearch.share.unpack import unpack_set
from tests.share.packages import (
    change_rows,
    club_set,
    described,
    everything_under,
    packed,
    parts_of,
    write_opinions,
    write_private,
)
from tests.share.test_plain import gps
from tests.tiny_set import photo_row, picture


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return club_set(tmp_path / "set")


def faults(package: Path, folder: Path) -> list[str]:
    frictionless = pytest.importorskip("frictionless")
    with zipfile.ZipFile(package) as opened:
        opened.extractall(folder)
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert len(report.tasks) == len(zipfile.ZipFile(package).namelist()) - 1
    return [row[0] for row in report.flatten(["type"])]


def test_the_reference_library_finds_nothing_wrong(folder: Path, tmp_path: Path) -> None:
    write_opinions(folder, opinion("knee-1"))
    write_private(folder, {"photo": "knee-1", "consent": "given", "findspot": "Long Meadow"})
    assert faults(packed(folder, with_private=True), tmp_path / "x") == []


def opinion(photo: str) -> dict[str, str]:
    row = {"photo": photo, "specimen": photo, "type": "dolphin", "by": "A. Recorder (invented)"}
    return row | {"on": "2026-02-01", "authority": "from the photo"}


def test_the_reference_library_sees_a_photo_that_was_exchanged(
    folder: Path, tmp_path: Path
) -> None:
    parts = parts_of(packed(folder))
    changed = tmp_path / "changed.zip"
    with zipfile.ZipFile(changed, "w") as package:
        for name, data in parts.items():
            package.writestr(name, data + b"x" if name == "photos/knee-1.png" else data)
    assert set(faults(changed, tmp_path / "x")) == {"hash-count", "byte-count"}


def test_the_same_set_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    first = packed(folder).read_bytes()
    assert export_set(open_set(folder), tmp_path / "again.zip").path.read_bytes() == first
    unpacked = unpack_set(tmp_path / "again.zip", tmp_path / "out").folder
    assert packed(unpacked).read_bytes() == first


def test_it_says_who_and_under_which_licence(folder: Path) -> None:
    parts = parts_of(packed(folder))
    package = described(parts)
    photo = next(r for r in package["resources"] if r["name"] == "photo-knee-1")
    assert photo["licenses"][0]["name"] == "CC0-1.0"
    assert "rendered" in photo["title"]
    assert {"title": "Harrow Fen Finds Club (invented)", "role": "author"} in package[
        "contributors"
    ]
    credits = parts["CREDITS.txt"].decode()
    assert "6 of them are rendered" in credits
    assert "Harrow Fen Finds Club (invented): 6, Creative Commons Zero 1.0" in credits


def test_nothing_but_tables_photos_and_credits_leaves(folder: Path) -> None:
    (folder / "index").mkdir()
    (folder / "index" / "index.json").write_text("{}")
    (folder / "notes.txt").write_text("where we park")
    names = set(parts_of(packed(folder)))
    photos = {f"photos/{photo.id}.png" for photo in open_set(folder).photos}
    tables = {"types.csv", "photos.csv", "sources.csv", "datapackage.json", "CREDITS.txt"}
    assert names == photos | tables


def test_consent_decides_what_leaves(folder: Path) -> None:
    write_private(
        folder,
        {"photo": "knee-1", "consent": "refused"},
        {"photo": "knee-2", "consent": "not asked"},
        {"photo": "dolphin-1", "consent": "given"},
    )
    write_opinions(folder, opinion("knee-1"), opinion("dolphin-1"))
    result = export_set(open_set(folder), folder.parent / "a.zip")
    parts = parts_of(result.path)
    assert "photos/dolphin-1.png" in parts and "photos/dolphin-2.png" in parts
    for held in ("knee-1", "knee-2"):
        assert f"photos/{held}.png" not in parts
        assert all(held.encode() not in data for data in parts.values())
        assert any(held in note for note in result.notes)
    both = parts_of(packed(folder, with_not_asked=True, with_private=True))
    assert "photos/knee-2.png" in both
    assert all(b"knee-1" not in data for data in both.values())


def test_private_things_leave_only_when_asked_for(folder: Path) -> None:
    secret = {"findspot": "Long Meadow", "gps": "52.2083, 0.1250", "contact": "01632 960001"}
    write_private(folder, {"photo": "knee-1", "consent": "given"} | secret)
    for data in parts_of(packed(folder)).values():
        assert not any(value.encode() in data for value in secret.values())
    assert b"Long Meadow" in parts_of(packed(folder, with_private=True))["private.csv"]


@pytest.mark.parametrize("column", ["note", "source", "label_basis", "specimen"])
def test_a_findspot_that_somebody_wrote_elsewhere_does_not_leave(folder: Path, column: str) -> None:
    write_private(folder, {"photo": "knee-1", "consent": "given", "findspot": "Long Meadow"})

    def tell(rows: list[dict[str, str]]) -> None:
        row = next(row for row in rows if row["id"] == "knee-1")
        row[column] += " rendered, long-meadow 3"

    change_rows(folder, "photos.csv", PHOTO_COLUMNS, tell)
    before = everything_under(folder.parent)
    with pytest.raises(ShareError, match=f"knee-1, column {column}.*findspot"):
        packed(folder)
    assert everything_under(folder.parent) == before
    packed(folder, with_private=True)


def test_the_name_of_the_club_is_no_findspot(folder: Path) -> None:
    """The creator is credit, also where it repeats in the source."""
    write_private(folder, {"photo": "knee-1", "consent": "given", "findspot": "Harrow Fen"})

    def credit(rows: list[dict[str, str]]) -> None:
        for row in rows:
            row["source"] = "rendered by Harrow Fen Finds Club (invented)"

    change_rows(folder, "photos.csv", PHOTO_COLUMNS, credit)
    packed(folder)


def test_metadata_of_a_photo_does_not_leave(folder: Path, tmp_path: Path) -> None:
    file = folder / "photos/knee-1.jpg"
    picture((200, 40, 40), 9, side=40).save(file, "JPEG", exif=gps())

    def exchange(rows: list[dict[str, str]]) -> None:
        rows[0] |= photo_row(folder, "knee-1", "knee") | {"file": "photos/knee-1.jpg"}
        import hashlib

        rows[0]["sha256"] = hashlib.sha256(file.read_bytes()).hexdigest()

    change_rows(folder, "photos.csv", PHOTO_COLUMNS, exchange)
    assert Image.open(file).getexif()
    result = export_set(open_set(folder), tmp_path / "a.zip")
    assert any("knee-1" in note for note in result.notes)
    parts = parts_of(result.path)
    assert all(is_plain(data) for name, data in parts.items() if name.startswith("photos/"))
    assert faults(result.path, tmp_path / "x") == []
    assert open_set(unpack_set(result.path, tmp_path / "out").folder).photos


def test_formulas_leave_as_text_and_words_come_back(folder: Path, tmp_path: Path) -> None:
    notes = ["=1+1", "- seen in the hand", "'=quoted", "plain"]

    def write(rows: list[dict[str, str]]) -> None:
        for number, note in enumerate(notes[1:], start=2):
            rows.append(rows[0] | {"id": f"fen-{number}", "note": note})
        rows[0]["note"] = notes[0]

    change_rows(folder, "sources.csv", SOURCE_COLUMNS, write)
    package = packed(folder)
    table = parts_of(package)["sources.csv"].decode()
    assert ",'=1+1" in table and ",'- seen" in table and ",''=quoted" in table
    unpacked = unpack_set(package, tmp_path / "out")
    kept = [source.note for source in open_set(unpacked.folder).sources.values()]
    assert kept == ["'=1+1", *notes[1:]]
    assert any("sources.csv, row 2, column note" in note for note in unpacked.notes)


def test_a_photo_that_was_exchanged_or_is_missing_is_told(folder: Path) -> None:
    (folder / "photos/knee-1.png").write_bytes((folder / "photos/knee-2.png").read_bytes())
    (folder / "photos/dolphin-1.png").write_bytes(b"no photo")
    before = everything_under(folder.parent)
    with pytest.raises(ShareError) as caught:
        packed(folder)
    assert len(caught.value.reasons) == 2
    assert everything_under(folder.parent) == before


def test_nothing_is_overwritten_unasked(folder: Path, tmp_path: Path) -> None:
    there = tmp_path / "there.zip"
    there.write_bytes(b"mine")
    with pytest.raises(ShareError, match="exists"):
        export_set(open_set(folder), there)
    assert there.read_bytes() == b"mine"


def test_a_set_that_may_not_leave_at_all(folder: Path) -> None:
    rows = [{"photo": p.id, "consent": "refused"} for p in open_set(folder).photos]
    write_private(folder, *rows)
    with pytest.raises(ShareError, match="No photo"):
        packed(folder, with_private=True, with_not_asked=True)


def test_ids_that_are_device_names_or_very_long_get_safe_files(
    folder: Path, tmp_path: Path
) -> None:
    long = "-".join(["knee"] * 60)

    def rename(rows: list[dict[str, str]]) -> None:
        rows[0]["id"], rows[1]["id"] = "con", long

    change_rows(folder, "photos.csv", PHOTO_COLUMNS, rename)
    names = [name for name in parts_of(packed(folder)) if name.startswith("photos/")]
    assert "photos/_con.png" in names
    assert max(map(len, names)) < 120
    unpacked = open_set(unpack_set(packed(folder), tmp_path / "out").folder)
    assert {"con", long} <= {photo.id for photo in unpacked.photos}
