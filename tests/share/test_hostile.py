"""A thousand hostile packages: each gives a clear error or a good set, and nothing else happens."""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path

import pytest

from simsearch.errors import SimsearchError
from simsearch.sets.check import check_set
from simsearch.share.cells import is_harmful
from simsearch.share.tables import COLUMNS, read_table
from simsearch.share.unpack import unpack_set
from tests.share.hostile import hostile_package
from tests.share.packages import club_set, everything_under, packed, parts_of, write_opinions

PACKAGES = 1_000


@pytest.mark.filterwarnings("ignore:Duplicate name")  # the zip writer sees what we do
def test_a_thousand_hostile_packages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Waiting for the disk a few times per package would be most of this test's time.
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)
    home = tmp_path / "home"
    folder = club_set(home / "set", photos_per_type=1)
    opinion = {"photo": "knee-1", "specimen": "knee-1", "type": "dolphin"}
    write_opinions(folder, opinion | {"by": "A. Recorder (invented)", "authority": "a note"})
    good = parts_of(packed(folder))
    place = tmp_path / "a" / "b"
    place.mkdir(parents=True)
    counted: Counter[str] = Counter()
    for seed in range(PACKAGES):
        counted[tried(hostile_package(good, seed), place, seed)] += 1
    outside = {"home", "a", "a/b"}
    found = {name for name in everything_under(tmp_path) if not name.startswith("home/")}
    assert found == outside
    # Some changes are harmless (a title, a note, the time of a file), so some get in.
    assert counted["refused"] > 0.75 * PACKAGES, counted
    assert counted["let in"] > 10, counted


def tried(package: bytes, place: Path, seed: int) -> str:
    """Unpack one package; return what came of it. Leaves the place empty."""
    source, target = place / "package.zip", place / "set"
    source.write_bytes(package)
    try:
        unpack_set(source, target)
    except SimsearchError as error:
        assert not target.exists(), seed
        assert 20 < len(str(error)) < 20_000, (seed, str(error))
        assert all(letter.isprintable() or letter == "\n" for letter in str(error)), seed
        outcome = "refused"
    else:
        problems = [p for p in check_set(target) if p.severity == "error" and p.where != "index"]
        assert not problems, (seed, problems)
        cells = [c for f in COLUMNS for row in read_table(target, f) for c in row.values()]
        assert not any(is_harmful(cell) for cell in cells), seed
        outcome = "let in"
        remove(target)
    source.unlink()
    assert list(place.iterdir()) == [], seed
    return outcome


def remove(folder: Path) -> None:
    for path in sorted(folder.rglob("*"), reverse=True):
        if path.is_symlink() or not path.is_dir():
            assert not path.is_symlink()
            path.unlink()
        else:
            path.rmdir()
    folder.rmdir()
