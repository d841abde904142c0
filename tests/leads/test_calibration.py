"""Fitting a calibration as a whole, and its file."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simsearch.errors import SetError
from simsearch.leads.calibration import fit_calibration
from simsearch.leads.calibration_file import CALIBRATION_FILE, load_calibration, save_calibration
from simsearch.leads.shortlist import LEVELS

PRINTS: dict[str, Any] = {"encoder_fingerprint": "f" * 64, "set_fingerprint": "e" * 64}


def finds(count: int = 300, columns: int = 2, seed: int = 0) -> tuple[Any, Any, dict[str, Any]]:
    """Finds near to their own type, and the same finds with it and two more left out."""
    rng = np.random.default_rng(seed)
    features = rng.normal(0.4, 0.08, size=(count, 12, columns))
    truth = rng.integers(0, 12, count)
    rows = np.arange(count)
    features[rows, truth] += rng.normal(0.25, 0.12, size=(count, columns))
    features[rows, (truth + 1) % 12, 0] += 0.1  # its look-alike
    without = {kind: features.copy() for kind in ("type", "group")}
    without["type"][rows, truth] = -np.inf
    for step in range(3):
        without["group"][rows, (truth + step) % 12] = -np.inf
    return features, truth, without


@pytest.mark.parametrize("columns", [1, 2])
def test_what_is_measured_holds_on_other_finds(columns: int) -> None:
    features, truth, without = finds(600, columns)
    fitted = fit_calibration(features, truth, without=without, **PRINTS)
    measured = fitted.measured
    assert (measured.photos, measured.objects, measured.most_photos) == (600, 600, 1)
    assert measured.error < measured.error_by_chance + 0.03
    others, true, gone = finds(600, columns, seed=1)
    judged = [fitted.judge(row) for row in others]
    rows = range(len(true))
    held = np.mean([true[i] in (judged[i].listed or ()) for i in rows])
    assert held == pytest.approx(0.9, abs=0.04)
    assert np.mean([len(one.listed or ()) for one in judged]) == pytest.approx(
        measured.length[0.9], abs=0.3
    )
    far = [not one.close for one in judged]
    assert np.mean(far) == pytest.approx(measured.false_reject, abs=0.04)
    for kind, table in gone.items():
        assert fitted.closeness is not None
        close = np.mean(fitted.closeness.of(fitted.odds, table) >= fitted.closeness.threshold)
        assert close == pytest.approx(measured.false_accept[kind], abs=0.06)
    # Without the look-alikes too, strangers are easier to tell.
    assert measured.area["group"] > measured.area["type"] > 0.6
    assert set(measured.coverage) == set(LEVELS) == set(fitted.limits)
    assert measured.coverage[0.9] == pytest.approx(0.9, abs=0.03)


def test_a_judgement_lists_the_likeliest_first() -> None:
    features, truth, without = finds()
    one = fit_calibration(features, truth, without=without, **PRINTS).judge(features[0])
    assert one.listed and one.listed[0] == one.odds.argmax() == one.sums.argmax()
    assert list(one.odds[list(one.listed)]) == sorted(one.odds[list(one.listed)], reverse=True)
    assert one.odds.sum() == pytest.approx(1)
    assert one.closeness is not None and 0 <= one.closeness <= 1


def test_without_strangers_nothing_is_said_about_closeness() -> None:
    features, truth, _ = finds()
    fitted = fit_calibration(features, truth, **PRINTS)
    judged = fitted.judge(features[0])
    assert fitted.closeness is None and fitted.measured.false_reject is None
    assert judged.closeness is None and judged.close


def test_photos_of_one_object_stay_on_one_side_of_a_fold() -> None:
    # Every object is photographed five times alike. Rows held apart would be judged by
    # themselves; held together they show what single photos show.
    features, truth, without = finds(60)
    objects = np.repeat(np.arange(60), 5)
    again = {kind: np.repeat(table, 5, axis=0) for kind, table in without.items()}
    rows = np.repeat(features, 5, axis=0), np.repeat(truth, 5)
    fitted = fit_calibration(*rows, objects=objects, without=again, **PRINTS)
    single = fit_calibration(features, truth, without=without, **PRINTS)
    assert (fitted.measured.photos, fitted.measured.objects) == (300, 60)
    assert fitted.measured.false_accept == pytest.approx(single.measured.false_accept, abs=0.05)
    assert set(fitted.limits) == set(single.limits)
    with pytest.raises(ValueError, match="49 objects"):
        keep = objects < 49
        fit_calibration(rows[0][keep], rows[1][keep], objects=objects[keep], **PRINTS)


def test_odds_for_several_photos_are_claimed_only_where_enough_were_measured() -> None:
    features, truth, _ = finds(200)
    for many, most in ((60, 3), (40, 1)):
        photos = np.where(np.arange(200) < many, 3, 1)
        assert (
            fit_calibration(features, truth, photos=photos, **PRINTS).measured.most_photos == most
        )


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"objects": [1, 2]}, "objects"),
        ({"without": {"type": np.zeros((3, 12, 2))}}, "without their type"),
    ],
)
def test_input_that_does_not_fit_is_refused(changes: dict[str, Any], says: str) -> None:
    features, truth, _ = finds(100)
    with pytest.raises(ValueError, match=says):
        fit_calibration(features, truth, **PRINTS, **changes)
    with pytest.raises(ValueError, match="49 objects"):
        fit_calibration(features[:49], truth[:49], **PRINTS)


@pytest.mark.parametrize("columns", [1, 2])
@pytest.mark.parametrize("far", [True, False])
def test_what_is_saved_is_loaded(tmp_path: Path, columns: int, far: bool) -> None:
    features, truth, without = finds(80, columns)
    fitted = fit_calibration(
        features, truth, without=without if far else None, note="Rendered finds only.", **PRINTS
    )
    save_calibration(fitted, tmp_path)
    assert load_calibration(tmp_path) == fitted


def test_no_file_is_no_calibration(tmp_path: Path) -> None:
    assert load_calibration(tmp_path) is None


def test_a_file_of_the_first_version_is_refused_and_says_so(tmp_path: Path) -> None:
    old = {"format": "simsearch calibration 1", "temperature": 0.06}
    (tmp_path / CALIBRATION_FILE).write_text(json.dumps(old))
    with pytest.raises(SetError, match="earlier version of simsearch") as caught:
        load_calibration(tmp_path)
    assert "Measure the odds again" in caught.value.hint


def _with(*path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(content: dict[str, Any]) -> None:
        for name in path[:-1]:
            content = content[name]
        content[path[-1]] = value

    return change


@pytest.mark.parametrize(
    "change",
    [
        _with("format", value="notes"),
        _with("version", value=3),
        _with("columns", value=["patches", "vector"]),
        _with("columns", value=["vector"]),
        _with("odds", value=None),
        _with("odds", "weights", value=[-1.0, 2.0]),
        _with("odds", "spread", value=[0.0, 1.0]),
        _with("odds", "stray", value=float("nan")),
        _with("limits", value={"often": 0.5}),
        _with("closeness", "weights", value=[1, 2]),
        _with("closeness", "threshold", value="near"),
        _with("measured", "objects", value="many"),
        _with("measured", value=[]),
        _with("note", value=5),
    ],
)
def test_a_damaged_file_is_refused(tmp_path: Path, change: Callable[..., None]) -> None:
    features, truth, without = finds(60)
    save_calibration(fit_calibration(features, truth, without=without, **PRINTS), tmp_path)
    path = tmp_path / CALIBRATION_FILE
    content = json.loads(path.read_text())
    change(content)
    path.write_text(json.dumps(content))
    with pytest.raises(SetError, match="cannot be used"):
        load_calibration(tmp_path)
    path.write_text("{")
    with pytest.raises(SetError, match="cannot be used"):
        load_calibration(tmp_path)
