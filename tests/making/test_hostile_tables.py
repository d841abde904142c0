"""A thousand tables made to do harm: clear errors only, and nothing outside the set."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from simsearch.errors import SimsearchError
from simsearch.making.add import add_photos
from simsearch.making.from_folder import plan_from_folder
from simsearch.making.from_table import plan_from_table
from simsearch.making.labels import give_opinion
from simsearch.making.plan import Plan
from simsearch.sets.check import check_set
from simsearch.sets.private import PRIVATE_COLUMNS, PRIVATE_FILE, PrivateRow
from simsearch.sets.problems import Problem
from simsearch.sets.reference_set import ReferenceSet, open_set
from simsearch.sets.write import write_csv
from tests.making.club import DEFAULTS, club_set, errors, snap, tree
from tests.making.hostile_tables import hostile_import, hostile_table

IMPORTS, TABLES = 700, 300
_ADDED = 14  # of every so many plans one is carried out


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Return a folder with a set, photos to import, and something outside that must stay."""
    club_set(tmp_path / "set")
    for number in range(6):
        snap(tmp_path / f"in/{number}.jpg", seed=number)
    snap(tmp_path / "outside/0.jpg", seed=99)
    (tmp_path / "in/sub").mkdir()
    (tmp_path / "in/deep").mkdir()
    (tmp_path / "in/link.jpg").symlink_to(tmp_path / "outside/0.jpg")
    (tmp_path / "in/deep/link").symlink_to(tmp_path / "outside")
    return tmp_path


def require_clear(problems: tuple[Problem, ...] | list[Problem]) -> None:
    for found in problems:
        assert found.where and found.what.strip() and found.what_to_do.strip(), found
        line = " ".join(str(found).split())
        assert len(line) < 1500 and "Traceback" not in line and "\x1b" not in line, line
        assert "\x00" not in line


def test_hostile_imports_give_clear_lines_only(place: Path) -> None:
    outside = {name: tree(place / name) for name in ("in", "outside")}
    reference = open_set(place / "set")
    planned = left_out = 0
    for seed in range(IMPORTS):
        path = place / "list.csv"
        path.write_bytes(hostile_import(random.Random(seed)))
        found = plan_from_table(reference, path, DEFAULTS, photos=place / "in")
        require_clear(found.problems)
        assert found.incoming or found.errors or found.problems, seed
        for item in found.incoming:
            assert item.source.resolve().is_relative_to(place / "in")
            assert item.source.resolve().parent == place / "in"
        planned += len(found.incoming)
        left_out += len(found.errors)
        if found.incoming and seed % _ADDED == 0:
            carry_out(place, reference, found)
    path.unlink()
    assert {name: tree(place / name) for name in outside} == outside
    assert sorted(one.name for one in place.iterdir()) == ["in", "outside", "set"]
    assert planned > 100 and left_out > 1000  # both ways were gone


def carry_out(place: Path, reference: ReferenceSet, plan: Plan) -> None:
    """Add what the plan let through to a copy of the set; it must be sound afterwards."""
    copy = place / "copy"
    shutil.copytree(reference.folder, copy)
    require_clear(add_photos(copy, plan).problems)
    assert errors(copy) == []
    shutil.rmtree(copy)


def test_hostile_tables_in_a_set_give_clear_errors_only(place: Path) -> None:
    folder = place / "set"
    (place / "more/knee").mkdir(parents=True)
    for number in range(2):
        shutil.copy(place / f"in/{number}.jpg", place / f"more/knee/{number}.jpg")
    add_photos(folder, plan_from_folder(open_set(folder), place / "more", DEFAULTS))
    give_opinion(folder, "knee-1", "dolphin", "A. Finder (invented)", "handbook", in_force=False)
    private = [PrivateRow("knee-1", "given", findspot="a field").cells()]
    write_csv(folder / PRIVATE_FILE, PRIVATE_COLUMNS, private)
    outside = {name: tree(place / name) for name in ("in", "outside", "more")}
    names = sorted(path.name for path in folder.glob("*.csv"))
    told = 0
    for seed in range(TABLES):
        chance = random.Random(seed)
        name = chance.choice(names)
        good = (folder / name).read_bytes()
        (folder / name).write_bytes(hostile_table(good, chance))
        problems = check_set(folder)
        require_clear(problems)
        told += len(problems)
        try:
            plan_from_folder(open_set(folder), place / "in", DEFAULTS)
            _ = open_set(folder).opinions, open_set(folder).private
        except SimsearchError as error:
            assert str(error).strip()
        (folder / name).write_bytes(good)
    assert {name: tree(place / name) for name in outside} == outside
    assert errors(folder) == []
    assert told > TABLES / 2
