"""In the terminal and as HTML: the question gives nothing away, the answer tells what decides."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from simsearch.commands.practice import practice
from simsearch.errors import SimsearchError
from simsearch.page.practice_view import render_answer, render_exercise
from simsearch.practice.answer import judge
from simsearch.practice.exercise import ask
from simsearch.practice.pool import make_pool
from simsearch.practice.scores import Player, Scores
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.practice.club import make_club
from tests.tiny_set import type_row, write_types


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return make_club(tmp_path_factory.mktemp("club") / "set", index=False)


class Inputs(HTMLParser):
    """Gathers what the form can send, and every attribute's value."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.values: list[str] = []
        self.checked = 0
        self.attributes: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.attributes += [value or "" for value in named.values()]
        if tag == "input":
            self.values.append(named.get("value") or "")
            self.checked += "checked" in named


def test_the_question_gives_nothing_away(club: ReferenceSet) -> None:
    for seed in range(8):
        exercise = ask(make_pool(club), 5, seed=seed)
        html = render_exercise(exercise, club, player=Player("Ada"))
        form = Inputs(html)
        assert form.values == [*exercise.choices, "cannot tell"]
        assert form.checked == 0
        assert exercise.piece_id not in html
        alts = [value for value in form.attributes if "to name" in value]
        assert alts == [f"Fragment to name: {exercise.view}, {exercise.condition}"]
        assert exercise.made in html
        assert exercise.rule.replace("'", "&#39;") in html
        assert "CC0-1.0" in html


def test_the_answer_shows_what_decides_and_photos(club: ReferenceSet) -> None:
    asked = (ask(make_pool(club), 3, seed=seed) for seed in range(200))
    exercise = next(one for one in asked if one.type_id == "knee")
    html = render_answer(exercise, judge(exercise, "dolphin", club.types), club)
    for words in (
        "What decides", "Check the knee", "what separates knee from dolphin", "your answer",
        "Knee (invented) in this set", "The back of knee.",
    ):  # fmt: skip
        assert words in html
    assert "<input" not in html


def test_rendered_is_said_where_a_render_is_shown() -> None:
    shipped = open_set()
    exercise = ask(make_pool(shipped), 2, seed=3)
    html = render_exercise(exercise, shipped)
    assert exercise.rendered
    assert '<span class="ss-tag">rendered</span>' in html
    assert 'alt="Rendered fragment' in html


def test_names_from_a_set_are_escaped(tmp_path: Path) -> None:
    reference = make_club(tmp_path / "set", index=False)
    names = list(reference.types)
    rows = [type_row(name, name=f"<b>{name}</b>", checks="<script>") for name in names]
    write_types(reference.folder, rows)
    evil = open_set(reference.folder)
    exercise = ask(make_pool(evil), 5, seed=0)
    answer = judge(exercise, "cannot tell", evil.types)
    for html in (render_exercise(exercise, evil), render_answer(exercise, answer, evil)):
        assert "<b>" not in html
        assert "<script>" not in html


def run(*arguments: str, typed: str = "") -> str:
    app = typer.Typer()
    app.command()(practice)
    done = CliRunner().invoke(app, list(arguments), input=typed)
    if done.exception is not None:
        raise done.exception
    return done.output


def test_an_evening_in_the_terminal(club: ReferenceSet, tmp_path: Path) -> None:
    where = ["--set", str(club.folder), "--scores-in", str(tmp_path)]
    told = run(*where, "--player", "Ada", "--seed", "7", typed="9\n0\n1\nq\n")
    assert "Type a number from 0 to 5" in told
    assert "What" not in told.splitlines()[0]
    assert "cut for practice" in told or "a fragment" in told
    assert "cannot tell" in told
    assert len(Scores(tmp_path).player("Ada").answers) == 2
    pictures = [line for line in told.splitlines() if line.startswith("Picture: ")]
    assert len(pictures) == 3
    for line in pictures:
        name = Path(line.removeprefix("Picture: ")).name
        assert name.startswith("exercise-")
        assert not any(type_id in name for type_id in club.types)
        assert not Path(line.removeprefix("Picture: ")).exists()
    assert "Ada: " in run("--scores", *where)
    assert "2 answers" in run("--delete", "Ada", *where)
    assert "Nobody" in run("--scores", *where)


def test_the_same_seed_asks_a_new_player_the_same(club: ReferenceSet, tmp_path: Path) -> None:
    told = []
    for name in ("Ada", "Ben"):
        where = ["--set", str(club.folder), "--scores-in", str(tmp_path / name)]
        output = run(*where, "--player", name, "--seed", "7", typed="0\n0\nq\n")
        kept = [line for line in output.splitlines() if not line.startswith(("Picture", name))]
        told.append(kept)
    assert told[0] == told[1]


def test_nobody_typing_ends_the_evening(club: ReferenceSet, tmp_path: Path) -> None:
    where = ["--set", str(club.folder), "--scores-in", str(tmp_path)]
    assert "Ada: 0 points of 0" in run(*where, "--player", "Ada")


def test_a_player_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(SimsearchError, match="--player"):
        run("--scores-in", str(tmp_path))
