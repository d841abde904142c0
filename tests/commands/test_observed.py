"""Options for what was observed, through the command itself."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import simsearch.encode
from simsearch.cli import FINE, WRONG_USE, main
from simsearch.commands.observed import observed_from
from simsearch.errors import ObservationError, SimsearchError
from simsearch.leads.observed import Measure
from tests.page.small_set import make_small_set, save_find
from tests.tiny_set import GridEncoder


@pytest.fixture(scope="module")
def small_set(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_small_set(tmp_path_factory.mktemp("small") / "set")


@pytest.fixture(autouse=True)
def _grid_encoder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))
    monkeypatch.setenv("COLUMNS", "200")


def test_options_become_observations() -> None:
    assert observed_from() is None
    seen = observed_from(length=38, error=0.5, left="half or more", nearby="Roman", fixing="sprung")
    assert seen is not None
    assert seen.length_mm == Measure(38, 0.5, "broken")
    assert seen.completeness == "half or more" and seen.fixing == "sprung"
    whole = observed_from(length=38, left="complete")
    assert whole is not None and whole.length_mm == Measure(38, 1.0, "whole")
    small = observed_from(thickness=0.4)
    assert small is not None and small.thickness_mm == Measure(0.4, 0.4)


def test_options_that_do_not_go_together() -> None:
    with pytest.raises(SimsearchError, match="broken and complete"):
        observed_from(length=38, broken=True, left="complete")
    with pytest.raises(SimsearchError, match="how to read a length"):
        observed_from(broken=True)
    with pytest.raises(ObservationError, match="above 0"):
        observed_from(length=0)


def test_reasons_and_the_next_look_are_printed(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    find = str(save_find(tmp_path / "find.png"))
    given = ["--length", "62", "--broken", "--fixing", "sprung", "--nearby", "roman"]
    assert main(["look", find, "--set", str(small_set), *given]) == FINE
    text = capsys.readouterr().out
    assert "What your observations did" in text
    assert "Your find is broken and 62 mm; this type is 25 to 60 mm when whole" in text
    assert "by the photo alone" in text and "were right in our tests" not in text
    assert "The leads together: Most likely c." in text
    assert main(["look", find, "--set", str(small_set)]) == FINE
    assert "What your observations did" not in capsys.readouterr().out


def test_json_carries_observations_reasons_dating_and_next(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    find = str(save_find(tmp_path / "find.png"))
    given = ["--length", "62", "--material", "bronze", "--json"]
    assert main(["look", find, "--set", str(small_set), *given]) == FINE
    found = json.loads(capsys.readouterr().out)["finds"][0]
    assert found["observed"]["material"] == "copper alloy"
    assert [r["observation"] for r in found["leads"][0]["reasons"]] == ["length", "material"]
    assert found["leads"][0]["before"] is not None
    assert found["dating"].startswith("Most likely c.")
    assert isinstance(found["next"], list)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["--material", "cheese"], "copper alloy"),
        (["--nearby", "long ago"], "post-medieval"),
        (["--weight", "-3"], "above 0"),
        (["--length", "10", "--width", "20"], "longest"),
    ],
)
def test_wrong_observations_are_told_before_any_photo_is_read(
    small_set: Path, capsys: pytest.CaptureFixture[str], given: list[str], says: str
) -> None:
    assert main(["look", "missing.png", "--set", str(small_set), *given]) == WRONG_USE
    assert says in capsys.readouterr().err


def test_observations_are_about_one_find(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photos = [str(save_find(tmp_path / f"{name}.png")) for name in "ab"]
    look = ["look", *photos, "--set", str(small_set), "--length", "40"]
    assert main(look) == WRONG_USE
    assert "--together" in capsys.readouterr().err
    assert main([*look, "--together"]) == FINE
