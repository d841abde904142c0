"""Reading tables: row numbers, headers, encodings; loaders that tell everything at once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from simsearch.errors import SetError, TableError
from simsearch.sets.photos import load_photos
from simsearch.sets.problems import Problem, TablesError
from simsearch.sets.reference_set import open_set
from simsearch.sets.sources import load_sources
from simsearch.sets.tables import read_rows
from simsearch.sets.types import load_types
from tests.tiny_set import (
    make_set,
    photo_row,
    source_row,
    type_row,
    write_photos,
    write_sources,
    write_types,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_set(tmp_path / "set")


def told(error: pytest.ExceptionInfo[TablesError]) -> list[str]:
    return [problem.where for problem in error.value.problems]


def test_rows_are_numbered_as_a_spreadsheet_shows_them(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(b'id,name\r\na,"two\r\nlines"\r\n\r\nb,"a ""b"", c"\r\n')
    problems: list[Problem] = []
    rows = read_rows(path, ("id", "name"), problems)
    assert not problems
    assert [(row.number, row.cells["id"]) for row in rows] == [(2, "a"), (4, "b")]
    assert rows[0].cells["name"] == "two\r\nlines"
    assert rows[1].cells["name"] == 'a "b", c'


def test_a_byte_order_mark_is_forgiven(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_bytes(b"\xef\xbb\xbfid\na\n")
    problems: list[Problem] = []
    assert len(read_rows(tmp_path / "t.csv", ("id",), problems)) == 1
    assert not problems


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "missing"),
        (b"", "header is wrong"),
        (b"id;name\r\na;b\r\n", "semicolons"),
        (b"id,nmae\r\n", "columns missing: name; columns not known: nmae"),
        (b"name,id\r\n", "another order"),
        (b"id,name,name\r\n", "repeated"),
        (b"id,name\r\na\xff,b\r\n", "UTF-8"),
        (b'id,name\r\na,"b\r\n', "well-formed"),
    ],
)
def test_a_table_that_cannot_be_read_says_why(
    tmp_path: Path, content: bytes | None, says: str
) -> None:
    path = tmp_path / "t.csv"
    if content is not None:
        path.write_bytes(content)
    problems: list[Problem] = []
    assert read_rows(path, ("id", "name"), problems) == []
    assert len(problems) == 1
    assert problems[0].where.startswith("t.csv")
    assert says in problems[0].what
    assert problems[0].what_to_do


def test_a_row_with_a_loose_comma_is_named_and_the_rest_is_read(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("id,name\na,b,c\nd,e\n")
    problems: list[Problem] = []
    rows = read_rows(tmp_path / "t.csv", ("id", "name"), problems)
    assert [row.number for row in rows] == [3]
    assert problems[0].where == "t.csv, row 2"


def test_a_good_set_loads_with_its_values(folder: Path) -> None:
    reference = open_set(folder)
    knee = reference.types["knee"]
    assert knee.length_mm == (25.0, 60.0)
    assert knee.dates.words() == "c. AD 100 - AD 200"
    assert knee.look_alikes[0].type_id == "dolphin"
    assert knee.features == {"front": "A red square."}
    assert [photo.id for photo in reference.photos_of("knee")] == [f"knee-{n}" for n in range(1, 5)]
    assert reference.sources["fen-1"].basis == "from memory"


def test_lists_in_cells_are_split_and_stripped(folder: Path) -> None:
    row = type_row(
        other_names=" one;two ; ",
        checks="Look here | Feel there",
        cautions="lead; coin-group",
        typology="A 1 | B 2",
    )
    write_types(folder, [row])
    knee = load_types(folder / "types.csv")["knee"]
    assert knee.other_names == ("one", "two")
    assert knee.checks == ("Look here", "Feel there")
    assert knee.cautions == ("lead", "coin-group")
    assert knee.typology == ("A 1", "B 2")


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("id", "Knee Brooch", "not a usable id"),
        ("id", "knee--x", "not a usable id"),
        ("id", "", "empty"),
        ("name", "", "empty"),
        ("group", "bow broach", "not known"),
        ("period", "", "empty"),
        ("material", "", "empty"),
        ("date_edtf", "", "empty"),
        ("date_edtf", "0200/0100", "ends before it begins"),
        ("date_edtf", "2001-21", "only years"),
        ("length_mm", "60/25", "not a range"),
        ("length_mm", "25-60", "not a range"),
        ("length_mm", "0/60", "not a range"),
        ("length_mm", "nan/nan", "not a range"),
        ("length_mm", "25/inf", "not a range"),
        ("pin_fixing", "glued", "not known"),
        ("basis", "hearsay", "not known"),
        ("cautions", "lead; radium", "'radium' is not known"),
        ("look_alikes", "dolphin", "not understood"),
        ("look_alikes", "dolphin:", "not understood"),
        ("look_alikes", "knee: itself", "names itself"),
        ("look_alikes", "ghost: not there", "no type 'ghost'"),
        ("sources", "fen-1; fen-9", "'fen-9' is not in sources.csv"),
    ],
)
def test_each_wrong_cell_of_types_is_named(
    folder: Path, column: str, value: str, says: str
) -> None:
    write_types(folder, [type_row("dolphin"), type_row("knee") | {column: value}])
    with pytest.raises(TableError, match=f"types.csv, row 3, column {column}.*") as caught:
        load_types(folder / "types.csv", source_ids={"fen-1"})
    assert says in str(caught.value)


def test_look_alikes_must_point_back(folder: Path) -> None:
    rows = [type_row("knee", look_alikes="dolphin: a rib"), type_row("dolphin")]
    write_types(folder, rows)
    with pytest.raises(TablesError, match="'dolphin' \\(row 3\\) does not point back") as caught:
        load_types(folder / "types.csv")
    assert told(caught) == ["types.csv, row 2, column look_alikes"]


def test_a_look_alike_named_twice_is_told(folder: Path) -> None:
    rows = [
        type_row("knee", look_alikes="dolphin: a rib | dolphin: a knob"),
        type_row("dolphin", look_alikes="knee: no rib"),
    ]
    write_types(folder, rows)
    with pytest.raises(TablesError, match="named twice"):
        load_types(folder / "types.csv")


def test_a_bad_cell_does_not_make_the_types_that_point_at_it_look_wrong(folder: Path) -> None:
    rows = [
        type_row("knee", look_alikes="dolphin: a rib", period=""),
        type_row("dolphin", look_alikes="knee: no rib"),
    ]
    write_types(folder, rows)
    with pytest.raises(TablesError) as caught:
        load_types(folder / "types.csv")
    assert told(caught) == ["types.csv, row 2, column period"]


def test_ids_are_used_once(folder: Path) -> None:
    write_types(folder, [type_row("knee"), type_row("knee")])
    with pytest.raises(TablesError, match="used already in row 2") as caught:
        load_types(folder / "types.csv")
    assert told(caught) == ["types.csv, row 3, column id"]


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("id", "Knee 1", "not a usable id"),
        ("type", "ghost", "no type 'ghost'"),
        ("specimen", "", "empty"),
        ("view", "top", "not known"),
        ("completeness", "half", "not known"),
        ("condition", "shiny", "not known"),
        ("kind", "drawing", "not known"),
        ("creator", "", "empty"),
        ("licence", "CC-BY-NC-4.0", "not an open licence"),
        ("licence", "cc0-1.0", "not an open licence"),
        ("licence", "", "No licence given"),
        ("source", "", "empty"),
        ("sha256", "abc", "not a SHA-256"),
        ("labelled_by", "", "empty"),
        ("label_basis", "", "empty"),
        ("labelled_on", "31/01/2026", "not a day"),
        ("labelled_on", "2026-02-30", "not a day"),
        ("file", "photos/none.png", "missing"),
        ("file", "photos", "not a file"),
    ],
)
def test_each_wrong_cell_of_photos_is_named(
    folder: Path, column: str, value: str, says: str
) -> None:
    rows = [photo_row(folder, "knee-1", "knee"), photo_row(folder, "knee-2", "knee")]
    write_photos(folder, [rows[0], rows[1] | {column: value}])
    with pytest.raises(TableError, match=f"photos.csv, row 3, column {column}") as caught:
        load_photos(folder / "photos.csv", type_ids={"knee"})
    assert says in str(caught.value)


@pytest.mark.parametrize(
    "file",
    [
        "/etc/hostname",
        "../outside.png",
        "photos/../../outside.png",
        "photos/../photos/knee-1.png",
        "./photos/knee-1.png",
        "photos//knee-1.png",
        "photos\\knee-1.png",
        "C:/photos/knee-1.png",
        "C:knee-1.png",
        "photos/knee\x00-1.png",
    ],
)
def test_a_photo_path_may_not_leave_the_folder(folder: Path, file: str) -> None:
    (folder.parent / "outside.png").write_bytes((folder / "photos/knee-1.png").read_bytes())
    write_photos(folder, [photo_row(folder, "knee-1", "knee", file=file)])
    with pytest.raises(TableError, match="row 2, column file"):
        load_photos(folder / "photos.csv")


@pytest.mark.skipif(os.name == "nt", reason="making links needs rights on Windows")
@pytest.mark.parametrize("inside", [True, False])
def test_links_are_refused_wherever_they_lead(folder: Path, inside: bool) -> None:
    target = folder / "photos/knee-2.png" if inside else folder.parent / "outside.png"
    target.write_bytes(b"x")
    (folder / "photos/link.png").symlink_to(target)
    (folder / "elsewhere").symlink_to(folder / "photos")
    rows = [
        photo_row(folder, "link", "knee"),
        photo_row(folder, "knee-1", "knee", file="elsewhere/knee-1.png"),
    ]
    write_photos(folder, rows)
    with pytest.raises(TablesError) as caught:
        load_photos(folder / "photos.csv")
    assert told(caught) == ["photos.csv, row 2, column file", "photos.csv, row 3, column file"]
    assert all("link" in problem.what for problem in caught.value.problems)


def test_one_object_cannot_be_of_two_types(folder: Path) -> None:
    rows = [
        photo_row(folder, "knee-1", "knee", specimen="fen-12"),
        photo_row(folder, "dolphin-1", "dolphin", specimen="fen-12"),
    ]
    write_photos(folder, rows)
    with pytest.raises(TablesError, match="'fen-12' is a 'knee' in row 2") as caught:
        load_photos(folder / "photos.csv")
    assert told(caught) == ["photos.csv, row 3, column specimen"]


@pytest.mark.parametrize(
    ("column", "value"),
    [("id", "Fen"), ("citation", ""), ("url", "javascript:alert(1)"), ("basis", "x")],
)
def test_each_wrong_cell_of_sources_is_named(folder: Path, column: str, value: str) -> None:
    write_sources(folder, [source_row() | {column: value}])
    with pytest.raises(TableError, match=f"sources.csv, row 2, column {column}"):
        load_sources(folder / "sources.csv")


def test_every_problem_of_every_table_is_told_together(folder: Path) -> None:
    write_sources(folder, [source_row(basis="x")])
    write_types(folder, [type_row("knee", group="x", period="", sources=""), type_row("dolphin")])
    write_photos(folder, [photo_row(folder, "knee-1", "knee", view="x", licence="x")])
    with pytest.raises(TablesError) as caught:
        open_set(folder)
    assert set(told(caught)) >= {
        "sources.csv, row 2, column basis",
        "types.csv, row 2, column group",
        "types.csv, row 2, column period",
        "photos.csv, row 2, column view",
        "photos.csv, row 2, column licence",
    }


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SetError, match="no folder"):
        open_set(tmp_path / "none")


def test_an_empty_folder_names_all_three_tables(tmp_path: Path) -> None:
    with pytest.raises(TablesError) as caught:
        open_set(tmp_path)
    assert sorted(told(caught)) == ["photos.csv", "sources.csv", "types.csv"]
