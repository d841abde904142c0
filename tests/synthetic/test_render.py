"""Whole pictures: repeatable, true to their masks and points, and broken as much as asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import torch
from torch import Tensor

from simsearch.synthetic.batch import pack
from simsearch.synthetic.form import LOSS, Form, arch
from simsearch.synthetic.render import VIEWS, Shot, Shots, render
from simsearch.synthetic.trace import START
from tests.synthetic.shapes import Points, made

SIZE = 48
CLEAN = Shot(
    view="front", tilt=0, roll=0, losses=0, plain=True,
    worn=(0, 0), corroded=(0, 0), soiled=(0, 0),
)  # fmt: skip


def _shot(**changes: object) -> Shot:
    return Shot(**{**vars(CLEAN), **changes})


def _brooch() -> Form:
    form = Form("brooch")
    form.slab("plate", (0, 0, 0), 30, 16, 8, thickness=3)
    form.ball("boss", (0, 6, 1.5), 5)
    form.rod("plate", (0, 2, -1), (12, 2, -1), 1.0)  # holds the pin
    form.rod("pin", (12, 12, -1), (12, -12, -1), 1.2)
    form.ring("loop", (0, 18, 0), 3, 1)
    return form


def _same(a: Shots, b: Shots) -> bool:
    return all(getattr(a, k).numpy().tobytes() == getattr(b, k).numpy().tobytes() for k in vars(a))


# ---- seeds and shapes -----------------------------------------------------------------------
def test_the_same_seed_gives_the_same_bytes_and_another_one_others() -> None:
    batch = pack([_brooch(), made(lambda f: f.ball("ball", (0, 0, 0), 5))])
    first = render(batch, Shot(kept=(0.5, 1.2)), SIZE, seed=7)
    assert _same(first, render(batch, Shot(kept=(0.5, 1.2)), SIZE, seed=7))
    other = render(batch, Shot(kept=(0.5, 1.2)), SIZE, seed=8)
    assert not torch.equal(first.picture, other.picture)
    assert not torch.equal(first.mask, other.mask)


def test_what_comes_back_has_the_stated_shapes_and_ranges() -> None:
    shots = render(pack([_brooch(), _brooch()]), Shot(), SIZE, seed=1)
    assert shots.picture.shape == (2, 3, SIZE, SIZE)
    assert shots.mask.shape == shots.part.shape == (2, SIZE, SIZE)
    assert shots.point.shape == (2, SIZE, SIZE, 3)
    assert shots.picture.min() >= 0 and shots.picture.max() <= 1
    assert torch.isfinite(shots.picture).all()
    assert shots.mask.any((1, 2)).all() and not shots.mask.all((1, 2)).any()
    assert torch.equal(shots.mask, shots.part >= 0)
    on = shots.point[shots.mask]
    assert torch.isfinite(on).all() and (on.norm(dim=-1) < START).all()
    assert ((shots.view >= 0) & (shots.view < len(VIEWS))).all()


def test_part_labels_can_be_left_out() -> None:
    shots = render(pack([_brooch()]), CLEAN, SIZE, seed=1, parts=False)
    assert (shots.part == -1).all() and shots.mask.any()


def test_a_view_may_be_given_for_each_picture() -> None:
    view = torch.tensor([0, 1, 2])
    batch = pack([_brooch()]).repeat(3)
    shots = render(batch, _shot(view="any"), SIZE, seed=1, view=view)
    assert torch.equal(shots.view, view)
    width = [int(m.any(0).sum()) / int(m.any(1).sum()) for m in shots.mask]
    assert width[2] < 0.7 * min(width[:2])  # from the side the plate shows its thickness
    # From the front the pin is on the right, from the back on the left, both the right way up.
    pin = [p == batch.parts[0].index("pin") for p in shots.part]
    middle = [np.nonzero(m.numpy())[1].mean() for m in shots.mask]
    assert np.nonzero(pin[0].numpy())[1].mean() > middle[0]
    assert np.nonzero(pin[1].numpy())[1].mean() < middle[1]
    loop = [p == batch.parts[0].index("loop") for p in shots.part]
    assert all(np.nonzero(m.numpy())[0].max() < SIZE / 2 for m in loop)


def test_all_views_occur() -> None:
    batch = pack([made(lambda f: f.ball("ball", (0, 0, 0), 5))]).repeat(40)
    shots = render(batch, Shot(), 16, seed=3, parts=False)
    assert set(shots.view.tolist()) == {0, 1, 2}


# ---- faces ----------------------------------------------------------------------------------
def _coin(relief: bool) -> Form:
    form = Form("coin")
    form.drum("flan", (0, 0, 0), 10, height=2)
    if relief:
        form.front.line((-5, -5), (5, 5), 2, 0.8)
        form.front.circle((0, 0), 8, 1, 0.8)
    return form


@pytest.mark.parametrize(("view", "shows"), [("front", True), ("back", False)])
def test_relief_shows_on_its_own_face_alone(view: str, shows: bool) -> None:
    struck, blank = (
        render(pack([_coin(relief)]), _shot(view=view), SIZE, seed=5) for relief in (True, False)
    )
    assert torch.equal(struck.mask, blank.mask)
    apart = (struck.picture - blank.picture).abs().amax(1)[struck.mask]
    if shows:
        assert float((apart > 0.05).float().mean()) > 0.05
    else:
        assert torch.equal(struck.picture, blank.picture)


def test_wear_takes_relief_away() -> None:
    def contrast(worn: float) -> float:
        struck, blank = (
            render(pack([_coin(r)]), _shot(worn=(worn, worn)), SIZE, seed=5) for r in (True, False)
        )
        return float((struck.picture - blank.picture).abs().mean())

    assert contrast(1.0) < 0.7 * contrast(0.0)


# ---- losses ---------------------------------------------------------------------------------
def _parts_seen(shots: Shots, form: Form) -> list[set[str]]:
    names = form.parts()
    return [{names[i] for i in p[p >= 0].unique().tolist()} for p in shots.part]


def test_without_losses_every_part_is_there() -> None:
    form = _brooch()
    shots = render(pack([form]).repeat(6), _shot(tilt=10), SIZE, seed=2)
    assert all(seen == {"plate", "boss", "pin", "loop"} for seen in _parts_seen(shots, form))


def test_fragile_parts_go_as_often_as_they_should_and_sound_ones_stay() -> None:
    form = _brooch()
    shots = render(pack([form]).repeat(60), _shot(losses=1.0), 32, seed=2)
    seen = _parts_seen(shots, form)
    assert all({"plate", "boss"} <= names for names in seen)
    lost = {part: sum(part not in names for names in seen) for part in ("pin", "loop")}
    for part, times in lost.items():
        spread = np.sqrt(60 * LOSS[part] * (1 - LOSS[part]))
        assert abs(times - 60 * LOSS[part]) < 3.5 * spread


# ---- breaks ---------------------------------------------------------------------------------
def _areas(shots: Shots) -> Tensor:
    """Visible area in unit coordinates ``[B]``, whatever the camera's distance."""
    size = shots.mask.shape[1]
    return shots.mask.sum((1, 2)) * (2 * shots.half / size) ** 2


