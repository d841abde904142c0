"""The commands ``sheet find``, ``sheet type`` and ``sheet look-alikes``."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from simsearch.commands import sheets
from simsearch.commands.common import Usage
from simsearch.errors import SimsearchError
from simsearch.leads.observed import Measure
from simsearch.register.observing import observed_of
from simsearch.register.photos import NewPhoto
from tests import tiny_set
from tests.register.invented import find_fields, make_register
from tests.sheets.made import photo, record, words_of


@pytest.fixture
def places(tmp_path: Path) -> tuple[str, str]:
    """A register with one find and a set, as the options take them."""
    with make_register(tmp_path / "register") as register:
        register.new(find_fields(), photos=[NewPhoto(photo(), "front", "", 0.05)], by="tests")
    return str(tmp_path / "register"), str(tiny_set.make_set(tmp_path / "set"))


def run(*given: str) -> str:
    done = CliRunner().invoke(sheets.app, list(given), catch_exceptions=True)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.output


def test_a_find_is_written_with_a_coarse_place(places: tuple[str, str], tmp_path: Path) -> None:
    register, set_folder = places
    out = tmp_path / "find.pdf"
    options = ["--register", register, "--set", set_folder, "--no-leads"]
    assert "Wrote" in run("find", "find-0001", str(out), *options)
    words = words_of(out.read_bytes())
    assert "TG 51 13 (to 1 km)" in words and "13177" not in words
    assert "Knee (invented): possible" in words
    with pytest.raises(Usage, match="is there already"):
        run("find", "find-0001", str(out), *options)
    said = run("find", "find-0001", str(out), *options, "--exact", "--replace")
    assert "exact findspot" in said and "TG 51409 13177" in words_of(out.read_bytes())


def test_leads_need_an_index_and_nothing_is_written_without(
    places: tuple[str, str], tmp_path: Path
) -> None:
    register, set_folder = places
    out = tmp_path / "find.pdf"
    with pytest.raises(SimsearchError, match="index"):
        run("find", "find-0001", str(out), "--register", register, "--set", set_folder)
    assert not out.exists()


def test_types_and_look_alikes_are_written(places: tuple[str, str], tmp_path: Path) -> None:
    kind, pair = tmp_path / "type.pdf", tmp_path / "pair.pdf"
    run("type", "knee", str(kind), "--set", places[1])
    run("look-alikes", "knee", "dolphin", str(pair), "--set", places[1])
    assert "Typical fragments" in words_of(kind.read_bytes())
    assert "Knee (invented), not Dolphin (invented)" in words_of(pair.read_bytes())


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["type", "knee", "out.txt"], r"does not end in \.pdf"),
        (["type", "knee", "no-such-folder/out.pdf"], "cannot be written"),
        (["look-alikes", "knee", "out.pdf"], "two or three types and a file"),
        (["look-alikes", "knee", "dolphin", "jetton"], r"does not end in \.pdf"),
    ],
)
def test_wrong_use_is_told_before_any_work(given: list[str], said: str) -> None:
    with pytest.raises(Usage, match=said):
        run(*given)


def test_what_a_record_says_moves_the_odds() -> None:
    seen = observed_of(
        record(completeness="half or more", fixing="sprung", nearby="Roman", surface="odd words")
    )
    assert seen is not None
    assert seen.length_mm == Measure(34.2, 1.0, "broken")
    assert (seen.material, seen.fixing, seen.weight_g) == ("copper alloy", "sprung", 7.4)
    assert seen.nearby is not None and seen.surface is None


def test_a_record_that_says_nothing_moves_nothing() -> None:
    bare = record(length_mm=None, weight_g=None, material="", completeness="")
    assert observed_of(bare) is None
