"""Writing: one step, one writer."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import pytest

from simsearch import files
from simsearch.errors import SetError
from simsearch.sets.write import locked, replacing, write_bytes, write_csv, write_text


def test_content_is_replaced_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_text(path, "old\n")
    write_text(path, "new £\n")
    assert path.read_bytes() == "new £\n".encode()
    assert os.listdir(tmp_path) == ["a.txt"]


def test_a_failure_while_writing_leaves_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_bytes(path, b"old")
    with pytest.raises(RuntimeError), replacing(path) as handle:
        handle.write(b"half of the n")
        raise RuntimeError
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_of_any_step_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "a.txt"
    write_bytes(path, b"old")

    def fail(*_: object) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(files.os, step, fail)
    with pytest.raises(OSError, match="full"):
        write_bytes(path, b"new")
    monkeypatch.undo()
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.txt"]


def test_bytes_reach_the_disk_before_the_name_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str] = []
    real_fsync, real_replace = os.fsync, os.replace

    def fsync(descriptor: int) -> None:
        steps.append("fsync")
        real_fsync(descriptor)

    def replace(source: Path, target: Path) -> None:
        steps.append("replace")
        real_replace(source, target)

    monkeypatch.setattr(files.os, "fsync", fsync)
    monkeypatch.setattr(files.os, "replace", replace)
    write_bytes(tmp_path / "a.txt", b"new")
    expected = ["fsync", "replace"] if os.name == "nt" else ["fsync", "replace", "fsync"]
    assert steps == expected


@pytest.mark.skipif(os.name == "nt", reason="permissions of this kind are not on Windows")
def test_a_new_file_gets_the_permissions_of_any_other(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"")
    write_bytes(tmp_path / "ours", b"")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_csv_survives_commas_quotes_and_line_breaks(tmp_path: Path) -> None:
    rows = [{"id": "a", "name": 'say "c. 50 BC", then\r\nwait'}, {"id": "b", "name": ""}]
    write_csv(tmp_path / "t.csv", ("id", "name"), rows)
    with open(tmp_path / "t.csv", newline="", encoding="utf-8") as handle:
        assert list(csv.DictReader(handle)) == rows
    # RFC 4180, section 2: lines end in CRLF; fields with quotes, commas or breaks are quoted.
    assert (tmp_path / "t.csv").read_bytes() == (
        b'id,name\r\na,"say ""c. 50 BC"", then\r\nwait"\r\nb,\r\n'
    )


@pytest.mark.parametrize("row", [{"id": "a"}, {"id": "a", "name": "b", "x": "c"}])
def test_csv_rows_must_have_the_columns(tmp_path: Path, row: dict[str, str]) -> None:
    with pytest.raises(ValueError, match="row 2"):
        write_csv(tmp_path / "t.csv", ("id", "name"), [row])
    assert os.listdir(tmp_path) == []


def test_a_second_writer_is_told_to_wait(tmp_path: Path) -> None:
    with (
        locked(tmp_path),
        pytest.raises(SetError, match="Another program"),
        locked(tmp_path, wait_seconds=0),
    ):
        pass
    with locked(tmp_path, wait_seconds=0):  # free again
        pass


def test_a_lock_ends_with_an_error(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), locked(tmp_path):
        raise RuntimeError
    with locked(tmp_path, wait_seconds=0):
        pass


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(SetError, match="cannot be written"), locked(tmp_path / "file"):
        pass
