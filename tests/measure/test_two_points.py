"""Scale from two clicked points: plain arithmetic, and refusals."""

from __future__ import annotations

import math

import pytest

from simsearch.measure.model import MeasureError, in_mm
from simsearch.measure.two_points import measure_between, two_point_scale

SIZE = (1600, 1200)


def test_a_coin_of_known_diameter_gives_the_length() -> None:
    scale = two_point_scale(SIZE, (100, 100), (100, 400), 30)
    assert scale.mm_per_px == pytest.approx(0.1)
    found = measure_between(SIZE, scale, (500, 500), (900, 800))
    assert found.length_mm == pytest.approx(50)
    # A tilt of 15 degrees shortens what lies along it to cos 15 of itself.
    assert found.error_mm > 50 * (1 - math.cos(math.radians(15)))
    assert found.error_mm < 4
    assert "tilt" in found.how
    assert found.width_mm is None and found.area_mm2 is None


def test_points_near_each_other_give_a_larger_error() -> None:
    near = two_point_scale(SIZE, (100, 100), (130, 100), 3)
    far = two_point_scale(SIZE, (100, 100), (1300, 100), 120)
    assert near.error > far.error


@pytest.mark.parametrize(
    ("first", "second", "mm", "words"),
    [
        ((0, 0), (5, 5), 10, "only 7 pixels"),
        ((0, 0), (2000, 5), 10, "outside the photo"),
        ((0, 0), (500, 5), 0, "mm apart"),
        ((0, 0), (500, 5), math.nan, "mm apart"),
        ((math.nan, 0), (500, 5), 10, "outside"),
    ],
)
def test_what_gives_no_scale_is_refused(first, second, mm, words) -> None:
    with pytest.raises(MeasureError, match=words):
        two_point_scale(SIZE, first, second, mm)


def test_the_same_point_twice_is_no_length() -> None:
    scale = two_point_scale(SIZE, (0, 0), (500, 0), 50)
    with pytest.raises(MeasureError, match="same point"):
        measure_between(SIZE, scale, (5, 5), (5, 5))


def test_errors_are_rounded_up() -> None:
    assert in_mm(41.26, 0.62) == "41.3 ± 0.7 mm"
    assert in_mm(41.26, 0.6) == "41.3 ± 0.6 mm"
