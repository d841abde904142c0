"""The command that lists photos which look alike."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer

import simsearch.encode
from simsearch.commands.browse import similar
from simsearch.commands.common import Usage
from tests.page.small_set import COLOURS, make_small_set, save_find
from tests.tiny_set import GridEncoder


@pytest.fixture
def small_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))
    return make_small_set(tmp_path / "set")


def run(*given: str) -> None:
    app = typer.Typer()
    app.command()(similar)
    app(list(given), standalone_mode=False)


def test_a_photo_of_the_set_by_its_id(small_set: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("knee-1", "--set", str(small_set), "--k", "2")
    out = capsys.readouterr().out
    assert out.index("Knee brooch") < out.index("knee-")
    assert "knee-1 " not in out
    assert "rendered: front, complete, clean" in out
    assert "no proof" in " ".join(out.split())


def test_a_file_as_json(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    find = save_find(tmp_path / "find.png", COLOURS["dolphin"])
    run(str(find), "--set", str(small_set), "--json", "--k", "1")
    document = json.loads(capsys.readouterr().out)
    assert [kind["id"] for kind in document["types"]] == ["dolphin"]
    assert document["same_object"] == []


def test_neither_file_nor_id_is_told(small_set: Path) -> None:
    with pytest.raises(Usage, match="no file 'nothing") as caught:
        run("nothing.jpg", "--set", str(small_set))
    assert "photos.csv" in caught.value.hint
