"""Scores stay, per player, on this machine; a player can be deleted; nothing is lost."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from simsearch.practice import PracticeError
from simsearch.practice.answer import judge
from simsearch.practice.exercise import Exercise, ask
from simsearch.practice.pool import make_pool
from simsearch.practice.scores import FILE, Player, Scores, summary
from simsearch.practice.staircase import CANNOT_TELL, START
from simsearch.sets.reference_set import ReferenceSet
from tests.practice.club import make_club


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return make_club(tmp_path_factory.mktemp("club") / "set", index=False)


@pytest.fixture(scope="module")
def exercise(club: ReferenceSet) -> Exercise:
    return ask(make_pool(club), START, seed=1)


def play(scores: Scores, name: str, exercise: Exercise, club: ReferenceSet, chosen: str) -> Player:
    return scores.record(name, exercise, judge(exercise, chosen, club.types), club.name)


def test_answers_are_kept_and_move_the_level(
    tmp_path: Path, club: ReferenceSet, exercise: Exercise
) -> None:
    scores = Scores(tmp_path / "scores")
    wrong = next(type_id for type_id in exercise.choices if type_id != exercise.type_id)
    for chosen in (exercise.type_id, exercise.type_id, CANNOT_TELL, wrong):
        play(scores, "Ada", exercise, club, chosen)
    again = Scores(tmp_path / "scores").player(" Ada ")
    assert again.staircase.level == START
    assert [item.outcome for item in again.answers] == ["right", "right", "cannot tell", "wrong"]
    assert again.points == 2.4
    assert again.seen(club.name) == {exercise.piece_id}
    assert again.seen("another set") == frozenset()
    assert again.taken_for_another() == [(exercise.type_id, wrong, 1)]
    assert summary(again) == (
        "Ada: 2.4 points of 4; 2 right, 1 wrong, 1 cannot tell; level 3 of 9."
    )


def test_a_player_can_be_deleted_and_the_others_stay(
    tmp_path: Path, club: ReferenceSet, exercise: Exercise
) -> None:
    scores = Scores(tmp_path)
    for name in ("Ada", "Ben", "Ada"):
        play(scores, name, exercise, club, CANNOT_TELL)
    assert scores.delete("Ada") == 2
    assert [player.name for player in scores.players()] == ["Ben"]
    assert "Ada" not in scores.path.read_text(encoding="utf-8")
    with pytest.raises(PracticeError, match="no scores of 'Ada'"):
        scores.delete("Ada")


def test_asking_for_a_player_writes_nothing(tmp_path: Path) -> None:
    assert Scores(tmp_path / "none").player("Ada").staircase.level == START
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(
    "content",
    ["{", "[]", "{}", '{"format": 2, "players": {}}', '{"format": 1, "players": {"Ada": {}}}',
     '{"format": 1, "players": {"Ada": {"level": 99, "run": 0, "answers": []}}}',
     '{"format": 1, "players": []}', "\xff"],
)  # fmt: skip
def test_a_spoilt_file_is_told_and_left_alone(
    tmp_path: Path, club: ReferenceSet, exercise: Exercise, content: str
) -> None:
    file = tmp_path / FILE
    file.write_bytes(content.encode("latin-1"))
    with pytest.raises(PracticeError, match="Nothing was changed"):
        play(Scores(tmp_path), "Ada", exercise, club, CANNOT_TELL)
    assert file.read_bytes() == content.encode("latin-1")


@pytest.mark.parametrize("name", ["", "  ", "a" * 61, "Ada\x1b[2J"])
def test_names_that_cannot_be_kept_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(PracticeError, match="name"):
        Scores(tmp_path).player(name)


def test_two_at_once_lose_no_answer(tmp_path: Path, club: ReferenceSet, exercise: Exercise) -> None:
    def many(name: str) -> None:
        for _ in range(10):
            play(Scores(tmp_path), name, exercise, club, CANNOT_TELL)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(many, ["Ada", "Ben", "Ada", "Cy"]))
    document = json.loads((tmp_path / FILE).read_text(encoding="utf-8"))
    counts = {name: len(held["answers"]) for name, held in document["players"].items()}
    assert counts == {"Ada": 20, "Ben": 10, "Cy": 10}


def test_a_folder_that_cannot_be_made_is_told(
    tmp_path: Path, club: ReferenceSet, exercise: Exercise
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(PracticeError):
        play(Scores(tmp_path / "file" / "scores"), "Ada", exercise, club, CANNOT_TELL)
