"""Practice on the page: a question, a guess, the answer, the scores."""

from __future__ import annotations

from pathlib import Path

import pytest

from simsearch.page.practice import Playing, answer
from simsearch.practice.scores import Scores
from simsearch.practice.staircase import CANNOT_TELL
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.page.small_set import make_small_set
from tests.page.test_render import Read


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return open_set(make_small_set(tmp_path_factory.mktemp("small") / "set"))


@pytest.fixture
def scores(tmp_path: Path) -> Scores:
    return Scores(tmp_path / "scores")


def test_a_guess_is_judged_and_scored_once(reference: ReferenceSet, scores: Scores) -> None:
    html, playing = answer(
        Playing(), {"do": "play", "fields": {"player": "Wren"}}, reference, scores
    )
    page = Read(html)
    assert playing.exercise is not None
    offered = {part["value"] for part in page.all("input") if part.get("type") == "radio"}
    assert offered == {*playing.exercise.choices, CANNOT_TELL}
    html, same = answer(playing, {"do": "guess", "fields": {}}, reference, scores)
    assert "Choose one of the types" in Read(html).text and same.exercise is playing.exercise
    right = {"do": "guess", "fields": {"ss-practice": playing.exercise.type_id}}
    html, done = answer(playing, right, reference, scores)
    assert "Right: it was labelled" in Read(html).text and done.exercise is None
    answer(done, right, reference, scores)  # pressed twice: another question, no second score
    assert scores.player("Wren").points == 1


def test_a_name_is_needed_and_can_be_deleted(reference: ReferenceSet, scores: Scores) -> None:
    html, _ = answer(Playing(), {"do": "play", "fields": {"player": " "}}, reference, scores)
    assert "name has to be text" in Read(html).text
    _, playing = answer(Playing(), {"do": "play", "fields": {"player": "Wren"}}, reference, scores)
    answer(playing, {"do": "guess", "fields": {"ss-practice": CANNOT_TELL}}, reference, scores)
    html, _ = answer(playing, {"do": "scores"}, reference, scores)
    assert "Wren:" in Read(html).text
    html, _ = answer(playing, {"do": "delete", "fields": {"player": "Wren"}}, reference, scores)
    assert "Deleted: Wren, 1 answers." in Read(html).text
    assert scores.players() == ()


def test_a_guess_from_nowhere_is_not_scored(reference: ReferenceSet, scores: Scores) -> None:
    _, playing = answer(Playing(), {"do": "play", "fields": {"player": "Wren"}}, reference, scores)
    wrong = {"do": "guess", "fields": {"ss-practice": "no such type"}}
    html, _ = answer(playing, wrong, reference, scores)
    assert "not among the choices" in Read(html).text
    assert scores.players() == ()
