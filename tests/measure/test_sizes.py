"""Sizes of masks and finds, against scikit-image, plain geometry and rendered photos."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageDraw

from simsearch.measure.by_card import measure_on_card
from simsearch.measure.model import MeasureError
from simsearch.measure.outline import outline_on_paper
from simsearch.measure.plane import Camera
from simsearch.measure.sizes import longest, sizes_of, standing
from tests.measure.rendering import disc, photo_of, scene


def mask_of(points: list[tuple[float, float]], size: int = 200) -> np.ndarray:
    picture = Image.new("L", (size, size))
    ImageDraw.Draw(picture).polygon(points, fill=255)
    return np.asarray(picture) > 0


@pytest.mark.parametrize("seed", range(5))
def test_the_length_is_that_of_scikit_image(seed: int) -> None:
    from skimage.measure import label, regionprops

    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0, 2 * np.pi, 9))
    radius = rng.uniform(30, 90, 9)
    mask = mask_of([(100 + r * np.cos(t), 100 + r * np.sin(t)) for r, t in zip(
        radius, turn, strict=True)])  # fmt: skip
    sizes = sizes_of(mask)
    region = max(regionprops(label(mask)), key=lambda one: one.area)
    # Theirs runs through the middles of the pixels' sides, ours round their corners.
    assert sizes.length == pytest.approx(region.feret_diameter_max, abs=1.0)
    assert sizes.area == mask.sum()


def test_a_rectangle_has_its_diagonal_as_length_and_its_short_side_as_width() -> None:
    mask = np.zeros((120, 200), bool)
    mask[20:60, 30:130] = True
    sizes = sizes_of(mask, 10)
    assert sizes.length == pytest.approx(np.hypot(10, 4), abs=0.01)
    assert sizes.box == pytest.approx((10, 4), abs=0.01)
    assert abs(sizes.across[1]) == pytest.approx(1, abs=0.01)
    assert sizes.area == pytest.approx(40)
    assert sizes.centre == pytest.approx((8, 4))


def test_the_longest_distance_is_that_of_all_pairs() -> None:
    points = np.random.default_rng(2).uniform(0, 50, (60, 2))
    every = np.linalg.norm(points[:, None] - points[None], axis=-1)
    assert longest(points)[0] == pytest.approx(every.max(), rel=1e-5)


def test_the_truth_lies_in_the_range_for_upright_sides_and_for_flat_things() -> None:
    # Plain geometry: a box 40 mm long and 5 mm high, seen by a pinhole 250 mm up and 80 mm aside.
    camera = Camera(np.array([-80.0, 0.0]), 250.0, 18.0)
    ends = []
    for x in (-20.0, 20.0):
        for z in (0.0, 5.0):
            ends.append(camera.foot[0] + (x - camera.foot[0]) * 250 / (250 - z))
    seen = max(ends) - min(ends)
    low, high = standing(camera, np.zeros(2), 5.0).range_of(seen, np.array([1.0, 0.0]))
    assert low <= 40 <= high
    assert standing(camera, np.zeros(2), 0.0).range_of(40, np.array([1.0, 0.0])) == (40, 40)


@pytest.mark.parametrize(("tilt", "thickness"), [(3.0, 1.0), (25.0, 3.0)])
def test_a_disc_is_measured_within_its_stated_error(tilt: float, thickness: float) -> None:
    photo, _ = photo_of(scene(tilt=tilt, thickness=thickness, outline=disc(32.0)))
    found = measure_on_card(photo, thickness_mm=thickness)
    assert abs(found.length_mm - 32) <= found.error_mm < 2
    assert found.width_mm is not None and found.width_error_mm is not None
    assert abs(found.width_mm - 32) <= found.width_error_mm
    assert found.area_mm2 is not None and found.area_error_mm2 is not None
    assert abs(found.area_mm2 - np.pi * 16**2) <= found.area_error_mm2
    assert {term.name for term in found.terms} == {"scale", "print", "edge", "height"}
    unknown = measure_on_card(photo)
    assert unknown.error_mm > found.error_mm
    assert "assumed" in " ".join(term.words for term in unknown.terms)


def test_a_card_printed_too_small_is_corrected() -> None:
    photo, _ = photo_of(scene())
    plain = measure_on_card(photo, thickness_mm=1)
    smaller = measure_on_card(photo, thickness_mm=1, rule_mm=97)
    assert smaller.length_mm == pytest.approx(0.97 * plain.length_mm, rel=0.005)
    with pytest.raises(MeasureError, match="rule"):
        measure_on_card(photo, rule_mm=10)
    with pytest.raises(MeasureError, match="thickness"):
        measure_on_card(photo, thickness_mm=-1)


def paper(draw: list[tuple[str, tuple[int, int, int, int]]]) -> Image.Image:
    picture = Image.new("RGB", (600, 400), (225, 228, 220))
    pen = ImageDraw.Draw(picture)
    for colour, box in draw:
        pen.ellipse(box, fill=colour)
    return picture


def test_a_shadow_is_not_measured_but_the_find_is() -> None:
    shadow, find = ("#aeb0aa", (120, 120, 330, 300)), ("#40503c", (100, 100, 300, 280))
    found = outline_on_paper(paper([shadow, find]), 8)
    sizes = sizes_of(found.mask)
    assert sizes.length == pytest.approx(201, abs=5)


@pytest.mark.parametrize(
    ("things", "words"),
    [
        ([], "Nothing"),
        ([("#dcdfd8", (100, 100, 300, 280))], "Nothing"),
        ([("#40503c", (100, 100, 250, 280)), ("#40503c", (350, 100, 500, 280))], "2 things"),
        ([("#40503c", (-50, 100, 250, 280))], "edge"),
    ],
)
def test_what_cannot_be_outlined_is_refused(things: list, words: str) -> None:
    with pytest.raises(MeasureError, match=words):
        outline_on_paper(paper(things), 8)
