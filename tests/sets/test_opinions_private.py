"""The two tables a set may have beside its three: opinions, and what is private."""

from __future__ import annotations

from pathlib import Path

import pytest

from simsearch.sets.check import check_set
from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.opinions import OPINION_COLUMNS, OPINIONS_FILE, Opinion, opinion_in_force
from simsearch.sets.private import PRIVATE_COLUMNS, PRIVATE_FILE, PrivateRow
from simsearch.sets.problems import TablesError
from simsearch.sets.reference_set import open_set
from simsearch.sets.write import write_csv
from tests.tiny_set import GridEncoder, make_set, photo_row, write_photos


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a set with nothing wrong."""
    folder = make_set(tmp_path / "set")
    write_datapackage(folder)
    open_set(folder).rebuild_index(GridEncoder())
    return folder


def opinion(**changes: str) -> Opinion:
    cells = {
        "photo": "knee-1",
        "specimen": "knee-1",
        "type": "dolphin",
        "by": "A. Finder (invented)",
    }
    cells |= {"on": "2026-02-03", "authority": "seen in the hand", "note": ""}
    return Opinion(**(cells | changes))


def write(folder: Path, opinions: list[Opinion], private: list[PrivateRow]) -> None:
    write_csv(folder / OPINIONS_FILE, OPINION_COLUMNS, [row.cells() for row in opinions])
    write_csv(folder / PRIVATE_FILE, PRIVATE_COLUMNS, [row.cells() for row in private])


def wheres(folder: Path) -> list[str]:
    return [found.where for found in check_set(folder) if found.severity == "error"]


def test_a_set_need_not_have_them(folder: Path) -> None:
    reference = open_set(folder)
    assert reference.opinions == ()
    assert reference.private == {}


def test_what_was_written_is_read_again(folder: Path) -> None:
    private = PrivateRow("knee-1", "given", "by post, 'Fen'", "a field", "52.1, -1.2", "a\nnote")
    write(folder, [opinion(), opinion(type="knee")], [private])
    reference = open_set(folder)
    assert reference.opinions == (opinion(), opinion(type="knee"))
    assert reference.private == {"knee-1": private}
    assert check_set(folder) == []


def test_one_error_for_each_wrong_cell(folder: Path) -> None:
    opinions = [
        opinion(photo="nobody"),
        opinion(type="sphinx"),
        opinion(on="3 Feb"),
        opinion(by="", authority=""),
        opinion(),
    ]
    private = [PrivateRow("nobody"), PrivateRow("knee-1", consent="perhaps"), PrivateRow("knee-1")]
    write(folder, opinions, private)
    assert sorted(wheres(folder)) == [
        "opinions.csv, row 2, column photo",
        "opinions.csv, row 3, column type",
        "opinions.csv, row 4, column on",
        "opinions.csv, row 5, column authority",
        "opinions.csv, row 5, column by",
        "private.csv, row 2, column photo",
        "private.csv, row 3, column consent",
        "private.csv, row 4, column photo",
    ]
    reference = open_set(folder)
    with pytest.raises(TablesError):
        _ = reference.opinions
    with pytest.raises(TablesError):
        _ = reference.private


def test_a_fault_of_a_photo_does_not_spread_to_its_opinions(folder: Path) -> None:
    write(folder, [opinion()], [PrivateRow("knee-1")])
    rows = [photo_row(folder, photo.id, photo.type) for photo in open_set(folder).photos]
    write_photos(folder, [row | {"view": "top"} if row["id"] == "knee-1" else row for row in rows])
    assert wheres(folder) == ["photos.csv, row 2, column view"]


def test_an_empty_or_foreign_table_is_told(folder: Path) -> None:
    (folder / OPINIONS_FILE).write_bytes(b"")
    (folder / PRIVATE_FILE).write_text("photo,secret\nknee-1,x\n")
    assert wheres(folder) == ["opinions.csv, row 1", "private.csv, row 1"]


def test_the_label_in_force_is_an_opinion_too(folder: Path) -> None:
    found = opinion_in_force(open_set(folder).photos[0])
    assert (found.photo, found.by, found.on) == ("knee-1", "the tests", "2026-01-31")


def test_a_problem_can_be_shown_whatever_it_quotes(folder: Path) -> None:
    write(folder, [opinion(on="\x1b[2J\u202e" + "x" * 5000)], [])
    (found,) = [one for one in check_set(folder) if one.severity == "error"]
    assert "\x1b" not in str(found) and "\u202e" not in str(found)
    assert len(str(found)) < 800
