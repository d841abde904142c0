"""Breaks run through thin sections and leave one piece."""

from __future__ import annotations

import numpy as np
import torch
from scipy import ndimage

from simsearch.synthetic import breaks
from simsearch.synthetic.batch import Batch, pack
from simsearch.synthetic.distance import Damage
from simsearch.synthetic.form import Form
from simsearch.synthetic.render import Shot, render
from simsearch.synthetic.trace import Camera, Hits, trace


def _dumb_bell() -> Form:
    form = Form("dumb-bell")
    form.drum("end", (0, 14, 0), 8, height=2)
    form.drum("end", (0, -14, 0), 8, height=2)
    form.rod("neck", (0, -10, 0), (0, 10, 0), 1.5)
    return form


def _seen(count: int) -> tuple[Batch, Damage, Camera, Hits]:
    batch = pack([_dumb_bell()]).repeat(count)
    turn = torch.eye(3).repeat(count, 1, 1)
    camera = Camera(turn, torch.zeros(count, 2), torch.ones(count))
    damage = Damage.none(count)
    return batch, damage, camera, trace(batch, damage, camera, 64)


def test_breaks_prefer_thin_sections() -> None:
    _, damage, camera, hits = _seen(60)
    g = torch.Generator().manual_seed(2)
    wish = torch.rand(60, generator=g) * 0.5 + 0.3
    plans = breaks._plans(damage, camera, hits, wish, g)
    chosen = breaks._chosen(plans, camera, hits, wish, g)
    near = (plans.along[:, 0] - plans.offset[:, 0, :, None]).abs() < 0.05
    section = near.sum(-1).float()
    taken = section[torch.arange(60), chosen]
    assert float(taken.mean()) < 0.8 * float(section.mean())


def test_a_dumb_bell_that_keeps_half_breaks_in_the_neck() -> None:
    batch, damage, camera, hits = _seen(40)
    g = torch.Generator().manual_seed(3)
    hurt, left, kept = breaks.broken(batch, damage, camera, hits, (0.5, 0.5), g)
    assert left.shape == hits.hit.shape and float(kept.median()) - 0.5 < 0.06
    one = hurt.offset[:, 1] > 2
    # How wide the break is: pixels of the left piece close to its plane, across.
    along = torch.einsum("bd,bijd->bij", hurt.normal[:, 0], hits.point)
    near = (along - hurt.offset[:, 0, None, None]).abs() < 0.05
    wide = (near & hits.hit).sum((1, 2))[one]
    full = 2 * 8 / float(batch.scale[0]) * 0.1 / (2 / 64) ** 2  # a cut through a whole disc
    assert float((wide < 0.5 * full).float().mean()) > 0.7


def test_what_is_photographed_is_one_piece() -> None:
    form = _dumb_bell()
    form.ball("knob", (13, 0, 0), 2)  # floats: the fitting that held it is lost
    shots = render(pack([form]).repeat(10), Shot(kept=(0.4, 0.9), bent=0.5), 96, 5, parts=False)
    for mask in shots.mask.numpy():
        joined = ndimage.binary_dilation(mask, np.ones((3, 3)), iterations=3)
        assert mask.any() and ndimage.label(joined, np.ones((3, 3)))[1] == 1
