"""New sets, types, opinions, and photos that are withdrawn."""

from __future__ import annotations

from pathlib import Path

import pytest

from simsearch.errors import SetError
from simsearch.index import open_index
from simsearch.making.add import add_photos
from simsearch.making.from_folder import plan_from_folder
from simsearch.making.labels import give_opinion
from simsearch.making.new_set import make_set
from simsearch.making.types import add_type, change_type
from simsearch.making.withdraw import withdraw_photos
from simsearch.sets.check import check_set
from simsearch.sets.opinions import Opinion
from simsearch.sets.problems import TablesError
from simsearch.sets.reference_set import open_set, shipped_set_folder
from tests.making.club import DEFAULTS, club_set, errors, snap, tree
from tests.tiny_set import GridEncoder, type_row

WHO = "B. Finder (invented)"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a set to which two photos of knee-03 were added, with an index."""
    folder = club_set(tmp_path / "set")
    for number, name in enumerate(("knee_03_front.jpg", "knee_03_back.jpg")):
        snap(tmp_path / "in" / name, seed=number)
    add_photos(folder, plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS))
    open_set(folder).rebuild_index(GridEncoder())
    return folder


def test_a_new_set_has_the_shipped_types_and_no_photos(tmp_path: Path) -> None:
    folder = make_set(tmp_path / "club", "Harrow Fen Finds Club (invented)")
    reference = open_set(folder)
    assert reference.title == "Harrow Fen Finds Club (invented)"
    assert dict(reference.types) == dict(open_set(shipped_set_folder()).types)
    assert reference.photos == ()
    assert errors(folder) == []


def test_a_new_set_may_have_the_types_of_another_or_none(folder: Path, tmp_path: Path) -> None:
    other = make_set(tmp_path / "other", "Other (invented)", types_from=folder)
    assert list(open_set(other).types) == list(open_set(folder).types)
    assert errors(other) == []
    bare = make_set(tmp_path / "bare", "Bare (invented)", with_types=False)
    assert check_set(bare) == []


def test_a_new_set_wants_an_empty_folder(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full/mine.txt").write_text("mine")
    for place in (folder, tmp_path / "full", tmp_path / "full/mine.txt"):
        with pytest.raises(SetError):
            make_set(place, "Fen")
    assert tree(tmp_path / "full") == {"mine.txt": b"mine"}
    with pytest.raises(SetError, match="title"):
        make_set(tmp_path / "x", " ")


def test_a_type_is_added_and_its_look_alikes_point_back(folder: Path) -> None:
    add_type(folder, type_row("fen", look_alikes="knee: flatter | dolphin: longer"))
    reference = open_set(folder)
    assert reference.types["fen"].dates.words() == open_set(folder).types["knee"].dates.words()
    for other, words in (("knee", "flatter"), ("dolphin", "longer")):
        (back,) = [one for one in reference.types[other].look_alikes if one.type_id == "fen"]
        assert words in back.separates
    assert errors(folder) == []


@pytest.mark.parametrize(
    "cells",
    [
        {"id": "knee"}, {"id": "Not A Slug"}, {"date_edtf": "about 50"}, {"group": "brooches"},
        {"look_alikes": "sphinx: bigger"}, {"sources": "nowhere"}, {"name": ""},
        {"look_alikes": "fen: itself"},
    ],
)  # fmt: skip
def test_a_wrong_type_changes_nothing(folder: Path, cells: dict[str, str]) -> None:
    before = tree(folder)
    with pytest.raises(SetError):
        add_type(folder, type_row("fen") | cells)
    assert tree(folder) == before


def test_a_type_is_changed_but_keeps_its_id(folder: Path) -> None:
    change_type(folder, "knee", {"date_edtf": "0120~/0180"})
    assert open_set(folder).types["knee"].dates.edtf == "0120~/0180"
    assert errors(folder) == []
    before = tree(folder)
    for wrong in ({"id": "ankle"}, {"colour": "red"}):
        with pytest.raises(SetError):
            change_type(folder, "knee", wrong)
    with pytest.raises(TablesError):
        change_type(folder, "knee", {"date_edtf": "long ago"})
    with pytest.raises(SetError, match="sphinx"):
        change_type(folder, "sphinx", {"name": "Sphinx"})
    assert tree(folder) == before


def history(folder: Path, photo: str) -> list[tuple[str, str, str]]:
    return [(one.type, one.by, one.on) for one in open_set(folder).opinions if one.photo == photo]


def test_a_second_opinion_stands_beside_the_first(folder: Path) -> None:
    assert give_opinion(
        folder, "knee-03-back", "dolphin", WHO, "from the photo", "the head", in_force=False,
        on="2026-03-01",
    ) == ()  # fmt: skip
    first = ("knee", DEFAULTS.labelled_by, "2026-02-01")
    assert history(folder, "knee-03-back") == [first, ("dolphin", WHO, "2026-03-01")]
    assert history(folder, "knee-03-front") == [first]
    assert open_set(folder).opinions[-1].note == "the head"
    assert {photo.type for photo in open_set(folder).photos if photo.specimen == "knee-03"} == {
        "knee"
    }
    assert errors(folder) == []


def test_a_label_in_force_moves_the_whole_specimen_and_keeps_the_history(folder: Path) -> None:
    moved = give_opinion(
        folder, "knee-03-back", "dolphin", WHO, "finds officer", in_force=True, on="2026-03-01"
    )
    assert sorted(moved) == ["knee-03-back", "knee-03-front"]
    for photo in open_set(folder).photos:
        if photo.specimen == "knee-03":
            assert (photo.type, photo.labelled_by) == ("dolphin", WHO)
            assert (photo.label_basis, photo.labelled_on) == ("finds officer", "2026-03-01")
            assert history(folder, photo.id) == [
                ("knee", DEFAULTS.labelled_by, "2026-02-01"), ("dolphin", WHO, "2026-03-01"),
            ]  # fmt: skip
    assert errors(folder) == []
    open_set(folder).index  # noqa: B018 - labels are not in it, so it still fits


def test_the_label_of_a_photo_without_history_is_kept_first(folder: Path) -> None:
    give_opinion(folder, "dolphin-1", "knee", WHO, "handbook", in_force=True, on="2026-03-01")
    assert history(folder, "dolphin-1") == [
        ("dolphin", "the tests", "2026-01-31"), ("knee", WHO, "2026-03-01"),
    ]  # fmt: skip


def test_the_table_of_opinions_only_grows(folder: Path) -> None:
    before = (folder / "opinions.csv").read_bytes()
    for type_id in ("dolphin", "knee", "hod-hill"):
        give_opinion(folder, "knee-03-back", type_id, WHO, "seen in the hand", in_force=True)
        after = (folder / "opinions.csv").read_bytes()
        assert after.startswith(before)
        assert len(after) > len(before)
        before = after
    assert isinstance(open_set(folder).opinions[0], Opinion)


@pytest.mark.parametrize(
    "wrong",
    [("nobody", "knee", WHO, "x"), ("knee-1", "sphinx", WHO, "x"), ("knee-1", "knee", " ", "x"),
     ("knee-1", "knee", WHO, "")],
)  # fmt: skip
def test_an_opinion_needs_all_it_consists_of(folder: Path, wrong: tuple[str, ...]) -> None:
    before = tree(folder)
    with pytest.raises(SetError):
        give_opinion(folder, *wrong, in_force=True)
    with pytest.raises(SetError, match="not a day"):
        give_opinion(folder, "knee-1", "knee", WHO, "x", in_force=False, on="1 May")
    assert tree(folder) == before


def test_a_withdrawn_photo_really_goes(folder: Path, tmp_path: Path) -> None:
    snap(tmp_path / "in2/knee_9.jpg", seed=9)
    photo = plan_from_folder(open_set(folder), tmp_path / "in2", DEFAULTS)
    add_photos(folder, photo)
    open_set(folder).rebuild_index(GridEncoder())
    give_opinion(folder, "knee-9", "knee", WHO, "in the hand", in_force=False)
    row = next(row for row in open_set(folder).photos if row.id == "knee-9")
    vector = open_set(folder).index.vectors[open_set(folder).index.photo_ids.index("knee-9")]

    withdraw_photos(folder, ["knee-9"])
    assert errors(folder) == []
    assert {found.where for found in check_set(folder)} == {"types.csv"}
    reference = open_set(folder)
    assert "knee-9" not in reference.index.photo_ids
    for file, content in tree(folder).items():
        assert b"knee-9" not in content, file
        assert row.sha256.encode() not in content, file
        assert vector.tobytes() not in content, file
    assert not (folder / row.file).exists()
    # The rest of the index is what it was.
    kept = open_index(folder / "index")
    open_set(folder).rebuild_index(GridEncoder())
    assert (kept.vectors == open_index(folder / "index").vectors).all()


def test_all_photos_may_be_withdrawn(folder: Path) -> None:
    withdraw_photos(folder, [photo.id for photo in open_set(folder).photos])
    assert open_set(folder).photos == ()
    assert errors(folder) == []


def test_an_unknown_photo_withdraws_none(folder: Path) -> None:
    before = tree(folder)
    for wrong in (["knee-1", "nobody"], []):
        with pytest.raises(SetError):
            withdraw_photos(folder, wrong)
    assert tree(folder) == before
