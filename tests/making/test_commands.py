"""The commands that make a set, as somebody types them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from simsearch.commands import making
from simsearch.errors import SimsearchError
from simsearch.sets.reference_set import open_set
from tests.making.club import club_set, errors, snap, tree

SAID = [
    "--creator", "Harrow Fen Finds Club (invented)", "--licence", "cc by 4.0",
    "--source", "own photos", "--by", "A. Finder (invented)", "--authority", "seen in the hand",
]  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return club_set(tmp_path / "set")


def run(command: Callable[..., None], *arguments: object, typed: str = "") -> Result:
    app = typer.Typer()
    app.command()(command)
    return CliRunner().invoke(app, [str(one) for one in arguments], input=typed)


def test_from_nothing_to_a_set_with_photos(tmp_path: Path) -> None:
    club = tmp_path / "club"
    made = run(making.make, club, "--title", "Harrow Fen Finds Club (invented)")
    assert made.exit_code == 0 and "Made a set with" in made.output
    types = len(open_set(club).types)
    snap(tmp_path / "in/Knee/1_front.jpg", seed=1)
    added = run(making.add, club, tmp_path / "in", *SAID)
    assert added.exit_code == 0
    assert "Added 1 photo of 1 type." in added.output
    assert f"simsearch index {club}" in added.output.replace("\n", "")
    new = run(
        making.add_type, club, "fen", "--name", "Fen brooch (invented)", "--dates", "-0049~/0060",
        "--group", "bow brooch", "--period", "Roman", "--cell", "look_alikes=knee: flatter",
    )  # fmt: skip
    assert new.exit_code == 0 and "c. 50 BC" in new.output
    assert len(open_set(club).types) == types + 1
    (photo,) = open_set(club).photos
    said = ["--by", "B. Finder (invented)", "--authority", "finds officer"]
    beside = run(making.opinion, club, photo.id, "fen", *said)
    assert beside.exit_code == 0 and "stays" in beside.output
    moved = run(making.opinion, club, photo.id, "fen", *said, "--in-force")
    assert "1 photo moved to 'fen'" in moved.output
    assert run(making.withdraw, club, photo.id, typed="n\n").exit_code == 1
    assert len(open_set(club).photos) == 1
    gone = run(making.withdraw, club, photo.id, "--yes")
    assert gone.exit_code == 0 and open_set(club).photos == ()
    assert errors(club) == []


def test_a_preview_tells_all_and_writes_nothing(folder: Path, tmp_path: Path) -> None:
    for number in (1, 2):
        snap(tmp_path / f"in/knee/7/{number}.jpg", seed=number)
    (tmp_path / "in/knee/bad.jpg").write_bytes(b"no picture")
    before = tree(folder)
    told = run(making.add, folder, tmp_path / "in", *SAID, "--preview")
    assert told.exit_code == 1
    assert "left out: knee/bad.jpg" in told.output
    assert "knee: 2 photos of 1 object" in told.output
    assert "2 photos would be added. Nothing has been written." in told.output
    assert tree(folder) == before


def test_json_tells_the_same(folder: Path, tmp_path: Path) -> None:
    snap(tmp_path / "in/knee/1.jpg", seed=1)
    (tmp_path / "in/list.csv").write_text("file;type\nknee/1.jpg;knee\nnone.jpg;knee\n")
    told = run(making.add, folder, tmp_path / "in/list.csv", *SAID, "--json")
    assert told.exit_code == 1
    document = json.loads(told.stdout)
    assert document["added"] == [row["id"] for row in document["planned"]] != []
    assert [found["where"] for found in document["problems"]] == ["list.csv, row 3, column file"]
    again = run(making.add, folder, tmp_path / "in/list.csv", *SAID, "--json")
    assert json.loads(again.stdout)["already"] == 1


def test_what_is_missing_is_said_once(folder: Path, tmp_path: Path) -> None:
    for number in range(3):
        snap(tmp_path / f"in/knee/{number}.jpg", seed=number)
    told = run(making.add, folder, tmp_path / "in")
    assert told.exit_code == 1
    lines = [line for line in told.output.splitlines() if line.startswith("left out")]
    assert len(lines) == 5  # creator, licence, source, by, authority


def test_wrong_use_is_an_error_of_ours(folder: Path, tmp_path: Path) -> None:
    cell = run(
        making.add_type, folder, "fen", "--name", "x", "--dates", "0100/0200", "--group", "pin",
        "--period", "Roman", "--cell", "front",
    )  # fmt: skip
    for told in (cell, run(making.add, folder, tmp_path / "nowhere", *SAID)):
        assert isinstance(told.exception, SimsearchError)
