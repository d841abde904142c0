"""Pictures of solids whose outline and depth are known from geometry."""

from __future__ import annotations

import numpy as np
import pytest
import torch

from simsearch.synthetic.batch import Batch, pack
from simsearch.synthetic.distance import Damage
from simsearch.synthetic.form import Form
from simsearch.synthetic.trace import Camera, Hits, trace, window
from tests.synthetic.shapes import Points, camera, made, pixel_centres, turn_x, turn_y

SIZE = 64
#: Radius in unit coordinates of a ball that is alone: half the diagonal of its box is 1.
BALL = 1 / np.sqrt(3)


def _ball() -> Batch:
    return pack([made(lambda f: f.ball("ball", (5, -2, 7), 10))])


def _seen(batch: Batch, by: Camera, size: int = SIZE) -> Hits:
    return trace(batch, Damage.none(len(batch)), by, size)


def _area(radius_in_pixels: float) -> float:
    return float(np.pi * radius_in_pixels**2)


def test_a_ball_covers_its_disc() -> None:
    hit = _seen(_ball(), camera()).hit[0]
    radius = BALL * SIZE / 2
    # A ray that passes within three quarters of a pixel of the surface counts as meeting it.
    assert _area(radius - 0.25) < int(hit.sum()) < _area(radius + 0.9)
    x, y = pixel_centres(SIZE)
    rho = np.hypot(x, y) * SIZE / 2
    assert hit.numpy()[rho < radius].all()
    assert not hit.numpy()[rho > radius + 1].any()


def test_the_depth_of_a_ball_is_that_of_a_sphere() -> None:
    hits = _seen(_ball(), camera())
    x, y = pixel_centres(SIZE)
    inner = np.hypot(x, y) < BALL - 2 * 2 / SIZE
    expected = np.sqrt(np.clip(BALL**2 - x**2 - y**2, 0, None))
    np.testing.assert_allclose(hits.depth[0].numpy()[inner], expected[inner], atol=2e-3)
    assert (hits.depth[0][~hits.hit[0]] == 0).all()


@pytest.mark.parametrize("turn", [turn_x(0), turn_x(40) @ turn_y(-70)])
def test_surface_points_of_a_ball_lie_on_the_sphere(turn: torch.Tensor) -> None:
    hits = _seen(_ball(), camera(turn))
    x, y = pixel_centres(SIZE)
    inner = np.hypot(x, y) < BALL - 2 * 2 / SIZE
    far = hits.point[0].norm(dim=-1).numpy()
    np.testing.assert_allclose(far[inner], BALL, atol=2e-3)
    assert np.abs(far[hits.hit[0].numpy()] - BALL).max() < 1.5 / SIZE  # the grazing rim too


