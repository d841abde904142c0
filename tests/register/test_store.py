"""Recording, changing, undoing, searching, checking."""

from __future__ import annotations

import hashlib
import io
import sqlite3
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image

from simsearch.errors import PhotoError
from simsearch.register.database import DATABASE_FILE
from simsearch.register.errors import RecordError, RegisterError
from simsearch.register.photos import NewPhoto
from simsearch.register.records import FindRecord, RegisterPhoto, from_document, to_document
from simsearch.register.store import default_folder, open_register
from simsearch.sets.dates import parse_edtf
from tests.page.gps import MARKER, save_photo_with_place
from tests.register.invented import find_fields, make_register, new_photo


def test_what_is_recorded_is_there_after_opening_again(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        kept = register.new(find_fields(), photos=[new_photo(1), new_photo(2, "back")], by="A")
    with open_register(tmp_path / "r", create=False) as register:
        assert register.get("find-0001") == kept
        assert kept.title == "Part of a bow brooch (invented)"
        assert [photo.view for photo in kept.photos] == ["front", "back"]
        assert register.check() == ()
        assert register.left_over() == ()


def test_a_record_survives_its_document() -> None:
    photo = RegisterPhoto("photos/a-1.jpg", "side", "0" * 64, "caption", 0.1)
    record = FindRecord(id="a", title="t", photos=(photo,), checked=("x", "y"))
    assert from_document(to_document(record)) == record


def test_photos_are_kept_without_metadata_and_with_their_hash(tmp_path: Path) -> None:
    source = save_photo_with_place(tmp_path / "front.jpg")
    assert MARKER in source.read_bytes()
    with make_register(tmp_path / "r") as register:
        record = register.new(find_fields(), photos=[NewPhoto(source)], by="A")
        kept = register.photo_path(record.photos[0]).read_bytes()
    assert hashlib.sha256(kept).hexdigest() == record.photos[0].sha256
    with Image.open(io.BytesIO(kept)) as image:
        assert image.format == "JPEG"
        assert not image.getexif()
    everything = b"".join(f.read_bytes() for f in (tmp_path / "r").rglob("*") if f.is_file())
    assert MARKER not in everything


def test_the_way_a_kill_is_survived(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        with sqlite3.connect(register.database) as plain:
            assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        with register._engine.connect() as connection:
            # 2 is FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
            assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_nothing_is_recorded_when_the_photo_is_none(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_text("no photo")
    with make_register(tmp_path / "r") as register:
        with pytest.raises(PhotoError):
            register.new(find_fields(), photos=[NewPhoto(tmp_path / "a.jpg")], by="A")
        assert register.status().finds == 0
        assert register.status().changes == 0


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"title": " "}, "title is empty"),
        ({"type_confidence": "certain"}, "never certain"),
        ({"type_confidence": "agreed by a finds officer"}, "verified_by and verified_on"),
        ({"type_id": "", "type_confidence": "possible"}, "which type"),
        ({"type_id": "Knee Brooch"}, "not the id of a type"),
        ({"verified_by": "B. Recorder (invented)"}, "go together"),
        ({"verified_by": "B", "verified_on": "2027-01-01"}, "past day"),
        ({"length_mm": -3}, "above 0"),
        ({"length_mm": "34,2"}, "with a point"),
        ({"weight_g": float("nan")}, "grams"),
        ({"found_on": "2026-13-01"}, "calendar"),
        ({"found_on": "2027"}, "after today"),
        ({"found_on": "14/03/2026"}, "not a date|more than two"),
        ({"found_on": "2026/2025"}, "ends before"),
        ({"landowner_consent": "yes"}, "given in writing"),
        ({"status": "done"}, "draft, recorded or handed over"),
        ({"fixing": "glued"}, "sprung, hinged"),
        ({"description": "a\x00b"}, "control character"),
        ({"description": "x" * 30_000}, "Shorten"),
        ({"checked": ("",)}, "empty line"),
        ({"colour": "green"}, "no field 'colour'"),
        ({"id": "../up"}, "lower-case"),
        ({"photos": (RegisterPhoto("../../secret.jpg", sha256="0" * 64),)}, "add it first"),
    ],
)
def test_what_cannot_be_recorded_is_told(
    tmp_path: Path, changes: dict[str, Any], said: str
) -> None:
    with make_register(tmp_path / "r") as register:
        with pytest.raises(RecordError, match=said):
            register.new(find_fields(**changes), by="A")
        assert register.status().changes == 0


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register, pytest.raises(RecordError) as told:
        register.new(find_fields(title="", length_mm=-1, found_on="soon"), by="A")
    assert str(told.value).count("\n- ") == 3


