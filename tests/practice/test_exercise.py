"""Exercises: the same seed asks the same, levels are harder, choices are those that matter."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from simsearch.practice import PracticeError
from simsearch.practice.answer import judge
from simsearch.practice.exercise import CHOICES, ask
from simsearch.practice.nearness import nearness_of
from simsearch.practice.pool import difficulty, make_pool
from simsearch.practice.staircase import CANNOT_TELL, LEVELS
from simsearch.sets.private import PRIVATE_COLUMNS
from simsearch.sets.reference_set import ReferenceSet, open_set
from simsearch.sets.write import write_csv
from tests.practice.club import make_club
from tests.tiny_set import type_row, write_types


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return make_club(tmp_path_factory.mktemp("club") / "set")


def test_the_same_seed_asks_the_same(club: ReferenceSet) -> None:
    one, two = (ask(make_pool(club, seed=4), 5, seed=11) for _ in range(2))
    assert (one.piece_id, one.choices, one.made, one.kept) == (
        two.piece_id, two.choices, two.made, two.kept,
    )  # fmt: skip
    assert one.picture.tobytes() == two.picture.tobytes()
    asked = {ask(make_pool(club), 5, seed=seed).piece_id for seed in range(12)}
    assert len(asked) > 3


def test_higher_levels_are_harder(club: ReferenceSet) -> None:
    pool = make_pool(club)
    means = [
        np.mean([ask(pool, level, seed=seed).difficulty for seed in range(12)])
        for level in (1, LEVELS // 2 + 1, LEVELS)
    ]
    assert means[0] + 0.1 < means[1] < means[2] - 0.1


def test_less_left_worse_state_and_nearer_types_are_harder() -> None:
    easy = difficulty(1.0, "clean", 0.0)
    assert easy == 0
    assert difficulty(0.25, "corroded", 1.0) == pytest.approx(1)
    for harder in (
        difficulty(0.6, "clean", 0),
        difficulty(1, "worn", 0),
        difficulty(1, "clean", 1),
    ):
        assert harder > easy


def test_pictures_say_how_they_were_made(club: ReferenceSet) -> None:
    pool = make_pool(club)
    asked = [ask(pool, level, seed=seed) for level in range(1, 10) for seed in range(4)]
    assert {exercise.made for exercise in asked} == {
        "photo of the set, a fragment",
        "photo of the set, cut for practice",
    }
    for exercise in asked:
        assert exercise.made.endswith("cut for practice") == (not exercise.piece_id.endswith("-3"))
        assert exercise.kept < 0.8


def test_choices_hold_the_truth_its_look_alikes_and_the_nearest(club: ReferenceSet) -> None:
    near = nearness_of(club, club.photos)
    for seed in range(20):
        exercise = ask(make_pool(club), 1 + seed % LEVELS, seed=seed)
        assert len(exercise.choices) == len(set(exercise.choices)) == CHOICES
        assert exercise.type_id in exercise.choices
        kind = club.types[exercise.type_id]
        assert {other.type_id for other in kind.look_alikes} <= set(exercise.choices)
        assert near[exercise.piece_id].confusions[0] in exercise.choices
        names = [club.types[type_id].name for type_id in exercise.choices]
        assert names == sorted(names)


def test_nearness_is_that_of_plain_inner_products(club: ReferenceSet) -> None:
    near = nearness_of(club, club.photos)
    vectors, ids = club.index.vectors, list(club.index.photo_ids)
    type_of = {row.id: row.type for row in club.photos}
    for photo_id, found in near.items():
        others = [i for i, other in enumerate(ids) if type_of[other] != type_of[photo_id]]
        best = max(others, key=lambda i: float(vectors[ids.index(photo_id)] @ vectors[i]))
        assert found.confusions[0] == type_of[ids[best]]
        assert 0 <= found.hardness <= 1


def test_pieces_already_seen_are_passed_over_while_there_are_others(club: ReferenceSet) -> None:
    pool = make_pool(club)
    seen: list[str] = []
    for seed in range(len(pool.pieces)):
        seen.append(ask(pool, 5, seed=seed, seen=seen).piece_id)
    assert len(set(seen)) == len(pool.pieces)
    assert ask(pool, 5, seed=0, seen=seen).piece_id in seen


def test_without_an_index_there_is_practice_and_a_note(tmp_path: Path) -> None:
    pool = make_pool(make_club(tmp_path / "set", index=False))
    assert "no index" in pool.note
    assert ask(pool, 5, seed=1).type_id


def test_photos_without_consent_are_not_shown(tmp_path: Path) -> None:
    reference = make_club(tmp_path / "set", index=False)
    row = dict.fromkeys(PRIVATE_COLUMNS, "") | {"photo": "knee-1", "consent": "refused"}
    write_csv(reference.folder / "private.csv", PRIVATE_COLUMNS, [row])
    shown = {piece.id for piece in make_pool(open_set(reference.folder)).pieces}
    assert shown == {photo.id for photo in reference.photos} - {"knee-1"}


def test_unreadable_photos_are_passed_over_until_none_is_left(tmp_path: Path) -> None:
    reference = make_club(tmp_path / "set", index=False)
    files = [reference.path_of(row) for row in reference.photos]
    for file in files[:-2]:
        file.write_bytes(b"no photo")
    pool = make_pool(reference)
    assert ask(pool, 9, seed=0).piece_id.startswith("crotal-bell")
    for file in files:
        file.write_bytes(b"no photo")
    with pytest.raises(PracticeError, match="can be read"):
        ask(pool, 5, seed=0)


def test_one_type_is_too_few(tmp_path: Path) -> None:
    reference = make_club(tmp_path / "set", index=False)
    (reference.folder / "photos.csv").write_text(
        (reference.folder / "photos.csv").read_text(encoding="utf-8").splitlines()[0] + "\n",
        encoding="utf-8",
    )
    with pytest.raises(PracticeError, match="no photo"):
        make_pool(open_set(reference.folder))
    write_types(reference.folder, [type_row("knee")])
    with pytest.raises(PracticeError, match="fewer than two types"):
        make_pool(open_set(reference.folder))


def test_the_answer_tells_what_decides_and_the_guess_first(club: ReferenceSet) -> None:
    pool = make_pool(club)
    asked = (ask(pool, 3, seed=seed) for seed in range(200))
    exercise = next(one for one in asked if one.type_id == "knee")
    right = judge(exercise, "knee", club.types)
    wrong = judge(exercise, "dolphin", club.types)
    unsure = judge(exercise, CANNOT_TELL, club.types)
    assert [a.outcome for a in (right, wrong, unsure)] == ["right", "wrong", "cannot tell"]
    assert [a.points for a in (right, wrong, unsure)] == [1, 0, 0.4]
    assert right.features[0] == ("front", club.types["knee"].features["front"])
    assert wrong.apart[0].chosen
    assert wrong.apart[0].separates == "what separates knee from dolphin"
    assert wrong.apart[0].other_separates == "what separates dolphin from knee"
    told = "\n".join(wrong.lines())
    for words in ("not Dolphin (invented)", "Check the knee", "Survives", "c. AD 100"):
        assert words in told


def test_a_guess_outside_the_choices_is_refused(club: ReferenceSet) -> None:
    with pytest.raises(PracticeError, match="not among the choices"):
        judge(ask(make_pool(club), 1, seed=1), "aucissa", club.types)
