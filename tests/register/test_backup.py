"""A whole register as one file and back, and files that want to do harm."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from simsearch.register import backup
from simsearch.register.backup import back_up, restore
from simsearch.register.database import DATABASE_FILE
from simsearch.register.errors import RegisterError
from simsearch.register.store import open_register
from tests.register.invented import find_fields, make_register, new_photo
from tests.register.test_migrations import make_version_1

Entries = dict[str, bytes]


@pytest.fixture
def zipped(tmp_path: Path) -> Path:
    """A backup of a register with a find, two photos (one of them taken off again) and changes."""
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), photos=[new_photo(1), new_photo(2)], by="A")
        register.change(find.id, {"photos": find.photos[:1]}, by="A")
        back_up(register, tmp_path / "b.zip")
    return tmp_path / "b.zip"


def test_there_and_back_with_history_and_photos(tmp_path: Path, zipped: Path) -> None:
    made = restore(zipped, tmp_path / "back")
    assert (made.finds, made.photos, made.problems) == (1, 2, ())
    with open_register(tmp_path / "r") as old, open_register(tmp_path / "back") as new:
        assert new.search() == old.search()
        assert new.history() == old.history()
        assert new.check() == ()
        new.undo("find-0001", by="B")  # the photo that was taken off is there for undo
        assert new.check() == ()
        assert len(new.get("find-0001").photos) == 2
    assert not list(tmp_path.glob(".*restoring*"))


def test_a_backup_is_a_sound_zip_of_plain_files(zipped: Path) -> None:
    with zipfile.ZipFile(zipped) as archive:
        assert archive.testzip() is None
        contents = json.loads(archive.read("register.json"))
        for name, described in contents["files"].items():
            content = archive.read(name)
            assert described == {
                "bytes": len(content),
                "sha256": hashlib.sha256(content).hexdigest(),
            }


def test_a_backup_is_not_replaced_unless_told(tmp_path: Path, zipped: Path) -> None:
    before = zipped.read_bytes()
    with open_register(tmp_path / "r") as register:
        with pytest.raises(RegisterError, match="exists already"):
            back_up(register, zipped)
        assert zipped.read_bytes() == before
        back_up(register, zipped, replace=True)


def test_a_lost_photo_is_told_and_stops_nothing(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        find = register.new(find_fields(), photos=[new_photo(1), new_photo(2)], by="A")
        register.photo_path(find.photos[0]).unlink()
        made = back_up(register, tmp_path / "b.zip")
    assert (made.photos, len(made.problems)) == (1, 1)
    assert "missing" in made.problems[0]
    assert restore(tmp_path / "b.zip", tmp_path / "back").problems == made.problems


def test_an_existing_register_is_only_set_aside_when_told(tmp_path: Path, zipped: Path) -> None:
    with open_register(tmp_path / "r") as register:
        register.new(find_fields(title="Later find (invented)"), by="A")
    with pytest.raises(RegisterError, match="already"):
        restore(zipped, tmp_path / "r")
    made = restore(zipped, tmp_path / "r", replace=True)
    assert made.set_aside is not None
    with open_register(tmp_path / "r") as new, open_register(made.set_aside) as old:
        assert new.status().finds == 1
        assert old.status().finds == 2
        assert old.check() == ()


def test_other_peoples_folders_are_left_alone(tmp_path: Path, zipped: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "a.txt").write_text("a")
    with pytest.raises(RegisterError, match="other things"):
        restore(zipped, tmp_path / "letters", replace=True)
    assert (tmp_path / "letters" / "a.txt").read_text() == "a"


def test_a_backup_of_an_older_version_is_brought_up_to_date(tmp_path: Path, zipped: Path) -> None:
    find = make_version_1(tmp_path / "old")
    content = (tmp_path / "old" / DATABASE_FILE).read_bytes()
    rewrite(zipped, lambda files: files.clear() or files.update({DATABASE_FILE: content}))
    restore(zipped, tmp_path / "back")
    with open_register(tmp_path / "back") as register:
        assert register.search() == (find,)


def rewrite(
    path: Path,
    change: Callable[[Entries], Any],
    listed: Callable[[dict[str, Any]], Any] | None = None,
) -> None:
    """Make the backup again with other files, rightly described unless ``listed`` lies."""
    with zipfile.ZipFile(path) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    contents = json.loads(files.pop("register.json"))
    change(files)
    contents["files"] = {
        name: {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
        for name, content in files.items()
    }
    if listed is not None:
        listed(contents)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
        archive.writestr("register.json", json.dumps(contents))


def nothing(files: Entries) -> None:
    """Leave the files as they are."""


def in_database(*statements: str) -> Callable[[Entries], None]:
    """Run statements in the backed-up database."""

    def change(files: Entries) -> None:
        with closing(sqlite3.connect(":memory:")) as opened:
            opened.deserialize(files[DATABASE_FILE])
            for statement in statements:
                opened.execute(statement)
            opened.commit()
            files[DATABASE_FILE] = opened.serialize()

    return change


HARM: dict[str, tuple[Callable[[Entries], Any], Callable[[dict[str, Any]], Any] | None]] = {
    "climbing path": (lambda files: files.update({"../climbed.jpg": b"x"}), None),
    "climbing path in photos": (lambda files: files.update({"photos/../../c.jpg": b"x"}), None),
    "absolute path": (lambda files: files.update({"/tmp/climbed.jpg": b"x"}), None),
    "backslashes": (lambda files: files.update({"photos\\..\\c.jpg": b"x"}), None),
    "a program": (lambda files: files.update({"photos/run.exe": b"x"}), None),
    "bomb": (lambda files: files.update({"photos/big-1.jpg": bytes(30_000_000)}), None),
    "not listed": (nothing, lambda listed: listed["files"].popitem()),
    "listed, not there": (
        nothing,
        lambda listed: listed["files"].update({"photos/a.jpg": {"bytes": 1, "sha256": "0"}}),
    ),
    "wrong hash": (
        nothing,
        lambda listed: listed["files"][DATABASE_FILE].update({"sha256": "0" * 64}),
    ),
    "wrong size": (nothing, lambda listed: listed["files"][DATABASE_FILE].update({"bytes": 5})),
    "size as text": (nothing, lambda listed: listed["files"][DATABASE_FILE].update({"bytes": "5"})),
    "no database": (lambda files: files.pop(DATABASE_FILE), None),
    "text as database": (lambda files: files.update({DATABASE_FILE: b"text" * 999}), None),
    "cut database": (
        lambda files: files.update({DATABASE_FILE: files[DATABASE_FILE][:9000]}),
        None,
    ),
    "trigger of its own": (
        in_database(
            "CREATE TRIGGER evil AFTER INSERT ON finds BEGIN DELETE FROM photos; END",
        ),
        None,
    ),
    "trigger under a known name": (
        in_database(
            "DROP TRIGGER changes_no_delete",
            "CREATE TRIGGER changes_no_delete AFTER INSERT ON finds BEGIN DELETE FROM photos; END",
        ),
        None,
    ),
    "view": (in_database("CREATE VIEW v AS SELECT * FROM finds"), None),
    "newer version": (in_database("UPDATE alembic_version SET version_num = '99'"), None),
    "photo named outside": (in_database("UPDATE photos SET file = '../../secret.jpg'"), None),
    "record no JSON": (in_database("INSERT INTO changes (find_id, after) VALUES ('a', '[')"), None),
    "record of another shape": (
        in_database("""INSERT INTO changes (find_id, after) VALUES ('a', '{"photos": [1]}')"""),
        None,
    ),
    "other purpose": (nothing, lambda listed: listed.update(what="something else")),
    "newer format": (nothing, lambda listed: listed.update(format=2)),
    "files no list": (nothing, lambda listed: listed.update(files=[1])),
}


@pytest.mark.parametrize("harm", HARM)
def test_what_would_do_harm_is_refused_and_leaves_nothing(
    tmp_path: Path, zipped: Path, harm: str
) -> None:
    rewrite(zipped, *HARM[harm])
    before = sorted(path for path in tmp_path.rglob("*"))
    with pytest.raises(RegisterError) as told:
        restore(zipped, tmp_path / "deep" / "back")
    assert told.value.hint
    left = sorted(path for path in tmp_path.rglob("*") if path != tmp_path / "deep")
    assert left == before
    assert not Path("/tmp/climbed.jpg").exists()


def test_a_refused_backup_leaves_the_register_that_is_there(tmp_path: Path, zipped: Path) -> None:
    rewrite(zipped, *HARM["wrong hash"])
    with pytest.raises(RegisterError, match="SHA-256"):
        restore(zipped, tmp_path / "r", replace=True)
    with open_register(tmp_path / "r", create=False) as register:
        assert register.check() == ()


def test_a_photo_larger_than_any_that_is_kept(
    tmp_path: Path, zipped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(backup, "MAX_PHOTO_BYTES", 100)
    with pytest.raises(RegisterError, match="would unpack"):
        restore(zipped, tmp_path / "back")


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_the_same_name_twice(tmp_path: Path, zipped: Path) -> None:
    with zipfile.ZipFile(zipped, "a") as archive:
        archive.writestr(DATABASE_FILE, b"another")
    with pytest.raises(RegisterError, match="twice"):
        restore(zipped, tmp_path / "back")


@pytest.mark.parametrize("cut", [0, 10, 500])
def test_a_backup_cut_short(tmp_path: Path, zipped: Path, cut: int) -> None:
    zipped.write_bytes(zipped.read_bytes()[:cut])
    with pytest.raises(RegisterError):
        restore(zipped, tmp_path / "back")
    assert not (tmp_path / "back").exists()


def test_changed_bytes_anywhere_are_seen(tmp_path: Path, zipped: Path) -> None:
    whole = zipped.read_bytes()
    with zipfile.ZipFile(zipped) as archive:
        photo = next(entry for entry in archive.infolist() if "photos/" in entry.filename)
    place = photo.header_offset + 200
    zipped.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
    with pytest.raises(RegisterError):
        restore(zipped, tmp_path / "back")
