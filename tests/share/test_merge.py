"""Merging two sets: what is shown, what is chosen, and that the outcome is always a good set."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from simsearch.sets.check import check_set
from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.reference_set import open_set
from simsearch.sets.sources import SOURCE_COLUMNS
from simsearch.sets.types import TYPE_COLUMNS
from simsearch.share.merge import MergePlan, merge_sets, plan_merge
from simsearch.share.problems import ShareError
from tests.share.packages import (
    change_rows,
    club_set,
    everything_under,
    write_opinions,
    write_private,
)
from tests.tiny_set import photo_row, picture, type_row


@pytest.fixture
def ours(tmp_path: Path) -> Path:
    return club_set(tmp_path / "ours")


@pytest.fixture
def theirs(ours: Path, tmp_path: Path) -> Path:
    """A copy of ours, to be changed."""
    return Path(shutil.copytree(ours, tmp_path / "theirs"))


def change(folder: Path, photo: str, **cells: str) -> None:
    """Change the row of one photo."""

    def edit(rows: list[dict[str, str]]) -> None:
        next(row for row in rows if row["id"] == photo).update(cells)

    change_rows(folder, "photos.csv", PHOTO_COLUMNS, edit)


def change_type(folder: Path, type_id: str, **cells: str) -> None:
    def edit(rows: list[dict[str, str]]) -> None:
        next(row for row in rows if row["id"] == type_id).update(cells)

    change_rows(folder, "types.csv", TYPE_COLUMNS, edit)


def add_photo(folder: Path, photo: str, type_id: str, seed: int, **cells: str) -> None:
    picture((90, 90, 90), seed).save(folder / f"photos/{photo}.png")
    row = photo_row(folder, photo, type_id, **cells)
    change_rows(folder, "photos.csv", PHOTO_COLUMNS, lambda rows: rows.append(row))


def sound(folder: Path) -> None:
    """Raise unless the set passes its own check, the index apart."""
    errors = [p for p in check_set(folder) if p.severity == "error" and p.where != "index"]
    assert not errors


def names(plan: MergePlan) -> list[str]:
    return [conflict.name for conflict in plan.conflicts]


def photo(folder: Path, photo_id: str) -> dict[str, str]:
    found = next(row for row in open_set(folder).photos if row.id == photo_id)
    return {"type": found.type, "specimen": found.specimen, "sha256": found.sha256,
            "labelled_by": found.labelled_by, "licence": found.licence}  # fmt: skip


def opinions(folder: Path) -> set[tuple[str, str, str]]:
    return {(row.photo, row.type, row.by) for row in open_set(folder).opinions}


def test_the_same_set_again_changes_nothing(ours: Path, theirs: Path) -> None:
    before = everything_under(ours)
    plan = merge_sets(ours, theirs)
    assert (plan.known, plan.new_photos, plan.conflicts) == (6, (), ())
    after = everything_under(ours)
    assert {k: v for k, v in after.items() if "lock" not in k} == before


def test_new_photos_types_and_sources_come_in(ours: Path, theirs: Path) -> None:
    def link(rows: list[dict[str, str]]) -> None:
        rows.append(type_row("nail", sources="fen-2", look_alikes="jetton: longer"))
        next(r for r in rows if r["id"] == "jetton")["look_alikes"] = "nail: rounder"

    def add(rows: list[dict[str, str]]) -> None:
        rows.append(rows[0] | {"id": "fen-2"})

    change_rows(theirs, "sources.csv", SOURCE_COLUMNS, add)
    change_rows(theirs, "types.csv", TYPE_COLUMNS, link)
    add_photo(theirs, "nail-1", "nail", 5)
    plan = merge_sets(ours, theirs)
    assert (plan.new_photos, plan.new_types, plan.new_sources) == (("nail-1",), ("nail",),
                                                                   ("fen-2",))  # fmt: skip
    assert plan.conflicts == ()
    sound(ours)
    jetton = open_set(ours).types["jetton"]
    assert [link.type_id for link in jetton.look_alikes] == ["nail"]
    assert merge_sets(ours, theirs).new_photos == ()


def test_planning_changes_nothing(ours: Path, theirs: Path) -> None:
    add_photo(theirs, "more-1", "knee", 5)
    before = everything_under(ours.parent)
    assert plan_merge(ours, theirs).new_photos == ("more-1",)
    assert everything_under(ours.parent) == before


@pytest.mark.parametrize("way", ["ours", "theirs"])
def test_types_that_differ_in_dates_and_words(ours: Path, theirs: Path, way: str) -> None:
    change_type(theirs, "knee", date_edtf="-0049/0060", front="A round thing.")
    plan = plan_merge(ours, theirs)
    assert names(plan) == ["type:knee"]
    assert "ours c. AD 100 - AD 200, theirs 50 BC - AD 60" in plan.conflicts[0].what
    assert "front" in plan.conflicts[0].what
    before = everything_under(ours)
    with pytest.raises(ShareError, match="type:knee"):
        merge_sets(ours, theirs)
    assert {k: v for k, v in everything_under(ours).items() if "lock" not in k} == before
    merge_sets(ours, theirs, {"type:knee": way})
    words = {"ours": "A red square.", "theirs": "A round thing."}
    assert open_set(ours).types["knee"].features["front"] == words[way]
    sound(ours)


@pytest.mark.parametrize("way", ["ours", "theirs"])
def test_one_picture_with_two_labels_keeps_both(ours: Path, theirs: Path, way: str) -> None:
    other = "A. Recorder (invented)"
    change(theirs, "knee-1", type="dolphin", labelled_by=other)
    assert names(plan_merge(ours, theirs)) == ["label:knee-1"]
    merge_sets(ours, theirs, {"label": way})
    assert photo(ours, "knee-1")["type"] == {"ours": "knee", "theirs": "dolphin"}[way]
    assert opinions(ours) == {("knee-1", "knee", "the tests"), ("knee-1", "dolphin", other)}
    sound(ours)
    again = merge_sets(ours, theirs, {"label": way})
    assert again.opinions == 0


def test_a_label_moves_the_whole_object(ours: Path, theirs: Path) -> None:
    """Their second photo of an object of ours comes in under the label in force."""
    change(ours, "knee-2", specimen="knee-1")
    change(theirs, "knee-1", type="dolphin", specimen="d-9")
    add_photo(theirs, "back-1", "dolphin", 5, specimen="d-9", labelled_by="B (invented)")
    for way, kind in (("ours", "knee"), ("theirs", "dolphin")):
        copy = Path(shutil.copytree(ours, ours.parent / f"copy-{way}"))
        plan = merge_sets(copy, theirs, {"label": way, "specimen": "other"})
        assert any("d-9" in note for note in plan.notes)
        for id_ in ("knee-1", "knee-2", "back-1"):
            assert photo(copy, id_)["type"] == kind
            assert photo(copy, id_)["specimen"] == "knee-1"
        assert ("back-1", "dolphin", "B (invented)") in opinions(copy) or way == "theirs"
        sound(copy)


@pytest.mark.parametrize("way", ["both", "ours", "theirs"])
def test_one_id_for_two_pictures(ours: Path, theirs: Path, way: str) -> None:
    picture((9, 9, 9), 77).save(theirs / "photos/knee-1.png")
    change(theirs, "knee-1", **photo_row(theirs, "knee-1", "knee", specimen="new-1"))
    write_private(ours, {"photo": "knee-1", "consent": "given", "note": "of ours"})
    before = photo(ours, "knee-1")["sha256"]
    new = photo(theirs, "knee-1")["sha256"]
    assert names(plan_merge(ours, theirs)) == ["photo:knee-1"]
    merge_sets(ours, theirs, {"photo:knee-1": way})
    sound(ours)
    found = {row.id: row.sha256 for row in open_set(ours).photos}
    assert found["knee-1"] == (new if way == "theirs" else before)
    assert (found.get("knee-1-2") == new) == (way == "both")
    assert ("knee-1" in open_set(ours).private) == (way != "theirs")
    files = sum(1 for _ in (ours / "photos").iterdir())
    assert files == {"both": 7, "ours": 6, "theirs": 6}[way]


def test_one_name_for_two_objects(ours: Path, theirs: Path) -> None:
    add_photo(ours, "ours-9", "knee", 5, specimen="box 9")
    add_photo(theirs, "theirs-9", "knee", 6, specimen="box 9")
    assert names(plan_merge(ours, theirs)) == ["specimen:box 9"]
    same = Path(shutil.copytree(ours, ours.parent / "same"))
    merge_sets(same, theirs, {"specimen": "same"})
    assert photo(same, "theirs-9")["specimen"] == "box 9"
    merge_sets(ours, theirs, {"specimen": "other"})
    assert photo(ours, "theirs-9")["specimen"] == "box 9-2"
    sound(ours)
    change(theirs, "theirs-9", type="dolphin")
    again = club_set(ours.parent / "again")
    add_photo(again, "ours-9", "knee", 5, specimen="box 9")
    with pytest.raises(ShareError, match="no way to settle"):
        merge_sets(again, theirs, {"specimen": "same"})


def test_other_licences_are_shown(ours: Path, theirs: Path) -> None:
    change(theirs, "knee-1", licence="CC-BY-4.0")
    change(theirs, "knee-2", note="rendered, seen again")
    change_type(theirs, "jetton", front="Other words.")
    write_datapackage(theirs, licence="CC-BY-SA-4.0")
    choices = {"type": "theirs", "licence:knee-1": "theirs", "details": "ours"}
    with pytest.raises(ShareError, match="licence:tables"):
        merge_sets(ours, theirs, choices)
    plan = merge_sets(ours, theirs, choices | {"licence:tables": "both"})
    assert set(names(plan)) == {"type:jetton", "licence:knee-1", "details:knee-2",
                                "licence:tables"}  # fmt: skip
    assert photo(ours, "knee-1")["licence"] == "CC-BY-4.0"
    text = (ours / "datapackage.json").read_text()
    assert "CC0-1.0" in text and "CC-BY-SA-4.0" in text
    sound(ours)


def test_opinions_and_private_rows_come_along(ours: Path, theirs: Path) -> None:
    add_photo(theirs, "new-1", "knee", 5)
    row = {"type": "dolphin", "by": "C (invented)", "authority": "seen in the hand"}
    write_opinions(ours, row | {"photo": "knee-1", "specimen": "knee-1"})
    write_opinions(theirs, *(row | {"photo": p, "specimen": p} for p in ("knee-1", "new-1")))
    write_private(ours, {"photo": "knee-1", "consent": "given"})
    write_private(theirs, {"photo": "knee-1", "consent": "refused"},
                  {"photo": "new-1", "consent": "not asked"})  # fmt: skip
    assert names(plan_merge(ours, theirs)) == ["private:knee-1"]
    assert merge_sets(ours, theirs, {"private": "theirs"}).opinions == 1
    reference = open_set(ours)
    assert [row.photo for row in reference.opinions] == ["knee-1", "new-1"]
    assert reference.private["knee-1"].consent == "refused"
    assert reference.private["new-1"].consent == "not asked"
    sound(ours)


def test_choices_that_fit_nothing_are_told(ours: Path, theirs: Path) -> None:
    change_type(theirs, "knee", front="Other.")
    with pytest.raises(ShareError) as caught:
        merge_sets(ours, theirs, {"type:knee": "maybe", "type:nail": "ours"})
    assert len(caught.value.reasons) == 2
    with pytest.raises(ShareError, match="itself"):
        merge_sets(ours, ours)


def test_a_photo_that_is_not_the_one_that_was_labelled(ours: Path, theirs: Path) -> None:
    add_photo(theirs, "new-1", "knee", 5)
    picture((1, 2, 3), 9).save(theirs / "photos/new-1.png")
    before = {k: v for k, v in everything_under(ours).items() if "lock" not in k}
    with pytest.raises(ShareError, match="new-1"):
        merge_sets(ours, theirs)
    assert {k: v for k, v in everything_under(ours).items() if "lock" not in k} == before


def test_sets_changed_at_random_always_merge_to_a_good_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("os.fsync", lambda descriptor: None)
    for seed in range(25):
        chance = random.Random(seed)
        ours, theirs = (
            changed(club_set(tmp_path / f"{side}-{seed}"), chance) for side in ("ours", "theirs")
        )
        known = {row.sha256 for row in open_set(ours).photos}
        plan = plan_merge(ours, theirs)
        choices: dict[str, str] = {}
        while plan.open:  # settling one conflict may bring up another
            choices |= {c.name: chance.choice(c.options) for c in plan.open}
            plan = plan_merge(ours, theirs, choices)
        done = merge_sets(ours, theirs, choices)
        sound(ours)
        gone = sum(way == "theirs" for name, way in choices.items() if name.startswith("photo:"))
        found = {row.sha256 for row in open_set(ours).photos}
        assert len(known - found) == gone, seed
        assert len(found) == len(known) + len(done.new_photos) - gone, seed


def changed(folder: Path, chance: random.Random) -> Path:
    """Change a set at random in ways that leave it good."""
    for number in range(4):
        add_photo(folder, f"more-{number}", chance.choice(["knee", "dolphin"]),
                  chance.randrange(6) + 10 * number, specimen=f"more-{number}")  # fmt: skip
    kinds = {row.specimen: row.type for row in open_set(folder).photos}
    for row in open_set(folder).photos:
        if chance.random() < 0.3:
            specimen = chance.choice(list(kinds))
            change(folder, row.id, specimen=specimen, type=kinds[specimen])
            others = [o for o in open_set(folder).photos if o.specimen == row.specimen]
            kinds |= {o.specimen: o.type for o in others}
    specimens = {row.specimen for row in open_set(folder).photos}
    for name in sorted(specimens):
        if chance.random() < 0.2:
            kind = chance.choice(["knee", "dolphin", "jetton"])
            for row in open_set(folder).photos:
                if row.specimen == name:
                    change(folder, row.id, type=kind, labelled_by=f"D {folder.name}")
    return folder
