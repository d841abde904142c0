"""``simsearch register ...`` as somebody would type it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from simsearch.commands.register import app
from simsearch.errors import SimsearchError
from tests.register.invented import picture


class Typed:
    """Runs commands on one register."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __call__(self, *arguments: str, code: int = 0) -> str:
        given = [*arguments, "--register", str(self.folder)]
        ran = CliRunner().invoke(app, given, catch_exceptions=True, env={"COLUMNS": "200"})
        if isinstance(ran.exception, SimsearchError):
            raise ran.exception
        assert ran.exit_code == code, ran.output
        return ran.output

    def json(self, *arguments: str) -> Any:
        return json.loads(self(*arguments, "--json"))


@pytest.fixture
def typed(tmp_path: Path) -> Typed:
    picture().save(tmp_path / "a.png")
    typed = Typed(tmp_path / "r")
    typed(
        *("new", "title=Part of a brooch (invented)", "period=Roman", "length_mm=34.2"),
        *("findspot=TG 51409 13177", "findspot_words=Harrow Fen (invented)"),
        *("checked=two coils", "checked=no foot", "--photo", f"back={tmp_path / 'a.png'}"),
        *("--by", "A"),
    )
    return typed


def test_new_show_and_list(typed: Typed) -> None:
    shown = typed.json("show", "find-0001")
    assert shown["checked"] == ["two coils", "no foot"]
    assert shown["length_mm"] == 34.2
    assert shown["photos"][0]["view"] == "back"
    assert "Part of a brooch" in typed("list", "COILS", "--period", "roman")
    assert "1 of 1 finds" in typed("list")
    typed("list", "nothing-like-it", code=1)


@pytest.mark.parametrize("command", [("show", "find-0001"), ("list",), ("history",)])
def test_findspots_are_coarse_unless_exact_is_asked_for(
    typed: Typed, command: tuple[str, ...]
) -> None:
    for extra in ((), ("--json",)):
        printed = typed(*command, *extra)
        assert "51409" not in printed
    assert "TG 51 13" in typed(*command, "--json") or command == ("history",)
    assert "51409" in typed(*command, "--exact", "--json")


def test_change_undo_and_history(typed: Typed) -> None:
    typed(
        "change", "find-0001", "period=Medieval", "findspot_words=Elsewhere (invented)", "--by", "B"
    )
    assert typed.json("show", "find-0001", "--exact")["findspot_value"] == "TG 51409 13177"
    assert "already" in typed("change", "find-0001", "period=Medieval", "--by", "B")
    typed("undo", "find-0001", "--by", "C")
    assert typed.json("show", "find-0001")["period"] == "Roman"
    told = typed("history", "find-0001")
    assert "period: Roman -> Medieval" in told
    assert [change["by"] for change in typed.json("history")] == ["A", "B", "C"]
    typed("take-out", "find-0001", "--by", "A")
    typed("list", code=1)
    typed("undo", "find-0001", "--by", "A")
    assert "all sound" in typed("check")
    typed("change", "find-0001", "findspot=", "--by", "A")
    assert typed.json("show", "find-0001")["findspot"] == ""


def test_backup_restore_and_export(typed: Typed, tmp_path: Path) -> None:
    typed("backup", str(tmp_path / "b.zip"))
    other = Typed(tmp_path / "other")
    assert "1 finds and 1 photos are back" in other("restore", str(tmp_path / "b.zip"))
    with pytest.raises(SimsearchError, match="already"):
        other("restore", str(tmp_path / "b.zip"))
    assert "is now in" in other("restore", str(tmp_path / "b.zip"), "--replace")
    other("export", str(tmp_path / "finds.csv"))
    assert "51409" not in (tmp_path / "finds.csv").read_text("utf-8")
    other("export", str(tmp_path / "finds.csv"), "--exact")
    assert "51409" in (tmp_path / "finds.csv").read_text("utf-8")


@pytest.mark.parametrize(
    "arguments",
    [
        ("new", "title"),
        ("new", "title=a", "title=b"),
        ("new", "title=a", "photos=x"),
        ("new", "title=a", "findspot_words=x"),
        ("new", "title=a", "findspot=TG 51 13", "findspot_precision_m=near"),
        ("change", "find-0001"),
        ("change", "find-0009", "period=Roman"),
        ("show", "find-0009"),
    ],
)
def test_wrong_use_is_told_with_what_to_do(typed: Typed, arguments: tuple[str, ...]) -> None:
    with pytest.raises(SimsearchError) as told:
        typed(*arguments, *(["--by", "A"] if arguments[0] != "show" else []))
    assert told.value.hint


def test_looking_makes_no_register(tmp_path: Path) -> None:
    with pytest.raises(SimsearchError, match="no register"):
        Typed(tmp_path / "none")("list")
    assert not (tmp_path / "none").exists()
