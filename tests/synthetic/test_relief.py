"""Relief on a face: heights of marks, how layers repeat, and where enamel lies."""

from __future__ import annotations

import numpy as np
import pytest
import torch
from torch import Tensor

from simsearch.synthetic.batch import pack
from simsearch.synthetic.form import Form, Relief
from simsearch.synthetic.relief import relief
from tests.synthetic.shapes import Points

RADIUS = 10.0


def _heights(drawn: Relief, points: Points, soft_mm: float = 0.02) -> tuple[Points, Points]:
    """Height in mm ``(n,)`` and enamel cover ``(2, n)`` at points in mm ``(n, 2)``."""
    form = Form("face", front=drawn)
    form.drum("disc", (0, 0, 0), RADIUS)
    batch = pack([form])
    scale = float(batch.scale[0])
    xy: Tensor = (torch.from_numpy(points).float() / scale)[None]
    height, cover = relief(batch.front, torch.tensor([soft_mm / scale]), xy)
    return height[0].double().numpy() * scale, cover[0].double().numpy()


def _points(count: int = 3000, seed: int = 0) -> Points:
    return np.random.default_rng(seed).uniform(-8, 8, (count, 2))


def _turned(points: Points, degrees: float, centre: tuple[float, float] = (0, 0)) -> Points:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return (points - centre) @ np.array([[c, s], [-s, c]]) + centre


def _motif(drawn: Relief, layer: int) -> None:
    """Marks without any symmetry of their own."""
    drawn.line((0.3, 3), (1.5, 6), 1.2, 0.5, end_width=0.4, layer=layer)
    drawn.dot((-0.8, 5), 0.6, -0.3, layer=layer)


# ---- single marks ---------------------------------------------------------------------------
def test_a_face_without_marks_is_flat() -> None:
    height, cover = _heights(Relief(), _points())
    assert not height.any() and not cover.any()


@pytest.mark.parametrize("high", [0.7, -0.7])
def test_a_dot_has_its_height_inside_half_at_its_edge_and_none_outside(high: float) -> None:
    drawn = Relief()
    drawn.dot((2, 1), 1.5, high)
    height, _ = _heights(drawn, np.array([[2, 1], [3.5, 1], [2, -0.5], [4.6, 1], [-5, 0]]))
    np.testing.assert_allclose(height, [high, high / 2, high / 2, 0, 0], atol=2e-3)


def test_sides_slope_over_half_the_half_width() -> None:
    drawn = Relief()
    drawn.dot((0, 0), 2, 0.8)
    # A smooth step, 3 u^2 - 2 u^3, from 2.5 mm inwards to 1.5 mm.
    height, _ = _heights(drawn, np.array([[1.5, 0], [1.75, 0], [2.25, 0], [2.5, 0]]))
    step = [3 * u**2 - 2 * u**3 for u in (1, 0.75, 0.25, 0)]
    np.testing.assert_allclose(height, 0.8 * np.array(step), atol=2e-3)


def test_a_line_tapers() -> None:
    drawn = Relief()
    drawn.line((-4, 0), (4, 0), 4, 0.5, end_width=1)
    # Half widths 2, 1.25 and 0.5 mm at the start, the middle and the end.
    edges = np.array([[-4, 2], [0, 1.25], [0, -1.25], [4, 0.5]])
    height, _ = _heights(drawn, edges)
    np.testing.assert_allclose(height, 0.25, atol=2e-3)


def test_a_circle_is_a_ring_of_relief() -> None:
    drawn = Relief()
    drawn.circle((1, 0), 4, 1.0, 0.4)
    height, _ = _heights(drawn, np.array([[5, 0], [1, -4], [5.5, 0], [4.5, 0], [1, 0], [7, 0]]))
    np.testing.assert_allclose(height, [0.4, 0.4, 0.2, 0.2, 0, 0], atol=2e-3)


def test_marks_do_not_pile_up_but_a_groove_cuts_into_a_rib() -> None:
    drawn = Relief()
    drawn.line((-5, 0), (5, 0), 2, 0.5)
    drawn.line((0, -5), (0, 5), 2, 0.3)
    drawn.dot((4, 0), 0.5, -0.2)
    height, _ = _heights(drawn, np.array([[0, 0], [0, 4], [4, 0]]))
    np.testing.assert_allclose(height, [0.5, 0.3, 0.3], atol=2e-3)


