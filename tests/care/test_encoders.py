"""Encoders compared on a set of one's own. Everything in the sets is invented."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy.stats import binomtest

from simsearch.care import encoder_measure
from simsearch.care.encoder_measure import (
    Judged,
    Measured,
    cross_fitted,
    measure,
    measure_apart,
    places_of,
)
from simsearch.care.encoders import (
    Comparison,
    compare_encoders,
    paired_difference,
    per_object,
    share_of,
)
from simsearch.errors import EncoderError, SetError
from simsearch.leads.calibration import MIN_FINDS
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.tiny_set import GridEncoder, make_set, photo_row, picture, write_photos


class Blind(GridEncoder):
    """Tells nothing apart."""

    def __init__(self) -> None:
        super().__init__(name="blind", fingerprint="b" * 64)

    def embed(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        return np.tile(np.eye(1, self.dim, dtype=np.float32), (len(images), 1))

    def patches(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        raise EncoderError("It has none.")


@pytest.fixture
def small(tmp_path: Path) -> ReferenceSet:
    return open_set(make_set(tmp_path / "set"))


def measured(places: Sequence[int], name: str, **changes: Any) -> Measured:
    specimens = tuple(f"knee/{number}" for number in range(len(places)))
    plain = Measured(
        name, "f" * 64, 4, None, len(places), specimens, tuple(places), None, 50.0, 300.0, 7.0
    )
    return replace(plain, **changes)


def compared(reference: ReferenceSet, *answers: Measured) -> Comparison:
    by_name = {one.encoder: one for one in answers}
    return compare_encoders(
        reference, list(by_name), measure_one=lambda _set, name, _progress: by_name[name]
    )


def test_an_encoder_that_sees_colours_finds_types_of_one_colour(small: ReferenceSet) -> None:
    told: list[tuple[int, int]] = []
    found = measure(small, GridEncoder(), progress=lambda *call: told.append(call))
    assert found.places == (1,) * 12
    assert found.specimens[0] == "knee/knee-1"
    assert (found.patches, found.dim, found.photos) == ((3, 3, 3), 28, 12)
    assert found.judged is None  # twelve objects are too few for odds
    assert found.milliseconds > 0
    assert told[0] == (0, 12) and told[-1] == (12, 12)


def test_an_encoder_that_sees_nothing_gets_nothing_right(small: ReferenceSet) -> None:
    found = measure(small, Blind())
    assert found.places == (3,) * 12  # equal scores: the right type counts as last
    assert found.patches is None


def test_measuring_leaves_the_index_and_spares_the_next_encoding(small: ReferenceSet) -> None:
    small.rebuild_index(GridEncoder())
    measure(small, Blind())
    assert open_set(small.folder).index.encoder_name == "grid"

    class Refusing(Blind):
        def embed(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
            assert images[0].size == (32, 32), "a photo was encoded again"
            return super().embed(images)

    assert open_set(small.folder).rebuild_index(Refusing()).encoder_name == "blind"


def test_photos_of_the_object_itself_do_not_count(tmp_path: Path) -> None:
    # Two photos of each object are alike, and no two objects of a type are.
    folder = make_set(tmp_path / "set")
    rows = []
    for number, (kind, specimen) in enumerate([("knee", "a"), ("knee", "b"), ("jetton", "c")] * 2):
        name = f"{kind}-{number}"
        shade = {"a": (250, 0, 0), "b": (0, 0, 250), "c": (0, 0, 200)}[specimen]
        picture(shade, seed=number).save(folder / f"photos/{name}.png")
        rows.append(photo_row(folder, name, kind, specimen=specimen))
    write_photos(folder, rows)
    found = measure(open_set(folder), GridEncoder())
    # The jetton is alone of its type; object b is nearer to it than to object a.
    assert dict(zip(found.specimens, found.places, strict=True)) == {"knee/a": 2, "knee/b": 2}


def test_odds_and_the_list_are_measured_where_there_are_enough_objects(tmp_path: Path) -> None:
    folder = make_set(tmp_path / "set", photos_per_type=20)
    found = measure(open_set(folder), GridEncoder())
    judged = found.judged
    assert judged is not None and len(set(judged.specimens)) == 60 >= MIN_FINDS
    assert set(judged.places) == {1}
    assert np.mean(judged.surprise) < 0.3 < math.log(3)  # far below that of a guess among three
    assert np.mean(judged.listed) > 0.8 and set(judged.lengths) == {1}


def test_odds_rest_on_other_objects_only() -> None:
    # Two photos of each object have the very same chance features. A model that had seen the
    # other photo could not profit (it has two weights), but limits and odds must come from rest.
    rng = np.random.default_rng(1)
    features = np.repeat(rng.normal(size=(100, 4, 1)), 2, axis=0)
    truth = np.repeat(rng.integers(0, 4, 100), 2)
    specimens = [f"s{number // 2}" for number in range(200)]
    odds, listed = cross_fitted(features, truth, specimens)
    np.testing.assert_allclose(odds.sum(axis=1), 1)
    np.testing.assert_array_equal(odds[::2], odds[1::2])  # both photos in one fold
    held = listed[np.arange(200), truth].mean()
    assert held > 0.82  # a list that promises 9 of 10, though nothing can be told


def test_the_place_counts_equal_scores_against_the_truth() -> None:
    scores = np.array([[0.9, 0.5, 0.1], [0.9, 0.9, 0.1], [0.1, 0.2, 0.3]])
    assert places_of(scores, np.array([0, 1, 0])).tolist() == [1, 2, 3]


def test_an_object_with_many_photos_counts_once() -> None:
    values = per_object([1, 1, 1, 1, 0], ["a", "a", "a", "a", "b"])
    assert values.tolist() == [1.0, 0.0]


@pytest.mark.parametrize(("right", "count"), [(0, 20), (7, 20), (20, 20), (33, 240)])
def test_the_interval_is_wilsons(right: int, count: int) -> None:
    # Checked against scipy's, for plain yes and no.
    found = share_of(np.array([1.0] * right + [0.0] * (count - right)))
    expected = binomtest(right, count).proportion_ci(0.95, method="wilson")
    np.testing.assert_allclose((found.low, found.high), (expected.low, expected.high), atol=1e-6)
    assert found.low <= found.value <= found.high


def test_the_paired_interval_is_that_of_the_mean_gap() -> None:
    rng = np.random.default_rng(3)
    one, other = rng.random(400), rng.random(400)
    by, low, high, chance = paired_difference(one + 0.2, other)
    gaps = one + 0.2 - other
    # For many objects the bootstrap comes to the normal interval of the mean.
    half = 1.96 * gaps.std() / 20
    np.testing.assert_allclose(
        [by, low, high], gaps.mean() + half * np.array([0, -1, 1]), atol=0.01
    )
    assert not chance


def test_encoders_that_are_alike_are_rarely_told_apart() -> None:
    rng = np.random.default_rng(5)
    sure = 0
    for _ in range(60):
        hard = rng.random(80)
        one, other = ((rng.random(80) > hard).astype(float) for _ in range(2))
        sure += not paired_difference(one, other)[3]
    # Three of sixty are expected; by the binomial law more than eight in 1 of 200 runs.
    assert sure <= 8


@pytest.mark.parametrize(("different", "chance"), [(0, True), (5, True), (9, False)])
def test_a_handful_of_objects_may_be_chance(different: int, chance: bool) -> None:
    one = np.zeros(30)
    one[:different] = 1
    assert paired_difference(one, np.zeros(30))[3] is chance


def test_the_better_encoder_is_named_with_what_it_gains(small: ReferenceSet) -> None:
    good = measured([1] * 90 + [2] * 30, "good")
    poor = measured([1] * 40 + [4] * 80, "poor", milliseconds=10.0)
    found = compared(small, poor, good)
    assert [one.encoder for one in found.figures] == ["good", "poor"]
    assert found.figures[0].in_five.value == 1.0
    (gap,) = found.differences
    assert (gap.encoder, gap.other, gap.may_be_chance) == ("good", "poor", False)
    assert gap.by == pytest.approx(50 / 120)
    text = " ".join(found.words())
    assert "good is better here than poor" in text and "42 objects in 100 more" in text
    assert f"simsearch index {small.folder} --encoder NAME" in text
    json.dumps(found.to_dict())


def test_a_difference_that_may_be_chance_is_called_so(small: ReferenceSet) -> None:
    one = measured([1] * 30 + [2] * 10, "one")
    other = measured([2] * 12 + [1] * 28, "other", milliseconds=10.0)
    text = " ".join(compared(small, one, other).words())
    assert "No difference is shown between one and other" in text
    assert "that could be chance" in text and "other is 5.0 times as quick" in text
    assert "With 40 objects only large differences show" in text


def test_leads_count_more_than_vectors_and_odds_may_speak_otherwise(small: ReferenceSet) -> None:
    names = tuple(f"knee/{number}" for number in range(60))

    def judged(first: int, surprise: float) -> Judged:
        places = (1,) * first + (2,) * (60 - first)
        return Judged(names, places, (surprise,) * 60, (True,) * 60, (2,) * 60)

    by_vector = measured([1] * 60, "by-vector", judged=judged(20, 0.4))
    by_patches = measured([2] * 60, "by-patches", judged=judged(50, 0.9))
    found = compared(small, by_vector, by_patches)
    best = found.figures[0]
    assert best.encoder == "by-patches"
    assert best.first_lead is not None and best.first_lead.value == pytest.approx(50 / 60)
    assert (best.list_length, best.surprise) == (2.0, pytest.approx(0.9))
    text = " ".join(found.words())
    assert "by-patches is better here than by-vector" in text
    assert "But by-vector gives the right type higher odds than by-patches." in text


def test_one_that_fails_is_told_and_the_others_go_on(small: ReferenceSet) -> None:
    def run(_set: ReferenceSet, name: str, _progress: object) -> Measured:
        if name == "gone":
            raise EncoderError("There is no encoder called 'gone'.", hint="Check the name.")
        return measured([1] * 120, name)

    found = compare_encoders(small, ["gone", "here", "here"], measure_one=run)
    assert [one.encoder for one in found.figures] == ["here"]
    assert "gone could not be measured: There is no encoder called 'gone'. Check the name." in (
        found.words()
    )
    with pytest.raises(EncoderError, match="no encoder called 'gone'"):
        compare_encoders(small, ["gone"], measure_one=run)
    with pytest.raises(EncoderError, match="no encoder to measure"):
        compare_encoders(small, [], measure_one=run)


def test_a_set_in_which_nothing_can_be_looked_up_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SetError, match="nothing to compare"):
        compare_encoders(open_set(make_set(tmp_path / "set", photos_per_type=1)), ["built-in"])


def test_a_fresh_process_measures_the_encoder_of_that_name(tmp_path: Path) -> None:
    reference = open_set(make_set(tmp_path / "set", photos_per_type=2))
    told: list[tuple[int, int]] = []
    apart = measure_apart(reference, "built-in", progress=lambda *call: told.append(call))
    assert told[-1] == (6, 6)
    index = reference.rebuild_index()  # encodes nothing: the rows were kept
    assert (apart.encoder, apart.fingerprint) == (index.encoder_name, index.encoder_fingerprint)
    similar = index.vectors @ index.vectors.T
    np.fill_diagonal(similar, -np.inf)
    by_type = np.stack([similar[:, :2], similar[:, 2:4], similar[:, 4:]], axis=1)
    by_type[np.isneginf(by_type)] = np.nan
    places = places_of(np.nanmean(by_type, axis=2), np.repeat([0, 1, 2], 2))
    assert apart.places == tuple(places)
    size = Path(encoder_measure.__file__).parents[1] / "encode/weights/built-in.safetensors"
    assert apart.weights_mb == pytest.approx(size.stat().st_size / 1e6)
    # More than the interpreter and the weights, less than this machine has.
    assert apart.memory_mb is None or 20 < apart.memory_mb < 100_000


def test_a_process_that_fails_says_why(small: ReferenceSet) -> None:
    with pytest.raises(EncoderError, match="could not be measured: There is no encoder called"):
        measure_apart(small, "no-such-encoder")


def test_a_process_that_dies_is_told(small: ReferenceSet, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(encoder_measure.sys, "executable", "/bin/false")
    with pytest.raises(EncoderError, match="ended without an answer") as caught:
        measure_apart(small, "built-in")
    assert "memory" in caught.value.hint
