"""Distances of the single solids against their geometry, and that a ray never passes a surface.

The expected values are elementary geometry worked out here; nearest points of dense surface
samples (scipy's k-d tree) stand in where there is no short formula.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import torch
from scipy.spatial import cKDTree  # type: ignore[import-untyped]

from simsearch.synthetic.batch import pack
from simsearch.synthetic.distance import Damage, nearest_part
from simsearch.synthetic.form import Form
from simsearch.synthetic.trace import trace
from tests.synthetic.shapes import (
    Points,
    camera,
    distance_mm,
    in_units,
    made,
    pixel_centres,
    turn_x,
    turn_y,
)

#: A rod's distance is kept this much too small, for the sake of its ridges.
ROD = 0.95


def _at(*points: tuple[float, float, float]) -> Points:
    return np.array(points, float)


# ---- values on the axes ---------------------------------------------------------------------
def test_sphere() -> None:
    form = made(lambda f: f.ball("ball", (3, 4, 5), 10))
    points = _at((3, 4, 5 + 25), (3 - 12, 4, 5), (3, 4 + 10, 5), (3, 4, 5 + 4))
    np.testing.assert_allclose(distance_mm(form, points), [15, 2, 0, -6], atol=1e-3)


def test_ellipsoid_is_met_at_its_poles() -> None:
    form = made(lambda f: f.ball("ball", (0, 0, 0), (10, 6, 2)))
    ends = distance_mm(form, _at((10, 0, 0), (0, -6, 0), (0, 0, 2)))
    np.testing.assert_allclose(ends, 0, atol=1e-3)
    turned = made(lambda f: f.ball("ball", (0, 0, 0), (10, 6, 2), turn=90))
    np.testing.assert_allclose(distance_mm(turned, _at((0, 10, 0), (6, 0, 0))), 0, atol=1e-3)


def test_torus_everywhere() -> None:
    form = made(lambda f: f.ring("ring", (0, 0, 0), 10, 2))
    points = np.random.default_rng(0).uniform(-14, 14, (500, 3))
    expected = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 10, points[:, 2]) - 2
    np.testing.assert_allclose(distance_mm(form, points), expected, atol=2e-3)


def test_open_ring_ends_round() -> None:
    form = made(lambda f: f.ring("ring", (0, 0, 0), 10, 2, gap=60, gap_at=-90))
    end = np.radians(-60)
    tip = np.array([np.cos(end), np.sin(end), 0]) * 10
    points = np.stack([[0, -10, 0], [0, 10, 0], tip, tip + np.array([0, 0, 5])])
    # In the middle of the gap the nearest metal is the end of the arc, a chord of 30 degrees off.
    middle = 2 * 10 * np.sin(np.radians(15)) - 2
    np.testing.assert_allclose(distance_mm(form, points), [middle, -2, -2, 3], atol=2e-3)


def test_box() -> None:
    form = made(lambda f: f.slab("plate", (1, 2, 3), 20, 10, thickness=4))
    points = _at((1 + 5 + 3, 2, 3), (1, 2 + 10 + 4, 3), (1, 2, 3 - 2 - 5), (1, 2, 3))
    np.testing.assert_allclose(distance_mm(form, points), [3, 4, 5, -2], atol=2e-3)
    corner = _at((1 + 5 + 3, 2 + 10 + 4, 3))
    # Edges are rounded by the bevel of 0.2 mm, so that the corner lies a little further in.
    assert distance_mm(form, corner)[0] == pytest.approx(np.hypot(3.2, 4.2) - 0.2, abs=2e-3)


def test_trapezoid_is_wide_below_and_narrow_above() -> None:
    form = made(lambda f: f.slab("plate", (0, 0, 0), 20, 12, 4, thickness=2, bevel=0.001))
    points = _at((6, -10, 0), (4, 0, 0), (2, 10, 0), (0, 13, 0), (9, -10, 0))
    # The slanting side falls 4 mm in 20: its distance is shorter than the way straight across.
    np.testing.assert_allclose(distance_mm(form, points)[:3], 0, atol=2e-2)
    assert distance_mm(form, points)[3] == pytest.approx(3, abs=2e-2)
    beside = distance_mm(form, _at((4 + 3, 0, 0)))[0]
    assert beside == pytest.approx(3 * 20 / np.hypot(20, 4), abs=2e-2)


def test_disc() -> None:
    form = made(lambda f: f.drum("disc", (0, 0, 0), 10, height=2))
    points = _at((13, 0, 0), (0, 0, 5), (0, 0, -5), (0, 0, 0))
    np.testing.assert_allclose(distance_mm(form, points), [3, 4, 4, -1], atol=2e-3)
    rim = distance_mm(form, _at((13, 0, 5)))[0]
    assert rim == pytest.approx(np.hypot(3.2, 4.2) - 0.2, abs=2e-3)


def test_drum_along_an_axis_has_its_ends_the_right_way_round() -> None:
    form = made(lambda f: f.drum("cup", (0, 0, 0), 8, 3, height=10, axis=(0, 1, 0), bevel=0.001))
    on_surface = _at((8, -5, 0), (3, 5, 0), (0, 5, 0), (0, -5, 0), (0, 0, 5.5))
    np.testing.assert_allclose(distance_mm(form, on_surface), 0, atol=2e-2)


def test_even_rod_is_exact_outside() -> None:
    form = made(lambda f: f.rod("rod", (0, 0, 0), (0, 20, 0), 2))
    points = _at((7, 10, 0), (0, 10, -6), (0, 25, 0), (0, -9, 0), (3, 24, 0))
    np.testing.assert_allclose(distance_mm(form, points), [5, 4, 3, 7, 3], atol=2e-3)


def test_round_cone_is_a_close_lower_bound() -> None:
    form = made(lambda f: f.rod("rod", (0, 0, 0), (0, 20, 0), 5, 2))
    lean = np.sqrt(1 - (3 / 20) ** 2)
    points = _at((0, 30, 0), (0, -15, 0), (15, 8, 0))
    # Beyond the ends the caps are nearest; beside it the cone, at right angles to its side.
    true = np.array([8, 10, 15 * lean + 8 * 3 / 20 - 5])
    found = distance_mm(form, points)
    assert (found <= true + 1e-3).all() and (found >= ROD * true - 1e-3).all()
    on_surface = _at((0, 22, 0), (0, -5, 0), (5, 0, 0), ((5 - 8 * 3 / 20) / lean, 8, 0))
    np.testing.assert_allclose(distance_mm(form, on_surface), 0, atol=2e-3)


def test_flat_rod_stays_wide_sideways() -> None:
    form = made(lambda f: f.rod("strip", (0, 0, 0), (0, 20, 0), 4, flat=0.25))
    on_surface = _at((4, 10, 0), (0, 10, 1), (0, 10, -1))
    np.testing.assert_allclose(distance_mm(form, on_surface), 0, atol=2e-3)


# ---- no ray passes a surface ----------------------------------------------------------------
def _grid(n: int, m: int) -> tuple[Points, Points]:
    u, v = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, m), indexing="ij")
    return u.ravel(), v.ravel()


def _sphere_points(n: int = 500, m: int = 250) -> Points:
    u, v = _grid(n, m)
    t, h = 2 * np.pi * u, np.cos(np.pi * v)
    r = np.sqrt(1 - h**2)
    return np.stack([r * np.cos(t), r * np.sin(t), h], 1)


def _ellipsoid() -> tuple[Form, Points]:
    radii = (10.0, 4.0, 1.5)
    return made(lambda f: f.ball("ball", (0, 0, 0), radii)), _sphere_points() * radii


def _flat_ring() -> tuple[Form, Points]:
    u, v = _grid(700, 120)
    t, s = 2 * np.pi * u, 2 * np.pi * v
    r = 10 + 2 * np.cos(s)
    surface = np.stack([r * np.cos(t), r * np.sin(t), 0.4 * 2 * np.sin(s)], 1)
    return made(lambda f: f.ring("ring", (0, 0, 0), 10, 2, flat=0.4)), surface


def _strip() -> tuple[Form, Points]:
    """A flattened capsule: the hull of two flattened balls."""
    ball = _sphere_points(400, 200) * 3
    u, v = _grid(400, 300)
    t = 2 * np.pi * u
    side = np.stack([3 * np.cos(t), 20 * v, 3 * np.sin(t)], 1)
    surface = np.concatenate([ball, ball + np.array([0, 20, 0]), side])
    y = surface[:, 1]
    caps = (y <= 0) | (y >= 20) | (np.arange(len(y)) >= 2 * len(ball))
    surface = surface[caps] * (1, 1, 0.3)
    return made(lambda f: f.rod("strip", (0, 0, 0), (0, 20, 0), 3, flat=0.3)), surface


def _thick_strip() -> tuple[Form, Points]:
    u, v = _grid(700, 120)
    t, s = 2 * np.pi * u, 2 * np.pi * v
    r = 10 + np.cos(s)
    surface = np.stack([r * np.cos(t), r * np.sin(t), 3 * np.sin(s)], 1)
    return made(lambda f: f.ring("ring", (0, 0, 0), 10, 1, flat=3.0)), surface


CURVED = {"ellipsoid": _ellipsoid, "flat ring": _flat_ring, "strip": _strip, "thick": _thick_strip}


@pytest.mark.parametrize("name", CURVED)
def test_distance_is_never_more_than_to_the_nearest_surface_point(name: str) -> None:
    form, surface = CURVED[name]()
    low, high = surface.min(0) - 6, surface.max(0) + 6
    points = np.random.default_rng(1).uniform(low, high, (3000, 3))
    nearest = cKDTree(surface).query(points)[0]
    found = distance_mm(form, points)
    assert (found <= nearest + 2e-3).all()
    outside = nearest > 1.5
    # A bound of nought would be safe too; this one must still be of use to walk along.
    assert (found[outside & (found > 0)] > 0.25 * nearest[outside & (found > 0)]).all()


@pytest.mark.parametrize("name", CURVED)
def test_surface_points_have_no_distance(name: str) -> None:
    form, surface = CURVED[name]()
    assert np.abs(distance_mm(form, surface[::37])).max() < 5e-3


@pytest.mark.parametrize("name", CURVED)
def test_rays_stop_at_the_first_surface(name: str) -> None:
    form, surface = CURVED[name]()
    batch = pack([form])
    tilted = camera(turn_y(50) @ turn_x(35))
    size = 32
    hits = trace(batch, Damage.none(1), tilted, size)
    seen = in_units(batch, surface)[0].numpy() @ tilted.turn[0].numpy().T
    pixel = 2 / size
    col = np.floor((seen[:, 0] + 1) / pixel).astype(int)
    row = np.floor((1 - seen[:, 1]) / pixel).astype(int)
    x, y = pixel_centres(size)
    near = np.hypot(seen[:, 0] - x[row, col], seen[:, 1] - y[row, col]) < 0.02 * pixel
    first = np.full((size, size), -9.0)
    np.maximum.at(first, (row[near], col[near]), seen[near, 2])
    known = first > -9
    assert known.sum() > 20
    assert hits.hit[0].numpy()[known].all()
    behind = first - hits.depth[0].numpy()
    # A steep face lies deeper a little to the side, hence some slack; through a wall it is more.
    assert behind[known].max() < 0.35 * pixel
    assert np.median(np.abs(behind[known])) < 0.05 * pixel


def test_a_ridged_rod_is_overshot_by_no_more_than_its_ridges() -> None:
    form = made(lambda f: f.rod("spring", (-10, 0, 0), (10, 0, 0), 2, ridges=(0.4, 10)))
    points = np.random.default_rng(2).uniform((-11, -6, -6), (11, 6, 6), (3000, 3))
    along, out = points[:, 0], np.hypot(points[:, 1], points[:, 2])
    points = points[(np.abs(along) < 9) & (out > 2.5)]
    out = np.hypot(points[:, 1], points[:, 2])
    found = distance_mm(form, points)
    assert (found <= out - 2 + 0.4 + 1e-3).all()  # from the grooves
    assert (found >= ROD * (out - 2 - 0.4) - 1e-3).all()  # from the crests


# ---- what is taken away ---------------------------------------------------------------------
def _pierced(f: Form) -> None:
    f.drum("disc", (0, 0, 0), 10, height=2)
    f.drum("hole", (0, 0, 0), 4, height=8, cut=True)


def test_a_cut_leaves_a_hole() -> None:
    whole = made(lambda f: f.drum("disc", (0, 0, 0), 10, height=2))
    points = _at((0, 0, 0), (3.5, 0, 0), (4, 0, 0), (7, 0, 0), (12, 0, 0))
    found = distance_mm(made(_pierced), points)
    np.testing.assert_allclose(found, [4, 0.5, 0, -1, 2], atol=2e-3)
    assert (distance_mm(whole, points)[:4] < 0).all()


def test_a_cut_does_not_reach_beyond_itself() -> None:
    form = made(lambda f: f.drum("disc", (0, 0, 0), 10, height=2))
    form.slab("notch", (0, 10, 0), 4, 2, thickness=8, cut=True)
    found = distance_mm(form, _at((0, 9, 0), (0, -9, 0), (3, 8, 0)))
    assert found[0] > 0.9 and (found[1:] < 0).all()


def _broken(form: Form, normal: tuple[float, float, float], offset: float) -> Damage:
    """The form broken where normal . p = offset mm."""
    scale = float(pack([form]).scale[0])
    damage = Damage.none(1)
    damage.normal[:, 0] = torch.tensor(normal)
    damage.offset[:, 0] = offset / scale
    return damage


def test_a_break_plane_keeps_what_lies_before_it() -> None:
    form = made(lambda f: f.ball("ball", (0, 0, 0), 10))
    damage = _broken(form, (1.0, 0.0, 0.0), 4.0)
    points = _at((9, 0, 0), (4, 0, 0), (3, 0, 0), (-12, 0, 0), (0, 0, 11))
    np.testing.assert_allclose(distance_mm(form, points, damage), [5, 0, -1, 2, 1], atol=1e-3)


def test_two_break_planes_leave_what_both_keep() -> None:
    form = made(lambda f: f.ball("ball", (0, 0, 0), 10))
    damage = _broken(form, (1.0, 0.0, 0.0), 4.0)
    damage.normal[:, 1] = torch.tensor((-1.0, 0.0, 0.0))
    damage.offset[:, 1] = 2.0 / float(pack([form]).scale[0])
    found = distance_mm(form, _at((0, 0, 0), (3, 0, 0), (-3, 0, 0), (5, 0, 0)), damage)
    np.testing.assert_allclose(found, [-2, -1, 1, 1], atol=1e-3)


def test_lumps_move_the_surface_by_no_more_than_their_size() -> None:
    form = made(lambda f: f.ball("ball", (0, 0, 0), 10))
    points = np.random.default_rng(3).uniform(-12, 12, (500, 3))
    damage = Damage.none(1)
    damage.lump = torch.tensor([0.01])
    moved = distance_mm(form, points, damage) - distance_mm(form, points)
    assert 0.002 < np.abs(moved).max() / float(pack([form]).scale[0]) <= 0.01


def test_the_nearest_part_is_named_and_cuts_never_are() -> None:
    form = made(_pierced)
    form.ball("knob", (0, 14, 0), 2)
    batch = pack([form])
    found = nearest_part(batch.solids, in_units(batch, _at((8, 0, 1), (4, 0, 0), (0, 15, 2))))
    assert [batch.parts[0][i] for i in found[0].tolist()] == ["disc", "disc", "knob"]


DRAWS: dict[str, Callable[[Form], object]] = {
    "rod": lambda f: f.rod("a", (1, 2, 3), (4, 8, 5), 2, 1, flat=0.5),
    "ring": lambda f: f.ring("a", (1, 2, 3), 6, 1.5, gap=70, axis=(0.3, 1, 0.2)),
    "slab": lambda f: f.slab("a", (1, 2, 3), 9, 6, 2, turn=30, axis=(0.2, 0.1, 1)),
    "drum": lambda f: f.drum("a", (1, 2, 3), 5, 2, height=4, axis=(1, 1, 0)),
    "ball": lambda f: f.ball("a", (1, 2, 3), (5, 3, 2), turn=40),
}


@pytest.mark.parametrize("kind", DRAWS)
def test_every_solid_lies_within_its_bounds(kind: str) -> None:
    form = made(DRAWS[kind])
    low, high = form.bounds()
    points = np.random.default_rng(4).uniform(low - 3, high + 3, (20000, 3))
    inside = np.asarray(distance_mm(form, points) < 0)
    assert inside.any()
    assert (points[inside] >= low - 1e-3).all() and (points[inside] <= high + 1e-3).all()