FLAT: dict[str, Callable[[Form], object]] = {
    "plate": lambda f: f.slab("plate", (0, 0, 0), 20, 12, thickness=2),
    "disc": lambda f: f.drum("disc", (0, 0, 0), 10, height=2),
    "ring": lambda f: f.ring("ring", (0, 0, 0), 10, 2.5),
}


def _share_left(form: Form, view: str, share: float, *, tilt: float = 0.0) -> Tensor:
    """Visible area of eight broken ones as a share of that of the whole ``[8]``."""
    batch = pack([form]).repeat(8)
    shot = _shot(view=view, tilt=tilt, roll=180)
    whole = render(batch, shot, 128, seed=4, parts=False)
    broken = render(batch, replace(shot, kept=(share, share)), 128, seed=4, parts=False)
    left = _areas(broken) / _areas(whole)
    # Masks are generous by up to three quarters of a pixel all round, which is more of the object
    # where it is thin and far away: that is the slack for single pictures.
    apart = (broken.kept - left).abs()
    assert float(apart.max()) < 0.07 and float(apart.mean()) < 0.04, (broken.kept, left)
    return left


def _bow() -> Form:
    form = Form("bow")
    form.sweep("bow", arch((0, 20, 0), (0, -12, 0), 12), 2.5)
    form.rod("foot", (0, -12, 0), (0, -24, 0), 2, 1)
    form.rod("head", (-8, 20, 0), (8, 20, 0), 2.5)
    return form


@pytest.mark.parametrize("name", FLAT)
@pytest.mark.parametrize("share", [0.5, 0.75])
def test_the_asked_share_of_the_visible_area_is_kept(name: str, share: float) -> None:
    left = _share_left(made(FLAT[name]), "front", share)
    assert int(((left - share).abs() < 0.08).sum()) >= 6, left  # one may fall apart after all
    assert float(left.median()) == pytest.approx(share, abs=0.05)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("tilt", [0.0, 40.0])
