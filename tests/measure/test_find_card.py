"""The card in rendered photos: scale against the camera that took them, and refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PIL import Image

from simsearch.measure.find_card import find_card, seen_markers
from simsearch.measure.layout import A5, A6
from simsearch.measure.model import CardError
from simsearch.measure.plane import Plane, fit_plane
from simsearch.measure.squared import square_up, white_balance
from tests.measure.rendering import photo_of, scene, script


def test_the_scale_is_right_and_the_camera_is_found() -> None:
    photo, eye = photo_of(scene(tilt=33.0))
    view = find_card(photo)
    assert view.layout is A6
    assert script.scale_off(view, eye) < 0.005
    assert view.camera.tilt == pytest.approx(33, abs=4)
    assert view.camera.height == pytest.approx(eye.place[2], rel=0.25)


def test_a_turned_photo_with_covered_markers_still_has_the_right_scale() -> None:
    some = tuple(A5.markers)[1:4]
    middle = np.array([A5.width, A5.height]) / 2
    photo, eye = photo_of(scene(layout=A5, aim=middle, roll=171.0, covered=some))
    view = find_card(photo)
    assert set(view.markers).isdisjoint(some)
    assert script.scale_off(view, eye) < 0.01


@pytest.mark.parametrize(
    ("changes", "reasons"),
    [
        ({"covered": tuple(A6.markers)[:7]}, {"few markers"}),
        ({"covered": tuple(A6.markers)[4:]}, {"few markers"}),
        ({"tilt": 60.0}, {"oblique", "few markers"}),
        ({"blur": 14.0}, {"none", "few markers", "blurred"}),
        ({"sag": 18.0}, {"bent", "unsure"}),
        ({"fill": 2.2, "aim": np.array([20.0, 10.0])}, {"none", "few markers"}),
        ({"spoilt": "no card"}, {"none"}),
    ],
)
def test_what_cannot_be_measured_is_refused_with_the_reason(
    changes: dict[str, object], reasons: set[str]
) -> None:
    photo, _ = photo_of(scene(**changes))
    with pytest.raises(CardError) as told:
        find_card(photo)
    assert told.value.reason in reasons
    assert told.value.hint


def test_a_card_far_away_and_two_cards_are_refused() -> None:
    photo, _ = photo_of(scene())
    small = photo.resize((300, 225), Image.Resampling.LANCZOS)
    with pytest.raises(CardError) as told:
        find_card(small)
    assert told.value.reason in {"small", "few markers", "none"}
    both = Image.new("RGB", (2400, 900))
    both.paste(photo, (0, 0))
    both.paste(photo, (1200, 0))
    with pytest.raises(CardError) as told:
        find_card(both)
    assert told.value.reason == "two cards"
    assert seen_markers(photo) == 10
    assert seen_markers(Image.new("RGB", (200, 200))) == 0


def test_a_plane_is_fitted_exactly_and_goes_both_ways() -> None:
    true = Plane((1000, 800), np.array([[90.0, 8, 70], [-6, 95, 50], [0.1, -0.05, 1]]), 0.03)
    mm = np.random.default_rng(1).uniform(0, 140, (30, 2))
    pixels = true.to_photo(mm)
    assert true.to_card(pixels) == pytest.approx(mm, abs=1e-6)
    found = fit_plane(pixels, mm, (1000, 800), lens=True)
    assert found.bulge == pytest.approx(0.03, abs=1e-3)
    assert found.to_card(pixels) == pytest.approx(mm, abs=1e-3)


def test_the_camera_agrees_with_opencv() -> None:
    # OpenCV's solvePnP with the focal length known is the outside check of the pose.
    import cv2

    photo, eye = photo_of(scene(lens=0.0, focal=960.0, tilt=10.0))
    view = find_card(photo)
    mm = np.array([[10, 10], [140, 10], [140, 95], [10, 95], [74, 50]], float)
    inner = np.array([[960, 0, 600], [0, 960, 450], [0, 0, 1]], float)
    world = np.column_stack([mm, np.zeros(5)])
    _, turn, shift = cv2.solvePnP(world, view.plane.to_photo(mm), inner, None)
    matrix, _ = cv2.Rodrigues(turn)
    place = (-matrix.T @ shift).ravel()
    assert abs(place[2]) == pytest.approx(eye.place[2], rel=0.05)
    # Below 15 degrees a focal length of 0.8 of the longer side is assumed: here the true one.
    assert view.camera.height == pytest.approx(abs(place[2]), rel=0.05)
    assert math.dist(view.camera.foot, place[:2]) < 0.05 * abs(place[2])


def test_white_balance_makes_the_paper_neutral() -> None:
    photo, _ = photo_of(scene())
    tinted = Image.merge("RGB", [c.point(lambda v, k=k: v * k) for c, k in zip(
        photo.split(), (1.0, 0.85, 0.6), strict=True)])  # fmt: skip
    view = find_card(tinted)
    before = np.asarray(tinted.convert("RGB"), float)
    squared = square_up(tinted, view)
    assert squared.picture.size == pytest.approx(
        (A6.width * squared.px_per_mm, A6.height * squared.px_per_mm), abs=1
    )
    patch = next(p.box for p in A6.patches if p.grey == 1).inside(2)
    left, top = round(patch.x * squared.px_per_mm), round(patch.y * squared.px_per_mm)
    size = round(patch.width * squared.px_per_mm)
    paper = np.asarray(squared.picture, float)[top : top + size, left : left + size].mean((0, 1))
    assert np.ptp(before.reshape(-1, 3).mean(0)) > 20
    assert np.ptp(paper) < 8
    balance = white_balance(tinted, view)
    assert balance.gains[2] > balance.gains[0]
    assert balance.unevenness >= 1