@pytest.mark.parametrize("found_on", ["2026", "2026-03", "1998~", "2025-10/2026-03", "2026-03-14?"])
def test_days_as_far_as_they_are_known(tmp_path: Path, found_on: str) -> None:
    with make_register(tmp_path / "r") as register:
        assert register.new(find_fields(found_on=found_on), by="A").found_on == found_on


def test_history_says_who_when_what_was_and_what_is(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), by="A")
        register.change(
            find.id, {"period": "Late Iron Age", "length_mm": 35.0}, by="B", note="again"
        )
        change = register.history(find.id)[-1]
        assert (change.by, change.action, change.note) == ("B", "change", "again")
        assert change.at > register.history(find.id)[0].at
        assert change.differences() == (
            ("period", "Roman", "Late Iron Age"),
            ("length_mm", 34.2, 35.0),
        )


def test_undo_is_recorded_and_can_be_undone(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), photos=[new_photo()], by="A")
        register.change(find.id, {"period": "two"}, by="A")
        register.change(find.id, {"period": "three"}, by="A")
        assert register.undo(find.id, by="B").undoes == 3
        assert register.get(find.id).period == "two"
        redone = register.undo(find.id, by="B", number=4)
        assert redone.undoes == 4
        assert register.get(find.id).period == "three"
        for expected in ("two", "Roman"):
            register.undo(find.id, by="B")
            assert register.get(find.id).period == expected
        register.undo(find.id, by="B")  # the recording itself
        with pytest.raises(RegisterError, match="no find"):
            register.get(find.id)
        with pytest.raises(RegisterError, match="nothing to undo"):
            register.undo(find.id, by="B")
        register.undo(find.id, by="B", number=register.history(find.id)[-1].number)
        back = register.get(find.id)
        assert (back.period, back.photos, back.created_on) == (
            "Roman",
            find.photos,
            find.created_on,
        )
        assert len(register.history(find.id)) == 9
        assert register.check() == ()


def test_an_undo_never_wipes_out_later_changes(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), by="A")
        register.change(find.id, {"period": "two"}, by="A")
        register.change(find.id, {"nearby": "an invented ditch"}, by="B")
        with pytest.raises(RegisterError, match="later changes"):
            register.undo(find.id, by="A", number=2)
        register.undo(find.id, by="A")
        register.change(find.id, {"nearby": "another"}, by="B")
        with pytest.raises(RegisterError, match="later changes"):
            register.undo(find.id, by="A", number=4)
        with pytest.raises(RegisterError, match="undone already"):
            register.undo(find.id, by="A", number=3)


def test_the_history_cannot_be_rewritten(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        register.new(find_fields(), by="A")
        with sqlite3.connect(register.database) as plain:
            for statement in ("UPDATE changes SET by = 'x'", "DELETE FROM changes"):
                with pytest.raises(sqlite3.DatabaseError, match="never rewritten"):
                    plain.execute(statement)


def test_taken_out_and_brought_back(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), photos=[new_photo()], by="A")
        register.take_out(find.id, by="A")
        assert register.search() == ()
        with pytest.raises(RecordError, match="has been used"):
            register.new(find_fields(id=find.id), by="A")
        assert register.new(find_fields(), by="A").id == "find-0002"
        register.undo(find.id, by="A")
        assert register.get(find.id).photos == find.photos


