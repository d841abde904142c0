"""The README's examples are run as they are printed.

Every fenced block is one of: ``sh`` and ``powershell`` (installation, compared with the CI script
and the command line's own options), ``console`` (each command is run and what it prints is
compared) and ``python`` (run as a doctest). In printed output ``...`` stands for anything and
runs of blanks and line ends count as one blank, as in doctests.
"""

from __future__ import annotations

import csv
import doctest
import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from PIL import Image

from simsearch.cli import FINE, app, main
from simsearch.sets.reference_set import open_set, shipped_set_folder

README = Path(__file__).resolve().parents[1] / "README.md"
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
RUN_HERE, COMPARED_ELSEWHERE = {"console", "python"}, {"sh", "powershell"}
CLUB_SET_PHOTOS = 6  # what the README says its club-set has


@dataclass(frozen=True)
class Block:
    """One fenced block: its language, its text and the line it starts in."""

    language: str
    text: str
    line: int


@dataclass(frozen=True)
class Command:
    """One command of a console block and the output printed below it."""

    words: list[str]
    output: str
    line: int


def blocks() -> list[Block]:
    text = README.read_text(encoding="utf-8")
    fenced = re.finditer(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return [Block(m[1], m[2], text[: m.start(2)].count("\n") + 1) for m in fenced]


def commands() -> Iterator[Command]:
    for block in blocks():
        if block.language != "console":
            continue
        for part in re.finditer(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", block.text, re.MULTILINE):
            line = block.line + block.text[: part.start()].count("\n")
            yield Command(shlex.split(part[1]), part[2], line)


@pytest.fixture(scope="module")
def finder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the photos and the set that the README's examples speak of."""
    folder = tmp_path_factory.mktemp("finder")
    shipped = shipped_set_folder()
    with (shipped / "photos.csv").open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows = list(reader)
    for name, row in _photos_of_one_find(rows).items():
        # Another file than the reference photo, as another shot of it would be.
        with Image.open(shipped / row["file"]) as photo:
            photo.convert("RGB").rotate(7, fillcolor=(200, 200, 200)).save(folder / f"{name}.jpg")
    fronts = [row for row in rows if row["view"] == "front" and row["completeness"] == "complete"]
    _club_photos(shipped, folder / "club-photos", fronts[:CLUB_SET_PHOTOS])
    return folder


def _photos_of_one_find(rows: list[dict[str, str]]) -> dict[str, dict[str, str]]:
    """The front and the back of the first specimen that shows both, by the README's file names."""
    for specimen in dict.fromkeys(row["specimen"] for row in rows):
        views = {row["view"]: row for row in rows if row["specimen"] == specimen}
        if views.keys() >= {"front", "back"}:
            return {"find": views["front"], "front": views["front"], "back": views["back"]}
    raise LookupError("no specimen of the shipped set shows its front and its back")


def _club_photos(shipped: Path, target: Path, rows: list[dict[str, str]]) -> None:
    """Photos foldered by type, as a club has them: six objects of two types."""
    for row in rows:
        (target / row["type"]).mkdir(parents=True, exist_ok=True)
        with Image.open(shipped / row["file"]) as photo:
            name = f"{row['specimen']}_{row['view']}.jpg"
            photo.convert("RGB").rotate(5).save(target / row["type"] / name)


@pytest.fixture(autouse=True)
def _in_the_finders_folder(finder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(finder)
    monkeypatch.setenv("COLUMNS", "120")


def test_every_block_is_run_or_compared() -> None:
    assert {block.language for block in blocks()} == RUN_HERE | COMPARED_ELSEWHERE
    printed = sum(block.text.count("\n$ ") + block.text.startswith("$ ") for block in blocks())
    assert printed == len(list(commands())) > 0


def test_console_examples_print_what_the_readme_says(capsys: pytest.CaptureFixture[str]) -> None:
    # In one test and in order: an example may build on the ones before it.
    for command in commands():
        assert command.words[0] == "simsearch"
        code = main(command.words[1:])
        out, err = capsys.readouterr()
        where = f"README.md line {command.line}: {' '.join(command.words)}\n{out}{err}"
        assert code == FINE, where
        assert doctest.OutputChecker().check_output(command.output, out, FLAGS), where


def test_python_examples_do_what_the_readme_says() -> None:
    parser, runner = doctest.DocTestParser(), doctest.DocTestRunner(optionflags=FLAGS)
    python = [block for block in blocks() if block.language == "python"]
    for block in python:
        examples = parser.get_doctest(block.text, {}, "README.md", str(README), block.line)
        assert examples.examples
        assert runner.run(examples).failed == 0
    assert python


def test_the_numbers_of_types_are_those_of_the_shipped_set() -> None:
    reference = open_set()
    pictured = {photo.type for photo in reference.photos}
    assert f"{len(pictured)} of its {len(reference.types)} types have pictures" in README.read_text(
        encoding="utf-8"
    )


def test_every_command_is_shown() -> None:
    text = README.read_text(encoding="utf-8")
    registered = [
        c.name or (c.callback.__name__ if c.callback else "") for c in app.registered_commands
    ]
    missing = [name for name in registered if not re.search(rf"simsearch {name}\b", text)]
    assert registered
    assert not missing
