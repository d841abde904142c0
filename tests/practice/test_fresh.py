"""Folders of fresh renders: read with clear errors, shown as rendered; the script writes them."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from simsearch.practice import PracticeError
from simsearch.practice.exercise import ask
from simsearch.practice.fresh import COLUMNS, TABLE, read_fresh
from simsearch.practice.pool import make_pool
from simsearch.sets.write import write_csv
from tests.practice.club import drawn, make_club

ROOT = Path(__file__).resolve().parents[2]


def row(**changes: str) -> dict[str, str]:
    cells = ("knee/1.jpg", "knee", "back", "0.41", "worn", "practice")
    return dict(zip(COLUMNS, cells, strict=True)) | changes


def write(folder: Path, *rows: dict[str, str]) -> Path:
    (folder / "knee").mkdir(parents=True)
    drawn("bar", (50, 60, 70)).save(folder / "knee/1.jpg")
    write_csv(folder / TABLE, COLUMNS, rows)
    return folder


def test_fresh_renders_are_asked_about_and_said_to_be_rendered(tmp_path: Path) -> None:
    reference = make_club(tmp_path / "set")
    pool = make_pool(reference, fresh=write(tmp_path / "fresh", row()))
    own = {piece.id for piece in pool.pieces if not piece.fresh}
    exercise = ask(pool, 5, seed=0, seen=own)
    assert exercise.made == "freshly damaged, rendered"
    assert exercise.rendered
    assert (exercise.type_id, exercise.view, exercise.kept) == ("knee", "back", 0.41)
    assert "dolphin" in exercise.choices


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"file": "../knee/1.jpg"}, "does not stay"),
        ({"file": "knee/2.jpg"}, "is missing"),
        ({"type": "aucissa"}, "no type 'aucissa'"),
        ({"view": "above"}, "column view"),
        ({"kept": "1.5"}, "'1.5' is not a share"),
        ({"kept": "nan"}, "'nan' is not a share"),
        ({"kept": "half"}, "'half' is not a share"),
        ({"condition": "shiny"}, "column condition"),
    ],
)
def test_a_wrong_row_is_told_by_row_and_column(
    tmp_path: Path, changes: dict[str, str], told: str
) -> None:
    folder = write(tmp_path / "fresh", row(), row(**changes))
    with pytest.raises(PracticeError) as caught:
        read_fresh(folder, {"knee"})
    assert told in str(caught.value)
    assert "row 3" in str(caught.value)


def test_an_empty_or_missing_table_is_told(tmp_path: Path) -> None:
    with pytest.raises(PracticeError, match="empty"):
        read_fresh(write(tmp_path / "fresh"), {"knee"})
    with pytest.raises(PracticeError, match="missing"):
        read_fresh(tmp_path, {"knee"})


def script() -> ModuleType:
    path = ROOT / "scripts" / "make_practice.py"
    spec = importlib.util.spec_from_file_location("make_practice", path)
    if spec is None or spec.loader is None:
        raise ImportError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_what_the_script_writes_can_be_read(tmp_path: Path) -> None:
    # The renderer itself has its own tests; a drawn picture stands in for its output.
    import numpy as np

    from simsearch.synthetic.specimens import Picture

    make = script()
    rows, shots = [], set()
    for number in range(9):
        shot, view, condition = make.shot_of(number)
        shots.add((shot.kept, condition))
        assert shot.view == view
        assert shot.kept[1] < 0.9  # every one is broken
        nothing = np.zeros((1, 1))
        picture = Picture("knee", number, drawn("bar", (9, 9, 9)), 0.4, nothing, nothing)
        rows.append(make.keep(picture, tmp_path, view, condition, "evening"))
    write_csv(tmp_path / TABLE, COLUMNS, rows)
    found = read_fresh(tmp_path, {"knee"})
    assert [item.file for item in found] == [f"knee/{n}.jpg" for n in range(1, 10)]
    assert len(shots) == 9  # each share left in each condition


def test_practice_runs_without_the_renderer() -> None:
    code = (
        "import sys, simsearch.practice.exercise, simsearch.practice.scores\n"
        "import simsearch.page.practice_view\n"
        "sys.exit(any(n.startswith('simsearch.synthetic') or n == 'torch' for n in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
