"""Tables as people's spreadsheets write them, and as somebody hostile might."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from simsearch.making.add import add_photos
from simsearch.making.from_table import plan_from_table
from simsearch.making.plan import Defaults, Plan
from simsearch.sets.private import PrivateRow
from simsearch.sets.reference_set import open_set
from tests.making.club import DEFAULTS, club_set, errors, snap


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for number in range(4):
        snap(tmp_path / f"in/photo {number}.jpg", seed=number)
    return club_set(tmp_path / "set")


def plan(
    folder: Path, content: str | bytes, defaults: Defaults = DEFAULTS, **options: object
) -> Plan:
    path = folder.parent / "in/list.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return plan_from_table(open_set(folder), path, defaults, **options)  # type: ignore[arg-type]


def test_file_and_type_are_enough(folder: Path) -> None:
    found = plan(folder, "file,type\nphoto 0.jpg,knee\n./photo 1.jpg,Hod Hill\n")
    assert found.problems == ()
    assert [item.row.type for item in found.incoming] == ["knee", "hod-hill"]
    assert add_photos(folder, found).count == 2
    assert errors(folder) == []


def test_every_column_is_used(folder: Path) -> None:
    columns = {
        "Photo File": "photo 0.jpg", "TYPE": "angled bow", "id": "fen-7", "Object": "HF 7",
        "View": "reverse", "completeness": "Broken", "condition": "Corroded", "kind": "Photo",
        "Photographer": "B. Finder (invented)", "License": "cc by-sa 4.0", "source": "own photo",
        "labelled by": "C. Finder (invented)", "label_basis": "handbook",
        "Labelled On": "2026-01-05", "note": "one, \"two\"", "Consent": "Given",
        "contact": "+44 1632 960001", "findspot": "a field, invented", "gps": "-1.5, 52",
        "private note": "ask first",
    }  # fmt: skip
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerows([list(columns), list(columns.values())])
    found = plan(folder, text.getvalue())
    assert found.problems == ()
    add_photos(folder, found)
    row = open_set(folder).photos[-1]
    assert (row.id, row.type, row.specimen, row.view) == ("fen-7", "knee", "HF 7", "back")
    assert (row.completeness, row.condition, row.licence) == (
        "fragment", "corroded", "CC-BY-SA-4.0",
    )  # fmt: skip
    assert (row.creator, row.labelled_on, row.note) == (
        "B. Finder (invented)", "2026-01-05", 'one, "two"',
    )  # fmt: skip
    assert open_set(folder).private["fen-7"] == PrivateRow(
        "fen-7", "given", "+44 1632 960001", "a field, invented", "-1.5, 52", "ask first"
    )
    assert errors(folder) == []


ROWS = [["file", "type", "creator", "note"], ["photo 0.jpg", "knee", "Zoë (invented)", "a; b, c"]]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "latin-1", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_tables_of_any_spreadsheet(folder: Path, separator: str, encoding: str, end: str) -> None:
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=end).writerows(ROWS)
    found = plan(folder, text.getvalue().encode(encoding))
    (item,) = found.incoming
    assert (item.row.creator, item.row.note) == ("Zoë (invented)", "a; b, c")
    warned = [problem.where for problem in found.problems]
    assert warned == (["list.csv, row 2"] if encoding in ("cp1252", "latin-1") else [])


def test_one_line_for_each_problem_with_row_and_column(folder: Path) -> None:
    found = plan(
        folder,
        "file,type,view,licence,labelled_on,colour\n"
        "photo 0.jpg,knee,top,,,\n"
        "\n"
        "photo 9.jpg,knee,,,,red\n"
        ",knee,,,,\n"
        "photo 1.jpg,neee,,,,\n"
        "photo 1.jpg,,,,,\n"
        "photo 1.jpg,knee,,CC-BY-NC-4.0,5/1/26,\n"
        "photo 1.jpg,knee,,,,,too many\n"
        "photo 2.jpg,knee\n",
    )
    assert [item.source.name for item in found.incoming] == ["photo 2.jpg"]
    assert sorted(error.where for error in found.problems) == [
        "list.csv, row 1",
        "list.csv, row 2, column view",
        "list.csv, row 4, column file",
        "list.csv, row 5, column file",
        "list.csv, row 6, column type",
        "list.csv, row 7, column type",
        "list.csv, row 8, column labelled_on",
        "list.csv, row 8, column licence",
        "list.csv, row 9",
    ]
    assert [error.where for error in found.problems if error.severity == "warning"] == [
        "list.csv, row 1"  # the column that is not used
    ]
    assert len(found.lines()) == len(found.problems)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("", "first row is empty"),
        ("\n\n", "first row is empty"),
        ("file;name\nphoto 0.jpg;knee\n", "no column type"),
        ("type\nknee\n", "no column file"),
        ("file,type,TYPE\nphoto 0.jpg,knee,knee\n", "Two columns are for type"),
        ("file,type\n", "no rows"),
        ("file,type\nphoto 0.jpg,kn\x00ee\n", "null characters"),
        ("file,type\nphoto 0.jpg,knee\n".encode("utf-16-be"), "null characters"),
        (b"PK\x03\x04 a spreadsheet", "own file"),
        ('file,type\n"' + "x" * 200_000, "well-formed"),
    ],
)
def test_what_is_no_usable_table_is_told(folder: Path, content: str | bytes, told: str) -> None:
    found = plan(folder, content)
    assert found.incoming == ()
    assert told in found.errors[0].what


def test_a_missing_table_is_told(folder: Path) -> None:
    found = plan_from_table(open_set(folder), folder / "none.csv", DEFAULTS)
    assert "no such file" in found.errors[0].what


@pytest.mark.parametrize(
    "file",
    ["../out.jpg", "/etc/passwd", "C:\\x.jpg", "a/../../out.jpg", "link.jpg", "far/out.jpg", ".",
     "https://example.org/x.jpg", "..\\out.jpg", "photo 0.jpg/", "x" * 3000, "a\x1bb.jpg"],
)  # fmt: skip
def test_photos_are_looked_for_in_their_folder_only(
    folder: Path, tmp_path: Path, file: str
) -> None:
    snap(tmp_path / "out.jpg", seed=9)
    (tmp_path / "in/link.jpg").symlink_to(tmp_path / "out.jpg")
    (tmp_path / "in/far").symlink_to(tmp_path)
    found = plan(folder, f"file,type\n{file},knee\n")
    assert found.incoming == ()
    assert [error.where for error in found.errors] == ["list.csv, row 2, column file"]


def test_photos_may_lie_elsewhere_when_asked(folder: Path, tmp_path: Path) -> None:
    snap(tmp_path / "there/x.jpg", seed=9)
    found = plan(folder, "file,type\nx.jpg,knee\n", photos=tmp_path / "there")
    assert len(found.incoming) == 1


# What spreadsheets would run (OWASP, "CSV Injection"), and what only looks a little like it.
@pytest.mark.parametrize(
    ("cell", "kept"),
    [
        ("=1+1", "'=1+1"),
        ('=HYPERLINK("http://example.org";"x")', '\'=HYPERLINK("http://example.org";"x")'),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
        ("-2+3+cmd|' /C calc'!A0", "'-2+3+cmd|' /C calc'!A0"),
        ("＝1+1", "'＝1+1"),
        ("-52.1", "-52.1"),
        ("+44 1632 960001", "+44 1632 960001"),
        ("- worn all over", "- worn all over"),
    ],
)
def test_formulas_are_kept_as_text(folder: Path, cell: str, kept: str) -> None:
    text = io.StringIO()
    csv.writer(text).writerows([["file", "type", "note"], ["photo 0.jpg", "knee", cell]])
    found = plan(folder, text.getvalue())
    assert found.incoming[0].row.note == kept
    warned = [problem.where for problem in found.problems]
    assert warned == ([] if cell == kept else ["list.csv, row 2, column note"])