def test_a_change_that_changes_nothing_leaves_no_trace(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), by="A")
        register.change(find.id, {"period": "Roman"}, by="A")
        assert len(register.history()) == 1


def test_two_people_at_once(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as one, make_register(tmp_path / "r") as two:
        find = one.new(find_fields(), by="A")
        seen = two.history(find.id)[-1].number
        one.change(find.id, {"period": "two"}, by="A")
        with pytest.raises(RegisterError, match="somebody else"):
            two.change(find.id, {"nearby": "a ditch"}, by="B", seen=seen)
        two.change(find.id, {"nearby": "a ditch"}, by="B")
        assert one.get(find.id).period == "two"
        assert one.new(find_fields(), by="A").id != two.new(find_fields(), by="B").id


def test_search_by_words_period_type_and_status(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        register.new(find_fields(title="Ärmchen, invented", status="recorded"), by="A")
        register.new(
            find_fields(title="Buckle, invented", period="Medieval", type_id="jetton"), by="A"
        )

        def found(*words: str, **conditions: str) -> list[str]:
            return [find.id for find in register.search(*words, **conditions)]

        assert found() == ["find-0002", "find-0001"]
        assert found("ÄRMCHEN") == ["find-0001"]  # which SQLite alone would not find
        assert found("buckle COILS") == ["find-0002"]
        assert found("buckle coils roman") == []
        assert found("100%_") == []
        assert found(period="ROMAN") == ["find-0001"]
        assert found(type_id="jetton") == ["find-0002"]
        assert found(status="recorded") == ["find-0001"]
        assert [find.id for find in register.search(limit=1, offset=1)] == ["find-0001"]
        register.change("find-0002", {"nearby": "a quern"}, by="A")
        assert found("quern") == ["find-0002"]


def test_dates_are_those_of_the_type_leads(tmp_path: Path) -> None:
    dates = parse_edtf("0150~/0250")
    types: Any = {"knee": SimpleNamespace(dates=dates)}
    with make_register(tmp_path / "r") as register:
        register.new(find_fields(), by="A")
        register.new(find_fields(type_id="not-in-the-set"), by="A")
        register.new(find_fields(type_id="", type_confidence=""), by="A")
        assert register.date_ranges(types) == {"find-0001": dates}


def test_check_sees_what_is_wrong(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), photos=[new_photo(1), new_photo(2)], by="A")
        first, second = (register.photo_path(photo) for photo in find.photos)
        first.unlink()
        second.write_bytes(b"something else")
        (second.parent / ".x.part").write_bytes(b"")
        with sqlite3.connect(register.database) as plain:
            plain.execute("UPDATE finds SET period = 'Modern'")
        problems = " ".join(register.check())
        assert "missing" in problems
        assert "have changed" in problems
        assert "not as its last change left it" in problems
        assert register.left_over() == ("photos/.x.part",)


def test_who_is_needed(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register, pytest.raises(RecordError, match="Who"):
        register.new(find_fields(), by=" ")


def test_folders_that_are_no_register(tmp_path: Path) -> None:
    with pytest.raises(RegisterError, match="no register"):
        open_register(tmp_path / "none", create=False)
    assert not (tmp_path / "none").exists()
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "a.txt").write_text("a")
    with pytest.raises(RegisterError, match="other things"):
        open_register(tmp_path / "letters")
    for name, content in (("text", b"not a database " * 100), ("cut", b"SQLite format 3\0" * 9)):
        (tmp_path / name).mkdir()
        (tmp_path / name / DATABASE_FILE).write_bytes(content)
        with pytest.raises(RegisterError) as told:
            open_register(tmp_path / name)
        assert "damaged or is no register" in str(told.value)
    (tmp_path / "foreign").mkdir()
    with sqlite3.connect(tmp_path / "foreign" / DATABASE_FILE) as plain:
        plain.execute("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(RegisterError, match="is no register"):
        open_register(tmp_path / "foreign")


def test_the_default_folder_is_the_users_own() -> None:
    assert default_folder().parts[-2:] == ("simsearch", "register")
