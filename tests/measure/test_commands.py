"""The commands card, measure and advice, through a small app of their own."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from simsearch.commands import measure as commands
from simsearch.errors import SimsearchError
from tests.measure.rendering import photo_of, scene

app = typer.Typer()
for name in ("card", "measure", "advice"):
    app.command(name)(getattr(commands, name))


def run(*words: object) -> object:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("photos") / "find-rendered.jpg"
    photo_of(scene())[0].save(path, quality=92)
    return path


def test_card_writes_a_pdf(tmp_path: Path) -> None:
    done = run("card", tmp_path / "card.pdf", "--size", "a6")
    assert done.exit_code == 0
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF-")
    assert isinstance(run("card", tmp_path / "no" / "card.pdf").exception, SimsearchError)


def test_measure_prints_figures_with_errors(photo: Path, tmp_path: Path) -> None:
    above = tmp_path / "above.png"
    done = run("measure", photo, "--thickness", 1, "--squared", above, "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.output)
    assert abs(found["length_mm"] - 30) <= found["error_mm"]
    assert found["how"] and above.is_file()
    assert "±" in run("measure", photo, "--thickness", 1).output


def test_measure_with_two_points(photo: Path) -> None:
    points = ("--two-points", "100,100,400,100", "--mm", 30)
    done = run("measure", photo, *points, "--ends", "100,200,300,200", "--json")
    assert json.loads(done.output)["length_mm"] == pytest.approx(20)


@pytest.mark.parametrize(
    "words",
    [
        ("--mm", 10), ("--two-points", "1,2,3"), ("--two-points", "1,2,300,4"),
        ("--two-points", "1,2,300,4", "--mm", 10, "--rule", 100), ("--rule", 5),
    ],
)  # fmt: skip
def test_wrong_use_is_explained(photo: Path, words: tuple[object, ...]) -> None:
    error = run("measure", photo, *words).exception
    assert isinstance(error, SimsearchError)
    assert error.hint


def test_advice_is_printed(photo: Path) -> None:
    done = run("advice", photo, "--json")
    assert done.exit_code in (0, 1)
    told = json.loads(done.output)
    assert told[0]["photo"] == str(photo)
    assert all(one["words"] for one in told[0]["advice"])
