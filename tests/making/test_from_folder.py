"""Types, objects and views read from names of folders and files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from simsearch.making.from_folder import plan_from_folder
from simsearch.making.plan import Plan
from simsearch.sets.reference_set import open_set
from tests.making.club import DEFAULTS, club_set, modified, snap


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return club_set(tmp_path / "set")


def plan(folder: Path, tmp_path: Path, *files: str) -> Plan:
    for number, file in enumerate(files):
        snap(tmp_path / "in" / file, seed=number)
    return plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS)


# Worked out by hand from the rules that the module's docstring states.
@pytest.mark.parametrize(
    ("file", "type_id", "specimen", "view", "completeness"),
    [
        ("knee_03_back.jpg", "knee", "knee-03", "back", "complete"),
        ("KNEE 03 Front.JPG", "knee", "knee-03", "front", "complete"),
        ("Hod_Hill-2.png", "hod-hill", "hod-hill-2", "front", "complete"),
        ("hodhill2reverse.png", "hod-hill", "hod-hill-2", "back", "complete"),
        ("hodhill_2_reverse.png", "hod-hill", "hod-hill-2", "back", "complete"),
        ("Knee brooches/03-side.jpg", "knee", "knee-03", "side", "complete"),
        ("angled bow/IMG_1234.jpg", "knee", "knee-img-1234", "front", "complete"),
        ("Roman/Knee/07/front.jpg", "knee", "knee-07", "front", "complete"),
        ("Roman/Knee/07/IMG_1.jpg", "knee", "knee-07", "front", "complete"),
        ("knee/back/12.jpg", "knee", "knee-12", "back", "complete"),
        ("knee/knee_12_frag_obv.jpg", "knee", "knee-12", "front", "fragment"),
        ("knee/12_back_2.jpg", "knee", "knee-12", "back", "complete"),
        ("knee/back_12.jpg", "knee", "knee-12", "back", "complete"),
        ("knee/back.jpg", "knee", "knee", "back", "complete"),
        ("Dolphin/knee/1.jpg", "knee", "knee-1", "front", "complete"),
        ("dolphins/Détail 4.jpg", "dolphin", "dolphin-4", "detail", "complete"),
        ("hill brooches/hod hill 5 closeup.jpg", "hod-hill", "hod-hill-5", "detail", "complete"),
    ],
)
def test_what_a_name_says(
    folder: Path, tmp_path: Path, file: str, type_id: str, specimen: str, view: str,
    completeness: str,
) -> None:  # fmt: skip
    found = plan(folder, tmp_path, file)
    assert found.errors == ()
    (item,) = found.incoming
    row = item.row
    assert (row.type, row.specimen, row.view, row.completeness) == (
        type_id, specimen, view, completeness,
    )  # fmt: skip
    assert (row.creator, row.licence, row.labelled_on) == (
        DEFAULTS.creator, "CC-BY-4.0", "2026-02-01",
    )  # fmt: skip


def test_ids_are_slugs_and_all_different(folder: Path, tmp_path: Path) -> None:
    files = ("knee/1.jpg", "knee/Nº 1!.jpg", "knee/knee 1.jpg", "knee/発見.jpg", "dolphin/1.jpg")
    ids = [item.row.id for item in plan(folder, tmp_path, *files).incoming]
    assert len(set(ids)) == 5
    assert "knee-1" not in ids  # the set has a photo of that id
    assert {item[: len("knee-1")] for item in ids[1:]} >= {"knee-1"}


@pytest.mark.parametrize(
    ("file", "told"),
    [
        ("sphinx/1.jpg", "Neither folder nor name says a type"),
        ("1.jpg", "Neither folder nor name says a type"),
        ("knee/dolphin_2.jpg", "The folder says knee, the name dolphin."),
    ],
)
def test_what_is_left_out_and_why(folder: Path, tmp_path: Path, file: str, told: str) -> None:
    found = plan(folder, tmp_path, file, "knee/2.jpg")
    assert len(found.incoming) == 1
    (error,) = found.errors
    assert error.where == file
    assert told in error.what
    assert all("\n" not in line for line in found.lines())


def test_a_name_nearly_right_is_suggested_but_not_taken(folder: Path, tmp_path: Path) -> None:
    found = plan(folder, tmp_path, "Dolfin/1.jpg")
    assert found.incoming == ()
    assert "Did you mean dolphin?" in found.errors[0].what_to_do


def test_a_name_of_two_types_is_not_guessed(folder: Path, tmp_path: Path) -> None:
    from simsearch.making.types import change_type

    change_type(folder, "dolphin", {"other_names": "angled bow"})
    found = plan(folder, tmp_path, "angled bow/1.jpg", "angled bow/knee 2.jpg")
    assert "could mean dolphin or knee" in found.errors[0].what
    assert [item.row.type for item in found.incoming] == ["knee"]  # folder and name agree on it


def test_what_names_do_not_say_is_told_once(folder: Path, tmp_path: Path) -> None:
    found = plan(folder, tmp_path, "knee/4.jpg", "knee/5.jpg", "knee/6_back.jpg")
    views = [line for line in found.lines() if "view" in line]
    assert views == [
        "for all photos: 2 names do not say the view. It is taken to be 'front'; correct what is "
        "not."
    ]


def test_a_specimen_of_the_set_is_joined_and_that_is_told(folder: Path, tmp_path: Path) -> None:
    found = plan(folder, tmp_path, "knee_1_back.jpg", "knee_1_side.jpg")
    assert {item.row.specimen for item in found.incoming} == {"knee-1"}
    assert sum("count as the same object" in line for line in found.lines()) == 1


def test_a_fault_of_the_defaults_is_told_once(folder: Path, tmp_path: Path) -> None:
    for number in range(3):
        snap(tmp_path / f"in/knee/{number}.jpg", seed=number)
    bad = replace(DEFAULTS, licence="all rights reserved", creator="", view="top")
    found = plan_from_folder(open_set(folder), tmp_path / "in", bad)
    assert found.incoming == ()
    assert sorted(error.where for error in found.errors) == [
        "for all photos, creator", "for all photos, licence", "for all photos, view",
    ]  # fmt: skip


def test_nothing_is_written(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "in/knee").mkdir(parents=True)
    (tmp_path / "in/knee/bad.jpg").write_bytes(b"no picture")
    before = modified(tmp_path)
    found = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS, open_photos=True)
    assert modified(tmp_path) == before
    assert found.incoming == ()
    assert "bad.jpg" in found.errors[0].where


def test_a_folder_without_photos_is_told(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    assert "no photos" in plan(folder, tmp_path).errors[0].what
