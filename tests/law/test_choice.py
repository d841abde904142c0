"""The country is chosen once and kept; the command tells it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from simsearch.commands.law import law
from simsearch.errors import SimsearchError
from simsearch.law import COUNTRIES, LawError, choice


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "settings"
    monkeypatch.setattr(choice, "settings_folder", lambda: folder)
    return folder


def run(*arguments: str) -> str:
    app = typer.Typer()
    app.command()(law)
    done = CliRunner().invoke(app, list(arguments))
    if done.exception is not None:
        raise done.exception
    return done.output


def test_a_country_is_kept_until_another_is_chosen(settings: Path) -> None:
    assert choice.chosen_country() is None
    assert choice.choose_country("Northern Ireland") == "northern-ireland"
    assert choice.chosen_country() == "northern-ireland"
    choice.choose_country("wales")
    assert choice.chosen_country() == "wales"
    assert [path.name for path in settings.iterdir()] == [choice.FILE]


@pytest.mark.parametrize("content", ["{", "[]", '{"country": 3}', '{"country": "atlantis"}'])
def test_a_spoilt_file_is_told_and_can_be_replaced(settings: Path, content: str) -> None:
    settings.mkdir()
    (settings / choice.FILE).write_text(content, encoding="utf-8")
    with pytest.raises(LawError, match="--set-country"):
        choice.chosen_country()
    choice.choose_country("england")
    assert choice.chosen_country() == "england"


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(LawError, match="could not be kept"):
        choice.choose_country("england", tmp_path / "file" / "settings")


def test_the_command_keeps_a_country_and_tells_its_law(settings: Path) -> None:
    assert "kept as your country" in run("scotland", "--set-country")
    told = run()
    assert "Law: Scotland" in told
    for words in ("Permission", "treasure trove unit", "read 2026-11-25", "from memory",
                  "Check the current text", "not legal advice"):  # fmt: skip
        assert words in told


def test_the_command_gives_json_and_first_aid(settings: Path) -> None:
    document = json.loads(run("england", "--json"))
    assert document["country"] == "england"
    assert {line["topic"] for line in document["lines"]} >= {"permission", "ammunition"}
    assert "Never: No acids" in run("--material", "iron")
    assert not settings.exists()


def test_without_a_country_the_command_asks_for_one(settings: Path) -> None:
    with pytest.raises(SimsearchError, match="--set-country") as caught:
        run()
    assert all(country in str(caught.value) for country in COUNTRIES)
    with pytest.raises(SimsearchError, match="no country was named"):
        run("--set-country")
