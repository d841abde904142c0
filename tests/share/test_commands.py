"""The commands that share a set, called as the command line calls them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from simsearch.commands import share
from simsearch.errors import SimsearchError
from simsearch.sets.reference_set import open_set
from tests.share.packages import club_set, write_private
from tests.share.test_merge import add_photo, change_type

app = typer.Typer()
for command in (share.pack, share.unpack, share.merge, share.manifest):
    app.command()(command)


def run(*arguments: object, code: int = 0) -> str:
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    if isinstance(result.exception, SimsearchError):
        raise result.exception
    assert result.exit_code == code, result.output
    return result.stdout


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return club_set(tmp_path / "set")


def test_there_and_back(folder: Path, tmp_path: Path) -> None:
    write_private(folder, {"photo": "knee-1", "consent": "refused"})
    said = run("pack", folder, tmp_path / "a.zip")
    assert "Packed 5 photos of 3 types, without the private table." in said
    assert "refused, so not included: knee-1" in said
    said = run("unpack", tmp_path / "a.zip", tmp_path / "out")
    assert "Unpacked 5 photos of 3 types" in said and "simsearch index" in said
    assert len(open_set(tmp_path / "out").photos) == 5
    document = json.loads(run("pack", folder, tmp_path / "a.zip", "--replace", "--json"))
    assert document["photos"] == 5
    document = json.loads(run("unpack", tmp_path / "a.zip", tmp_path / "out2", "--json"))
    assert document["types"] == 3


def test_merging_shows_conflicts_first(folder: Path, tmp_path: Path) -> None:
    other = Path(shutil.copytree(folder, tmp_path / "other"))
    change_type(other, "knee", front="Other words.")
    add_photo(other, "new-1", "knee", 5)
    run("pack", other, tmp_path / "other.zip")
    said = run("merge", folder, tmp_path / "other.zip", "--preview", code=1)
    assert "type:knee" in said and "Nothing has been changed." in said
    with pytest.raises(SimsearchError, match="type:knee"):
        run("merge", folder, tmp_path / "other.zip")
    with pytest.raises(SimsearchError, match="not understood"):
        run("merge", folder, other, "--choose", "type:knee")
    said = run("merge", folder, tmp_path / "other.zip", "--choose", "type:knee=ours")
    assert "Photos that come in: 1" in said and "simsearch index" in said
    assert {row.id for row in open_set(folder).photos} >= {"new-1"}
    document = json.loads(run("merge", folder, other, "--choose", "type=ours", "--json"))
    assert document["known"] == 7


def test_manifests(folder: Path, tmp_path: Path) -> None:
    said = run("manifest", folder, tmp_path / "web", "--base-url", "https://club.example/finds/")
    assert "https://club.example/finds/collection.json" in said
    assert (tmp_path / "web/types/knee.json").is_file()
