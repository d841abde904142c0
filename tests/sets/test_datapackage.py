"""The description of a set, checked by the frictionless library (data package version 1)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from simsearch.errors import SetError
from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.reference_set import open_set
from tests.tiny_set import make_set, photo_row, type_row, write_photos, write_types


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_set(tmp_path / "Harrow Fen")


def described(folder: Path) -> dict[str, Any]:
    package: dict[str, Any] = json.loads((folder / "datapackage.json").read_text("utf-8"))
    return package


def faults(folder: Path) -> list[str]:
    frictionless = pytest.importorskip("frictionless")
    report = frictionless.validate(str(folder / "datapackage.json"))
    return [row[0] for row in report.flatten(["type"])]


def test_frictionless_finds_nothing_wrong(folder: Path) -> None:
    write_datapackage(folder, title="Harrow Fen Finds Club (invented)", licence="CC0-1.0")
    assert faults(folder) == []


def test_frictionless_reads_the_same_rows(folder: Path) -> None:
    frictionless = pytest.importorskip("frictionless")
    package = frictionless.Package(str(write_datapackage(folder)))
    reference = open_set(folder)
    photos = package.get_resource("photos").read_rows()
    assert [row["id"] for row in photos] == [photo.id for photo in reference.photos]
    types = package.get_resource("types").read_rows()
    assert [row["id"] for row in types] == list(reference.types)


def test_frictionless_sees_a_table_that_changed_afterwards(folder: Path) -> None:
    write_datapackage(folder)
    with open(folder / "sources.csv", "ab") as handle:
        handle.write(b"fen-2,More notes,,,read,\r\n")
    assert "hash-count" in faults(folder)


def test_frictionless_sees_a_value_that_is_not_allowed(folder: Path) -> None:
    rows = [photo_row(folder, "knee-1", "knee", view="top", licence="CC-BY-NC-4.0")]
    write_photos(folder, rows)
    write_datapackage(folder)
    assert faults(folder).count("constraint-error") == 2


def test_frictionless_sees_a_photo_of_no_type(folder: Path) -> None:
    write_types(folder, [type_row("dolphin")])
    write_datapackage(folder)
    assert "foreign-key" in faults(folder)


def test_words_of_an_earlier_description_are_kept(folder: Path) -> None:
    write_datapackage(folder, name="fen", title="Fen", description="Invented.")
    package = described(folder) | {"contributors": [{"title": "The club (invented)"}]}
    (folder / "datapackage.json").write_text(json.dumps(package))
    write_datapackage(folder)
    assert described(folder) == package
    assert (open_set(folder).name, open_set(folder).title) == ("fen", "Fen")


def test_a_name_is_made_from_the_folder(folder: Path) -> None:
    write_datapackage(folder)
    assert described(folder)["name"] == "harrow-fen"


def test_an_unknown_licence_or_a_missing_table_is_refused(folder: Path) -> None:
    with pytest.raises(SetError, match="open licence"):
        write_datapackage(folder, licence="CC-BY-NC-4.0")
    (folder / "sources.csv").unlink()
    with pytest.raises(SetError, match=r"sources\.csv is missing"):
        write_datapackage(folder)
    assert not (folder / "datapackage.json").exists()


@pytest.mark.parametrize("content", ["{", "[]"])
def test_a_description_that_cannot_be_read_is_left_alone(folder: Path, content: str) -> None:
    (folder / "datapackage.json").write_text(content)
    with pytest.raises(SetError, match=r"datapackage\.json"):
        write_datapackage(folder)
    with pytest.raises(SetError, match=r"datapackage\.json"):
        open_set(folder)
    assert (folder / "datapackage.json").read_text() == content
