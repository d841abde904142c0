"""A change of several files happens whole or not at all, wherever it is stopped."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from simsearch.errors import SetError
from simsearch.sets import changes
from simsearch.sets.changes import changing, settle
from simsearch.sets.check import check_set
from simsearch.sets.reference_set import open_set
from simsearch.sets.write import locked
from tests.tiny_set import make_set, photo_row, picture

BEFORE = {"a.csv": b"old a", "photos/gone.jpg": b"gone", "keep.csv": b"keep"}
AFTER = {"a.csv": b"new a", "photos/new.jpg": b"new", "deep/er/x.bin": b"x", "keep.csv": b"keep"}


class Stopped(BaseException):
    """Stands for a kill: nothing may catch it and tidy up."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the files of BEFORE."""
    for file, content in BEFORE.items():
        path = tmp_path / "set" / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return tmp_path / "set"


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != ".simsearch.lock"
    }


def make_change(folder: Path) -> None:
    with changing(folder) as change:
        change.put("a.csv", b"not this")
        change.put("a.csv", b"new a")
        change.put("photos/new.jpg", b"new")
        large = change.stage()
        large.write_bytes(b"x")
        change.put("deep/er/x.bin", large)
        change.put("never.csv", b"never")
        change.remove("never.csv")
        change.remove("photos/gone.jpg")
        change.remove("photos/was-never-there.jpg")


def test_everything_happens_and_nothing_is_left_behind(folder: Path) -> None:
    make_change(folder)
    assert contents(folder) == AFTER
    assert not (folder / ".changes").exists()


def test_a_file_from_elsewhere_is_copied(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "mine").write_bytes(b"mine")
    with changing(folder) as change:
        change.put("b.bin", tmp_path / "mine")
    assert (tmp_path / "mine").read_bytes() == contents(folder)["b.bin"] == b"mine"


def test_an_error_in_the_block_changes_nothing(folder: Path) -> None:
    with pytest.raises(RuntimeError), changing(folder) as change:
        change.put("a.csv", b"new a")
        change.remove("keep.csv")
        raise RuntimeError
    assert contents(folder) == BEFORE
    with locked(folder, wait_seconds=0):
        pass


def calls_that_touch_the_disk(monkeypatch: pytest.MonkeyPatch, stop_at: int) -> Iterator[int]:
    """Count writes, moves and removals made through the os module; stop at the given one."""
    count = 0

    def counting(real):  # type: ignore[no-untyped-def]
        def call(*args, **kwargs):  # type: ignore[no-untyped-def]
            nonlocal count
            count += 1
            if count >= stop_at:
                raise Stopped  # every further call too: a dead process tidies nothing up
            return real(*args, **kwargs)

        return call

    for name in ("replace", "unlink", "mkdir", "rmdir", "fsync"):
        monkeypatch.setattr(os, name, counting(getattr(os, name)))
    monkeypatch.setattr(Path, "write_bytes", counting(Path.write_bytes))
    yield count


def test_stopped_at_any_step_the_set_is_as_before_or_as_after(folder: Path, tmp_path: Path) -> None:
    seen = set()
    for step in range(1, 200):
        copy = tmp_path / f"copy-{step}"
        shutil.copytree(folder, copy)
        with pytest.MonkeyPatch.context() as patch:
            next(calls_that_touch_the_disk(patch, step))
            try:
                make_change(copy)
                finished = True
            except Stopped:
                finished = False
        committed = (copy / ".changes/journal.json").exists()
        settle(copy)
        now = contents(copy)
        assert now == AFTER or (now == BEFORE and not committed), f"step {step}"
        seen.add((finished, committed, now == AFTER))
        if finished:
            break
    # Stopped before the journal, with it, and not at all: each was met.
    assert {(False, False, False), (False, True, True), (True, False, True)} <= seen


def test_stopped_while_settling_it_is_settled_the_next_time(folder: Path, tmp_path: Path) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(changes, "finish_interrupted", stop)
        # The lock settles too; only the carrying out after the journal is to be stopped.
        patch.setattr(changes, "locked", free)
        with pytest.raises(Stopped):
            make_change(folder)
    assert (folder / ".changes/journal.json").exists()
    for step in range(1, 100):
        copy = tmp_path / f"copy-{step}"
        shutil.copytree(folder, copy)
        with pytest.MonkeyPatch.context() as patch:
            next(calls_that_touch_the_disk(patch, step))
            try:
                changes.finish_interrupted(copy)
                finished = True
            except Stopped:
                finished = False
        settle(copy)
        assert contents(copy) == AFTER, f"step {step}"
        if finished:
            return
    pytest.fail("it never finished")


def stop(_: Path) -> None:
    raise Stopped


class free:
    """A lock that is always free."""

    def __init__(self, *_: object, **__: object) -> None: ...
    def __enter__(self) -> None: ...
    def __exit__(self, *_: object) -> None: ...


