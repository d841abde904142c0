"""The commands, run in this process with the tests' own encoder."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import simsearch.encode
from simsearch.cli import FINE, NOT_READY, PROBLEMS, WRONG_USE, main
from simsearch.page.words import LEADS_NOT_IDENTIFICATIONS, NOTHING_CLOSE
from tests.page.small_set import COLOURS, FAR_COLOUR, make_small_set, save_find
from tests.tiny_set import GridEncoder, make_set, photo_row, type_row, write_types

# Modules that take seconds to import and that listing types has no use for.
HEAVY = ("torch", "gradio", "faiss", "open_clip", "torchvision")


@pytest.fixture(scope="module")
def small_set(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_small_set(tmp_path_factory.mktemp("small") / "set")


@pytest.fixture(autouse=True)
def _grid_encoder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))
    monkeypatch.setenv("COLUMNS", "200")


@pytest.fixture
def find(tmp_path: Path) -> Path:
    return save_find(tmp_path / "find.png")


def printed_json(capsys: pytest.CaptureFixture[str]) -> Any:
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("arguments", [["--help"], ["types", "--set", "SET", "--json"]])
def test_light_commands_import_nothing_heavy(small_set: Path, arguments: list[str]) -> None:
    arguments = [str(small_set) if given == "SET" else given for given in arguments]
    program = (
        "import sys; from simsearch.cli import main; code = main(sys.argv[1:]);"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr);"
        "sys.exit(code)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program, *arguments], capture_output=True, text=True, check=False
    )
    assert ran.returncode == FINE
    assert ran.stderr.strip() == "[]"


def test_help_documents_the_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == FINE
    text = " ".join(capsys.readouterr().out.split())
    for code in ("0 fine", "1 problems", "2 wrong use", "3 the set"):
        assert code in text


def test_look_ranks_the_type_of_the_same_colour_first(
    small_set: Path, find: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["look", str(find), "--set", str(small_set)]) == FINE
    text = capsys.readouterr().out
    first_row = next(line for line in text.splitlines() if line.startswith("1"))
    assert "Knee brooch" in first_row
    assert "c. AD 100 - AD 200" in first_row
    assert "Look for a spring case" in text
    assert text.strip().endswith(LEADS_NOT_IDENTIFICATIONS)


def test_look_as_json_prints_json_only(
    small_set: Path, find: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["look", str(find), "--set", str(small_set), "--json", "--k", "2"]) == FINE
    document = printed_json(capsys)
    assert document["note"] == LEADS_NOT_IDENTIFICATIONS
    assert document["problems"] == []
    assert document["finds"][0]["photos"] == [str(find)]
    assert [lead["type"] for lead in document["finds"][0]["leads"]][:1] == ["knee"]
    assert len(document["finds"][0]["leads"]) == 2


def test_a_bad_photo_in_a_folder_is_reported_and_the_rest_go_on(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "finds"
    folder.mkdir()
    save_find(folder / "a.png", COLOURS["knee"])
    (folder / "b.jpg").write_bytes(b"this is no photo")
    save_find(folder / "c.png", COLOURS["dolphin"])
    assert main(["look", str(folder), "--set", str(small_set), "--json"]) == WRONG_USE
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert [found["leads"][0]["type"] for found in document["finds"]] == ["knee", "dolphin"]
    assert len(document["problems"]) == 1
    assert "b.jpg" in document["problems"][0]["what"]
    assert err.startswith("error: ")
    assert "b.jpg" in err


def test_several_photos_are_finds_of_their_own_or_views_of_one(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photos = [str(save_find(tmp_path / f"{view}.png")) for view in ("front", "back")]
    assert main(["look", *photos, "--set", str(small_set), "--json"]) == FINE
    assert [found["photos"] for found in printed_json(capsys)["finds"]] == [[p] for p in photos]
    assert main(["look", *photos, "--together", "--set", str(small_set), "--json"]) == FINE
    together = printed_json(capsys)["finds"]
    assert [found["photos"] for found in together] == [photos]
    assert together[0]["photo_count"] == 2


def test_nothing_close_is_said_and_ends_with_1(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    far = save_find(tmp_path / "far.png", FAR_COLOUR)
    assert main(["look", str(far), "--set", str(small_set)]) == PROBLEMS
    assert NOTHING_CLOSE in capsys.readouterr().out


def test_ammunition_is_told_above_what_to_check(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shot = save_find(tmp_path / "shot.png", COLOURS["lead-shot"])
    assert main(["look", str(shot), "--set", str(small_set)]) == FINE
    text = capsys.readouterr().out
    assert text.index("leave it where it is") < text.index("check on the object")


def test_an_empty_folder_is_wrong_use(
    small_set: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["look", str(tmp_path), "--set", str(small_set)]) == WRONG_USE
    assert "no photos" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["look"], "PHOTO"),
        (["look", "x.png", "--k", "0"], "--k"),
        (["nonsense"], "nonsense"),
        (["types", "--colour", "red"], "--colour"),
    ],
)
def test_wrong_use_is_one_plain_line(
    arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == WRONG_USE
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("error: ")
    assert told in err
    assert len(err.strip().splitlines()) == 1


def test_a_set_without_index_names_the_command_that_builds_it(
    tmp_path: Path, find: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_set(tmp_path / "set")
    assert main(["look", str(find), "--set", str(folder)]) == NOT_READY
    assert f"simsearch index {folder}" in capsys.readouterr().err
    assert main(["index", str(folder)]) == FINE
    assert "Indexed 12 photos" in capsys.readouterr().out
    assert main(["look", str(find), "--set", str(folder)]) == FINE


def test_an_index_of_another_encoder_is_not_used(
    tmp_path: Path,
    find: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = make_set(tmp_path / "set")
    assert main(["index", str(folder)]) == FINE
    other = GridEncoder("grid", fingerprint="0" * 64)
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": other)
    capsys.readouterr()
    assert main(["look", str(find), "--set", str(folder)]) == NOT_READY
    assert "simsearch index" in capsys.readouterr().err


def test_a_folder_that_is_no_set_is_not_ready(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["types", "--set", str(tmp_path / "nowhere")]) == NOT_READY
    assert "nowhere" in capsys.readouterr().err


def test_debug_shows_where_an_error_came_from(tmp_path: Path) -> None:
    with pytest.raises(simsearch.errors.SetError):
        main(["--debug", "types", "--set", str(tmp_path / "nowhere")])


def test_types_are_filtered_by_every_word_and_by_group(
    small_set: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["types", "brooch", "KNEE", "--set", str(small_set), "--json"]) == FINE
    assert [kind["id"] for kind in printed_json(capsys)] == ["knee"]
    assert main(["types", "--group", "Disc Brooch", "--set", str(small_set), "--json"]) == FINE
    early = printed_json(capsys)
    assert [kind["id"] for kind in early] == ["early-disc"]
    assert early[0]["dates"]["words"] == "c. 50 BC - AD 60"
    assert main(["types", "zeppelin", "--set", str(small_set)]) == PROBLEMS
    capsys.readouterr()
    assert main(["types", "--group", "zeppelin", "--set", str(small_set)]) == WRONG_USE
    assert "disc brooch" in capsys.readouterr().err


def test_a_type_is_shown_in_full(small_set: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["type", "knee", "--set", str(small_set)]) == FINE
    text = capsys.readouterr().out
    for fact in (
        "bent-bow brooch",
        "c. AD 100 - AD 200 (from memory)",
        "Another author gives AD 120 - 180.",
        "25 to 60 mm",
        "Look for a spring case",
        "Dolphin brooch (dolphin): the bow is smooth, not ribbed",
        "Harrow Fen Finds Club, notes (invented)",
    ):
        assert fact in text
    assert main(["type", "knee", "--set", str(small_set), "--json"]) == FINE
    assert printed_json(capsys)["look_alikes"] == [
        {"type_id": "dolphin", "separates": "the bow is smooth, not ribbed"}
    ]


def test_an_unknown_type_suggests_close_ids(
    small_set: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["type", "dolfin", "--set", str(small_set)]) == WRONG_USE
    assert "Did you mean dolphin?" in capsys.readouterr().err


def test_brackets_in_a_name_are_printed_and_not_obeyed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_set(tmp_path / "set")
    write_types(folder, [type_row("knee", name="[bold]Knee[/bold] [red]")])
    (folder / "photos.csv").write_text(
        ",".join(photo_row(folder, "knee-1", "knee")) + "\r\n", encoding="utf-8"
    )
    assert main(["types", "--set", str(folder)]) == FINE
    assert "[bold]Knee[/bold] [red]" in capsys.readouterr().out
    assert main(["type", "knee", "--set", str(folder)]) == FINE
    assert "[bold]Knee[/bold] [red]" in capsys.readouterr().out


def test_check_ends_with_1_when_a_photo_is_not_the_one_that_was_labelled(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_set(tmp_path / "set")
    assert main(["index", str(folder)]) == FINE
    capsys.readouterr()
    assert main(["check", str(folder), "--json"]) == FINE
    assert all(problem["severity"] == "warning" for problem in printed_json(capsys))
    save_find(folder / "photos" / "knee-1.png")
    assert main(["check", str(folder)]) == PROBLEMS
    assert "knee-1" in capsys.readouterr().out


def test_odds_of_an_own_set_are_measured_and_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_set(tmp_path / "set", photos_per_type=17)
    assert main(["index", str(folder)]) == FINE
    assert main(["look", str(save_find(tmp_path / "find.png")), "--set", str(folder)]) == FINE
    assert "No odds are given" in capsys.readouterr().out
    assert main(["odds", str(folder)]) == FINE
    said = capsys.readouterr().out
    assert "Odds measured on 51 objects of known type" in said
    assert "still called close" in said
    assert main(["look", str(tmp_path / "find.png"), "--set", str(folder)]) == FINE
    assert "Odds were measured on 51 objects" in capsys.readouterr().out


def test_a_set_that_is_too_small_gets_no_odds_and_stays_as_it_is(
    small_set: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (small_set / "index" / "calibration.json").read_bytes()
    assert main(["odds", str(small_set)]) == NOT_READY
    assert "not enough photos to give odds: 20 objects, 50 needed" in capsys.readouterr().err
    assert (small_set / "index" / "calibration.json").read_bytes() == before


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--host", "127.0.0.1"], False),
        (["--host", "0.0.0.0", "--password", "harrow fen"], True),
        (["--phone"], True),
    ],
)
def test_the_page_is_started_for_this_computer_unless_asked(
    small_set: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    given: list[str],
    told: bool,
) -> None:
    started: dict[str, Any] = {}

    def start_page(reference: Any, **options: Any) -> None:
        started.update(options, folder=reference.folder)
        options["tell"]("http://here:8123/")

    monkeypatch.setattr("simsearch.page.start.start_page", start_page)
    monkeypatch.setattr("simsearch.page.phone.network_address", lambda: "192.168.1.20")
    options = ["--port", "8123", "--no-browser", *given]
    assert main(["page", "--set", str(small_set), *options]) == FINE
    host = given[1] if given[0] == "--host" else "192.168.1.20"
    assert (started["host"], started["port"], started["open_browser"]) == (host, 8123, False)
    out = capsys.readouterr().out
    assert "Open http://here:8123/ in a browser." in out
    assert ("not encrypted" in out) is told
    assert (started["password"] is not None) is told
    assert started["password"] is None or f"The password is: {started['password']}" in out
    assert ("█" in out) is (given == ["--phone"])


def test_other_computers_need_a_password(
    small_set: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--no-browser", "--host", "0.0.0.0"]
    assert main(["page", "--set", str(small_set), *options]) == WRONG_USE
    assert "--phone" in capsys.readouterr().err


def test_the_page_of_a_set_without_index_is_not_started(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_set(tmp_path / "set")
    assert main(["page", "--set", str(folder)]) == NOT_READY
    assert "simsearch index" in capsys.readouterr().err


def test_module_and_command_are_the_same(small_set: Path) -> None:
    command = [sys.executable, "-m", "simsearch", "types", "--set", str(small_set)]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    assert ran.returncode == FINE
    assert "Knee brooch" in ran.stdout