def test_the_asked_share_of_a_deep_object_is_kept_in_any_view(view: str, tilt: float) -> None:
    left = _share_left(_bow(), view, 0.5, tilt=tilt)
    assert torch.all((left - 0.5).abs() < 0.1), left
    assert float((left - 0.5).abs().mean()) < 0.05


def test_of_a_thick_thing_hardly_more_is_kept_than_asked() -> None:
    # An oblique break through a ball shows its own face, so that more may be seen.
    left = _share_left(made(lambda f: f.ball("ball", (0, 0, 0), 10)), "front", 0.5)
    assert torch.all((left - 0.5).abs() < 0.1), left


def test_the_asked_share_is_kept_from_the_side() -> None:
    left = _share_left(made(FLAT["disc"]), "side", 0.5)
    assert int(((left - 0.5).abs() < 0.08).sum()) >= 6, left


def test_unbroken_means_unbroken() -> None:
    batch = pack([made(FLAT["plate"])])
    whole = render(batch, CLEAN, SIZE, seed=4)
    assert float(whole.kept[0]) == 1
    flat = 20 * 12 / float(batch.scale[0]) ** 2
    assert float(_areas(whole)[0]) == pytest.approx(flat, rel=0.1)


@pytest.mark.parametrize("fill", [0.5, 0.9])
def test_the_object_fills_as_much_as_asked_and_lies_within_the_picture(fill: float) -> None:
    batch = pack([_brooch(), made(FLAT["ring"])])
    shots = render(batch, _shot(fill=(fill, fill), tilt=20, roll=180), SIZE, seed=6)
    for mask in shots.mask:
        span = max(int(mask.any(0).sum()), int(mask.any(1).sum()))
        assert span == pytest.approx(fill * SIZE, abs=0.06 * SIZE)
        assert not (mask[0].any() or mask[-1].any() or mask[:, 0].any() or mask[:, -1].any())


# ---- points ---------------------------------------------------------------------------------
def _camera_of(point: Tensor, mask: Tensor, half: float) -> tuple[Points, Points, float]:
    """The camera found from the picture: a linear map and a shift from points to pixels."""
    rows, cols = np.nonzero(mask.numpy())
    known = np.c_[point.numpy()[rows, cols].astype(float), np.ones(len(rows))]
    seen = np.c_[cols + 0.5, rows + 0.5]
    found, *_ = np.linalg.lstsq(known, seen, rcond=None)
    off = np.abs(known @ found - seen).max()
    return found[:3].T, found[3], float(off)


def _pair() -> Shots:
    form = Form("bossed")
    form.drum("disc", (0, 0, 0), 10, height=2)
    form.ball("boss", (3, 2, 1), 5)
    return render(pack([form]).repeat(2), _shot(tilt=30, roll=60, fill=(0.7, 0.9)), SIZE, seed=11)


def test_points_and_pixels_are_those_of_one_orthographic_camera() -> None:
    shots = _pair()
    for i in range(2):
        linear, _, off = _camera_of(shots.point[i], shots.mask[i], float(shots.half[i]))
        assert off < 1e-2
        # Rows of a rotation, scaled to pixels: equally long, at right angles, y downwards.
        pixels = SIZE / 2 / float(shots.half[i])
        np.testing.assert_allclose(linear @ linear.T, np.eye(2) * pixels**2, rtol=0, atol=0.3)


def test_the_same_place_is_seen_where_the_other_camera_has_it() -> None:
    shots = _pair()
    linear, shift, _ = _camera_of(shots.point[1], shots.mask[1], float(shots.half[1]))
    place = shots.point[0][shots.mask[0]].numpy()
    col, row = np.floor(place @ linear.T + shift).astype(int).T
    within = (col >= 0) & (col < SIZE) & (row >= 0) & (row < SIZE)
    place, col, row = place[within], col[within], row[within]
    there = shots.mask[1].numpy()[row, col]
    assert there.mean() > 0.93  # the rest is on the rim
    apart = np.linalg.norm(shots.point[1].numpy()[row, col] - place, axis=1)[there]
    pixel = 2 * float(shots.half[1]) / SIZE
    # What the boss hides from the other camera is the exception.
    assert (apart < 2 * pixel).mean() > 0.85 and np.median(apart) < pixel


def test_a_careful_photo_lies_on_a_plain_light_ground() -> None:
    shots = render(pack([_brooch()]), CLEAN, SIZE, seed=1)
    ground = shots.picture[0][:, :4, :4]
    assert float(ground.std()) < 0.03 and float(ground.mean()) > 0.6