@pytest.mark.parametrize(
    "file",
    ["../out.txt", "/etc/out.txt", "a//b", "a/./b", "C:/x", "a\\b", ".changes/x", "link/x", "", 
     "a\n", "photos"],
)  # fmt: skip
def test_a_change_stays_in_the_set(folder: Path, tmp_path: Path, file: str) -> None:
    (folder / "link").symlink_to(tmp_path)
    for act in ("put", "remove"):
        with pytest.raises(SetError), changing(folder) as change:
            change.put(file, b"x") if act == "put" else change.remove(file)
    assert {path.name for path in tmp_path.iterdir()} == {"set"}
    assert {k: v for k, v in contents(folder).items() if k in BEFORE} == BEFORE


@pytest.mark.parametrize(
    "journal",
    [
        b"", b"[]", b"{}", b"\xff\xfe", b"[" * 100_000,
        {"put": [{"staged": "000001.staged", "file": "../out"}], "remove": []},
        {"put": [{"staged": "../../mine", "file": "in"}], "remove": []},
        {"put": [{"staged": "000002.staged", "file": "in"}], "remove": []},
        {"put": [], "remove": ["../mine"]},
        {"put": [], "remove": ["a.csv", "link/mine"]},
        {"put": [], "remove": [7]},
        {"put": 7, "remove": []},
        {"version": 2, "put": [], "remove": ["a.csv"]},
    ],
)  # fmt: skip
def test_a_prepared_journal_does_nothing_outside(
    folder: Path, tmp_path: Path, journal: bytes | dict[str, object]
) -> None:
    (tmp_path / "mine").write_bytes(b"mine")
    (folder / ".changes").mkdir()
    (folder / "link").symlink_to(tmp_path)
    (folder / ".changes/000001.staged").write_bytes(b"theirs")
    (folder / ".changes/000002.staged").symlink_to(tmp_path / "mine")
    if isinstance(journal, dict):
        journal = json.dumps({"format": "simsearch change", "version": 1} | journal).encode()
    (folder / ".changes/journal.json").write_bytes(journal)
    with pytest.raises(SetError, match="not a record of a change"):
        settle(folder)
    assert (tmp_path / "mine").read_bytes() == b"mine"
    assert {path.name for path in tmp_path.iterdir()} == {"set", "mine"}
    assert (folder / "a.csv").read_bytes() == b"old a"


def test_opening_a_set_finishes_what_was_interrupted(tmp_path: Path) -> None:
    folder = make_set(tmp_path / "set")
    rows = [photo_row(folder, photo.id, photo.type) for photo in open_set(folder).photos]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(changes, "finish_interrupted", stop)
        patch.setattr(changes, "locked", free)
        with pytest.raises(Stopped), changing(folder) as change:
            change.table("photos.csv", list(rows[0]), rows[1:])
            change.remove(rows[0]["file"])
    assert (folder / rows[0]["file"]).exists()
    assert rows[0]["id"] not in {photo.id for photo in open_set(folder).photos}
    assert not (folder / rows[0]["file"]).exists()
    assert not (folder / ".changes").exists()


def test_who_may_only_read_can_still_open_the_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = make_set(tmp_path / "set")
    (folder / ".changes").mkdir()
    (folder / ".changes/000001.staged").write_bytes(b"half")

    def refuse(*_: object, **__: object) -> None:
        raise SetError("It cannot be written to.")

    monkeypatch.setattr(changes, "locked", refuse)
    assert len(open_set(folder).photos) == 12
    journal = {"format": "simsearch change", "version": 1, "put": [], "remove": ["x"]}
    (folder / ".changes/journal.json").write_text(json.dumps(journal))
    assert len(open_set(folder).photos) == 12
    told = [found for found in check_set(folder) if "interrupted" in found.what]
    assert [found.severity for found in told] == ["warning"]


def test_a_reader_leaves_the_staged_files_of_a_writer_alone(tmp_path: Path) -> None:
    folder = make_set(tmp_path / "set")
    with changing(folder) as change:
        change.put("note.txt", b"words")
        open_set(folder)
    assert (folder / "note.txt").read_bytes() == b"words"


def test_tables_of_two_versions_are_never_read_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between reading types.csv and photos.csv another program renames a type."""
    from simsearch.sets import reference_set

    folder = make_set(tmp_path / "set")
    real, done = reference_set.read_photos, []

    def read_late(*args):  # type: ignore[no-untyped-def]
        if not done:
            done.append(1)
            with changing(folder) as change:
                for table in ("types.csv", "photos.csv"):
                    text = (folder / table).read_text("utf-8").replace("knee", "ankle")
                    change.put(table, text.replace("photos/ankle", "photos/knee").encode())
        return real(*args)

    monkeypatch.setattr(reference_set, "read_photos", read_late)
    assert "ankle" in open_set(folder).types


def test_what_is_staged_is_no_stray(tmp_path: Path) -> None:
    folder = make_set(tmp_path / "set")
    picture((1, 2, 3), seed=1).save(tmp_path / "x.png")
    with changing(folder) as change:
        change.put("photos/new.png", tmp_path / "x.png")
        assert not [found for found in check_set(folder) if "no row" in found.what]