def test_wear_softens_fine_marks() -> None:
    drawn = Relief()
    drawn.dot((0, 0), 0.3, 0.5)
    middle = np.zeros((1, 2))
    crisp, _ = _heights(drawn, middle, soft_mm=0.02)
    soft, _ = _heights(drawn, middle, soft_mm=1.0)
    assert crisp[0] == pytest.approx(0.5, abs=1e-3) and 0.25 < soft[0] < 0.45


# ---- repeats --------------------------------------------------------------------------------
@pytest.mark.parametrize("times", [2, 3, 8])
@pytest.mark.parametrize("mirror", [False, True])
def test_a_repeat_is_the_same_all_round(times: int, mirror: bool) -> None:
    drawn, centre = Relief(), (1.0, -0.5)
    _motif(drawn, drawn.layer(times, mirror=mirror, centre=centre))
    points = _points()
    height, _ = _heights(drawn, points)
    again, _ = _heights(drawn, _turned(points, 360 / times, centre))
    assert (np.abs(height) > 0.05).sum() > 20
    np.testing.assert_allclose(again, height, atol=5e-3)


@pytest.mark.parametrize("times", [1, 5])
def test_a_mirrored_layer_is_the_same_left_and_right(times: int) -> None:
    drawn, centre = Relief(), (1.0, -0.5)
    _motif(drawn, drawn.layer(times, mirror=True, centre=centre))
    points = _points()
    flipped = np.stack([2 * centre[0] - points[:, 0], points[:, 1]], 1)
    height, _ = _heights(drawn, points)
    assert (np.abs(height) > 0.05).sum() > 20
    np.testing.assert_allclose(_heights(drawn, flipped)[0], height, atol=5e-3)


def test_a_repeat_without_mirror_keeps_its_hand() -> None:
    drawn = Relief()
    _motif(drawn, drawn.layer(4))
    points = _points()
    flipped = points * (-1, 1)
    assert np.abs(_heights(drawn, points)[0] - _heights(drawn, flipped)[0]).max() > 0.2


def test_the_first_copy_lies_where_it_was_drawn() -> None:
    once, round_about = Relief(), Relief()
    once.dot((1, 6), 0.7, 0.5)
    round_about.dot((1, 6), 0.7, 0.5, layer=round_about.layer(6))
    near = np.array([1.0, 6.0]) + np.random.default_rng(1).uniform(-1, 1, (100, 2))
    np.testing.assert_allclose(_heights(once, near)[0], _heights(round_about, near)[0], atol=2e-3)
    copies = _turned(np.array([[1.0, 6.0]] * 6), 0)
    turned = np.concatenate([_turned(copies[i : i + 1], 60 * i) for i in range(6)])
    np.testing.assert_allclose(_heights(round_about, turned)[0], 0.5, atol=2e-3)
    assert (_heights(once, turned)[0] > 0.4).sum() == 1


def test_the_first_layer_is_not_repeated() -> None:
    drawn = Relief()
    _motif(drawn, 0)
    drawn.layer(6, mirror=True)  # nothing is drawn on it
    points = _points()
    height, _ = _heights(drawn, points)
    again, _ = _heights(drawn, _turned(points, 60))
    assert np.abs(height - again).max() > 0.2


# ---- enamel ---------------------------------------------------------------------------------
def test_enamel_covers_its_own_marks_alone() -> None:
    drawn = Relief()
    drawn.dot((-4, 0), 2, -0.3, enamel=1)
    drawn.dot((4, 0), 2, -0.3, enamel=2)
    drawn.dot((0, 5), 2, 0.3)
    _, cover = _heights(drawn, np.array([[-4, 0], [-2.5, 0], [4, 0], [0, 5], [0, 0]]))
    np.testing.assert_allclose(cover[0], [1, 1, 0, 0, 0], atol=1e-6)
    np.testing.assert_allclose(cover[1], [0, 0, 1, 0, 0], atol=1e-6)


def test_repeated_enamel_is_repeated() -> None:
    drawn = Relief()
    drawn.dot((0, 5), 1, -0.3, enamel=1, layer=drawn.layer(5))
    at = np.concatenate([_turned(np.array([[0.0, 5.0]]), 72 * i) for i in range(5)])
    _, cover = _heights(drawn, np.concatenate([at, _turned(at, 36)]))
    np.testing.assert_allclose(cover[0], [1] * 5 + [0] * 5, atol=1e-6)