def test_points_are_in_the_coordinates_of_the_object_and_depth_in_those_of_the_camera() -> None:
    turn = turn_y(90)  # the viewer sees the object from its -x side
    hits = _seen(_ball(), camera(turn))
    middle = hits.point[0, SIZE // 2, SIZE // 2]
    assert float(middle[0]) == pytest.approx(-BALL, abs=5e-3)
    view = hits.point[0] @ turn[0].T
    x, y = pixel_centres(SIZE)
    on = hits.hit[0].numpy()
    np.testing.assert_allclose(view[..., 0].numpy()[on], x[on], atol=1e-5)
    np.testing.assert_allclose(view[..., 1].numpy()[on], y[on], atol=1e-5)
    np.testing.assert_allclose(view[..., 2].numpy()[on], hits.depth[0].numpy()[on], atol=1e-5)


def test_the_camera_shows_its_square_the_right_way_up() -> None:
    form = Form("two")
    form.ball("high", (0, 10, 0), 2)
    form.ball("right", (10, -10, 0), 2)
    form.ball("left", (-10, -10, 0), 2)
    batch = pack([form])
    half, x, y = 0.5, 0.35, -0.35
    hit = _seen(batch, camera(half=half, x=x, y=y)).hit[0].numpy()
    rows, cols = np.nonzero(hit)
    at = 10 / float(batch.scale[0])
    col = ((at - x) / half + 1) / 2 * SIZE - 0.5
    row = (1 - (-at - y) / half) / 2 * SIZE - 0.5
    assert cols.mean() == pytest.approx(col, abs=0.5)
    assert rows.mean() == pytest.approx(row, abs=0.5)


def _ring() -> tuple[Batch, float, float]:
    batch = pack([made(lambda f: f.ring("ring", (0, 0, 0), 10, 3))])
    return batch, 10 / float(batch.scale[0]), 3 / float(batch.scale[0])


def test_a_ring_from_above() -> None:
    batch, big, small = _ring()
    hits = _seen(batch, camera())
    x, y = pixel_centres(SIZE)
    off = np.hypot(x, y) - big
    pixel = 2 / SIZE
    hit = hits.hit[0].numpy()
    assert hit[np.abs(off) < small].all()
    assert not hit[np.abs(off) > small + pixel].any()
    top = np.abs(off) < small - 2 * pixel
    expected = np.sqrt(np.clip(small**2 - off**2, 0, None))
    np.testing.assert_allclose(hits.depth[0].numpy()[top], expected[top], atol=2e-3)


def test_a_tilted_ring_is_found_on_its_torus() -> None:
    batch, big, small = _ring()
    hits = _seen(batch, camera(turn_x(60)))
    p = hits.point[0][hits.hit[0]].numpy()
    off = np.hypot(np.hypot(p[:, 0], p[:, 1]) - big, p[:, 2]) - small
    assert np.abs(off).max() < 1.6 / SIZE  # grazing rays, as above
    assert np.median(np.abs(off)) < 1e-3
    rows = np.nonzero(hits.hit[0].numpy())[0]
    # Tilted by 60 degrees the ring is half as high as wide, and the thickness of its metal more.
    expected = (2 * (big * 0.5 + small)) * SIZE / 2
    assert rows.max() - rows.min() + 1 == pytest.approx(expected, abs=2)


def _box_of(hit: Points) -> tuple[int, int, int, int]:
    rows, cols = np.nonzero(hit)
    return int(cols.min()), int(cols.max()), int(rows.min()), int(rows.max())


def test_window_is_the_box_of_what_was_hit() -> None:
    batch = pack([made(lambda f: f.slab("plate", (0, 0, 0), 20, 8))])
    by = camera(half=1.2, x=0.1, y=-0.2)
    hits = _seen(batch, by, 48)
    centre, half, number = window(hits.hit, by)
    pixel = 2 * 1.2 / 48
    np.testing.assert_allclose(centre[0].numpy(), [0, 0], atol=pixel)
    assert float(half[0]) == pytest.approx(10 / float(batch.scale[0]), abs=1.5 * pixel)
    assert int(number[0]) == int(hits.hit.sum())
    left, right, top, bottom = _box_of(hits.hit[0].numpy())
    assert float(half[0]) == pytest.approx(max(right - left, bottom - top) * pixel / 2, abs=1e-5)


def test_window_of_nothing_is_the_whole_ball() -> None:
    by = camera(half=0.05, x=0.95, y=0.95)
    hits = _seen(_ball(), by, 16)
    centre, half, number = window(hits.hit, by)
    assert int(number[0]) == 0 and float(half[0]) == 1 and centre[0].tolist() == [0, 0]


def test_thin_things_are_not_lost() -> None:
    batch = pack([made(lambda f: f.rod("wire", (-10, 0, 0), (10, 0, 0), 0.4))])
    hit = _seen(batch, camera(turn_y(20))).hit[0].numpy()
    length = 2 * 10 / float(batch.scale[0]) * np.cos(np.radians(20))
    assert (hit.sum(0) > 0).sum() >= length * SIZE / 2 - 2


def test_forms_of_a_batch_do_not_meet() -> None:
    ball = made(lambda f: f.ball("a", (0, 0, 0), 9))
    ring = made(lambda f: f.ring("b", (0, 0, 0), 9, 2))
    both = pack([ball, ring])
    wide = Camera(torch.eye(3).repeat(2, 1, 1), torch.zeros(2, 2), torch.ones(2))
    together = _seen(both, wide, 32)
    for i, form in enumerate((ball, ring)):
        alone = _seen(pack([form]), camera(), 32)
        assert torch.equal(alone.hit[0], together.hit[i])
        torch.testing.assert_close(alone.depth[0], together.depth[i], atol=1e-5, rtol=0)
