"""Adding photos: whole batches, resumable, no metadata, one bad photo stops nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image, ImageChops

from simsearch.errors import SetError
from simsearch.making.add import Added, add_photos
from simsearch.making.from_folder import plan_from_folder
from simsearch.making.plan import Incoming, make_plan
from simsearch.making.withdraw import withdraw_photos
from simsearch.sets.check import check_set
from simsearch.sets.private import PrivateRow
from simsearch.sets.reference_set import open_set
from simsearch.sets.write import locked
from tests.making.club import DEFAULTS, club_set, errors, snap
from tests.page.gps import MARKER, save_photo_with_place


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return club_set(tmp_path / "set")


def bring_in(folder: Path, source: Path, **options: object) -> Added:
    plan = plan_from_folder(open_set(folder), source, DEFAULTS)
    return add_photos(folder, plan, **options)  # type: ignore[arg-type]


def test_photos_come_in_with_rows_opinions_and_description(folder: Path, tmp_path: Path) -> None:
    snap(tmp_path / "in/knee_03_front.jpg", seed=1)
    snap(tmp_path / "in/knee_03_back.png", seed=2)
    steps: list[tuple[int, int]] = []
    added = bring_in(folder, tmp_path / "in", progress=lambda *step: steps.append(step))
    assert (added.count, added.problems, steps) == (2, (), [(2, 2)])
    reference = open_set(folder)
    new = [photo for photo in reference.photos if photo.id in added.ids]
    assert {photo.specimen for photo in new} == {"knee-03"}
    assert {photo.file for photo in new} == {f"photos/{photo.id}.jpg" for photo in new}
    assert [(op.photo, op.by, op.type) for op in reference.opinions] == [
        (photo.id, DEFAULTS.labelled_by, "knee") for photo in new
    ]
    assert errors(folder) == []
    assert {found.where for found in check_set(folder)} <= {"index", "types.csv"}


def test_what_is_stored_is_upright_small_jpeg_without_metadata(
    folder: Path, tmp_path: Path
) -> None:
    exif = Image.Exif()
    exif[274] = 6  # Exif 2.32, 4.6.4 A: the first row is the right-hand side
    exif[271] = "Harrow Fen camera"
    snap(tmp_path / "in/knee_1.jpg", seed=3, size=(2000, 1000), exif=exif)
    (photo_id,) = bring_in(folder, tmp_path / "in").ids
    path = folder / f"photos/{photo_id}.jpg"
    with Image.open(path) as stored:
        assert (stored.format, stored.size) == ("JPEG", (800, 1600))
        assert not stored.getexif() and set(stored.info) <= {
            "jfif", "jfif_version", "jfif_unit", "jfif_density",
        }  # fmt: skip
        # The tables that Pillow gives quality 92, from saving some picture with it.
        Image.new("RGB", (16, 16)).save(tmp_path / "92.jpg", quality=92)
        with Image.open(tmp_path / "92.jpg") as known:
            assert stored.quantization == known.quantization  # type: ignore[attr-defined]
    assert b"Harrow Fen camera" not in path.read_bytes()


def test_the_pixels_are_those_of_the_photo(folder: Path, tmp_path: Path) -> None:
    Image.linear_gradient("L").convert("RGB").save(tmp_path / "g.png")
    (tmp_path / "in").mkdir()
    (tmp_path / "g.png").rename(tmp_path / "in/knee 1.png")
    (photo_id,) = bring_in(folder, tmp_path / "in").ids
    with Image.open(folder / f"photos/{photo_id}.jpg") as stored:
        apart = ImageChops.difference(stored, Image.linear_gradient("L").convert("RGB"))
        assert max(high for _, high in apart.getextrema()) <= 6  # type: ignore[misc]


def test_the_place_stays_out_unless_asked_for(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    save_photo_with_place(tmp_path / "in/knee_1.jpg")
    bring_in(folder, tmp_path / "in")
    assert open_set(folder).private == {}
    assert not [
        path for path in folder.rglob("*") if path.is_file() and MARKER in path.read_bytes()
    ]

    save_photo_with_place(tmp_path / "in/knee_2.jpg", colour=(1, 2, 3))
    (photo_id,) = bring_in(folder, tmp_path / "in", keep_gps=True).ids
    # 52 degrees 30' 15" is 52.50417, 0 degrees 20' 45" is 0.34583 (by hand).
    assert open_set(folder).private[photo_id] == PrivateRow(photo_id, gps="52.50417, 0.34583")
    assert MARKER not in (folder / f"photos/{photo_id}.jpg").read_bytes()
    assert "private" not in (folder / "datapackage.json").read_text()
    assert errors(folder) == []


def test_one_bad_photo_never_stops_the_rest(folder: Path, tmp_path: Path) -> None:
    for number in range(6):
        snap(tmp_path / f"in/knee/{number}.jpg", seed=number)
    (tmp_path / "in/knee/2.jpg").write_bytes(b"no picture at all")
    cut = (tmp_path / "in/knee/3.jpg").read_bytes()
    (tmp_path / "in/knee/3.jpg").write_bytes(cut[: len(cut) // 2])
    (tmp_path / "in/knee/4.jpg").write_bytes(b"")
    added = bring_in(folder, tmp_path / "in", batch=2)
    assert added.count == 3
    assert sorted(found.where for found in added.problems) == [
        "knee/2.jpg", "knee/3.jpg", "knee/4.jpg",
    ]  # fmt: skip
    assert errors(folder) == []


def test_a_file_gone_between_plan_and_adding_is_told(folder: Path, tmp_path: Path) -> None:
    gone, kept = (snap(tmp_path / f"in/knee/{n}.jpg", seed=n) for n in range(2))
    plan = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS)
    gone.unlink()
    added = add_photos(folder, plan)
    assert added.count == 1
    assert added.problems[0].where == "knee/0.jpg"
    assert kept.exists()


def test_an_import_that_was_stopped_goes_on(folder: Path, tmp_path: Path) -> None:
    for number in range(7):
        snap(tmp_path / f"in/knee/{number}.jpg", seed=number)

    def stop_after_four(done: int, _: int) -> None:
        if done >= 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        bring_in(folder, tmp_path / "in", batch=2, progress=stop_after_four)
    assert errors(folder) == []
    plan = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS)
    assert (plan.already, len(plan.incoming)) == (4, 3)
    assert add_photos(folder, plan, batch=2).count == 3
    again = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS)
    assert (again.already, again.incoming) == (7, ())
    assert len(open_set(folder).photos) == 6 + 7


def test_exact_duplicates_are_told_and_skipped(folder: Path, tmp_path: Path) -> None:
    first = snap(tmp_path / "in/knee/1.jpg", seed=1)
    (tmp_path / "in/knee/2.jpg").write_bytes(first.read_bytes())
    of_set = open_set(folder).path_of(open_set(folder).photos[0])
    (tmp_path / "in/knee/3.png").write_bytes(of_set.read_bytes())
    # The same pixels with another comment: another file, the same photo once it is stored.
    with Image.open(first) as image:
        Image.open(first).save(tmp_path / "a.png")
        image.load()
    Image.open(tmp_path / "a.png").save(tmp_path / "in/knee/4.png")
    Image.open(tmp_path / "a.png").save(tmp_path / "in/knee/5.png", compress_level=1)
    plan = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS)
    told = {found.where: found.what for found in plan.problems}
    assert "same file as knee/1.jpg" in told["knee/2.jpg"]
    assert "as photo 'knee-1'" in told["knee/3.png"]
    added = add_photos(folder, plan)
    assert "knee/5.png" in {found.where for found in added.problems}
    assert len({photo.sha256 for photo in open_set(folder).photos}) == 6 + added.count
    assert errors(folder) == []


def test_a_withdrawn_photo_does_not_come_back_by_itself(folder: Path, tmp_path: Path) -> None:
    snap(tmp_path / "in/knee/1.jpg", seed=1)
    added = bring_in(folder, tmp_path / "in")
    withdraw_photos(folder, added.ids)
    plan = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS)
    assert plan.incoming == ()
    assert "was withdrawn" in plan.errors[0].what
    plan = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS, again=True)
    assert add_photos(folder, plan).count == 1
    assert errors(folder) == []


def test_two_plans_of_the_same_photos_add_them_once(folder: Path, tmp_path: Path) -> None:
    snap(tmp_path / "in/knee/1.jpg", seed=1)
    snap(tmp_path / "other/knee/1.jpg", seed=2)
    plans = [
        plan_from_folder(open_set(folder), tmp_path / name, DEFAULTS)
        for name in ("in", "in", "other")
    ]
    assert {plan.incoming[0].row.id for plan in plans} == {"knee-1-2"}
    assert [add_photos(folder, plan).count for plan in plans] == [1, 0, 1]
    assert [photo.id for photo in open_set(folder).photos][-2:] == ["knee-1-2", "knee-1-2-2"]


def test_rows_that_would_spoil_the_set_are_refused(folder: Path, tmp_path: Path) -> None:
    source = snap(tmp_path / "x.jpg", seed=1)
    good = DEFAULTS.row(type="knee")
    bad = [
        replace(good, type="sphinx"),
        replace(good, licence="CC-BY-NC-4.0"),
        replace(good, view="top"),
        replace(good, id="Not A Slug"),
        replace(good, id="knee-1"),
        replace(good, specimen="dolphin-1"),
        replace(good, source="rendered for fun"),
        replace(good, kind="rendered"),
        replace(good, labelled_on="yesterday"),
        replace(good, creator=""),
    ]
    reference = open_set(folder)
    for row in bad:
        plan = make_plan(reference, [Incoming(source, row)])
        assert plan.incoming == (), row
        assert len(plan.errors) == 1, row
    odd = Incoming(source, good, PrivateRow("", consent="perhaps"))
    assert "consent" in make_plan(reference, [odd]).errors[0].where


def test_new_types_come_in_with_the_photos(folder: Path, tmp_path: Path) -> None:
    from tests.tiny_set import type_row

    source = snap(tmp_path / "x.jpg", seed=1)
    wanted = [Incoming(source, DEFAULTS.row(type="fen"), PrivateRow("", "given", "by post"))]
    plan = make_plan(open_set(folder), wanted, new_types=[type_row("fen")])
    added = add_photos(folder, plan)
    reference = open_set(folder)
    assert [photo.id for photo in reference.photos_of("fen")] == list(added.ids)
    assert reference.private[added.ids[0]].contact == "by post"
    assert errors(folder) == []


def test_another_writer_is_waited_for_and_then_told(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from simsearch.making import add

    snap(tmp_path / "in/knee/1.jpg", seed=1)
    monkeypatch.setattr(add, "_WAIT_SECONDS", 0.05)
    plan = plan_from_folder(open_set(folder), tmp_path / "in", DEFAULTS)
    with locked(folder), pytest.raises(SetError, match="Another program"):
        add_photos(folder, plan)
    assert add_photos(folder, plan).count == 1
