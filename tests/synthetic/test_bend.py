"""Bends: their inverse, their bound, and where the points of bent objects lie."""

from __future__ import annotations

import torch

from simsearch.synthetic import bend
from simsearch.synthetic.batch import pack
from simsearch.synthetic.distance import Damage, distance
from simsearch.synthetic.form import Form
from simsearch.synthetic.trace import trace
from tests.synthetic.shapes import camera, made, turn_x, turn_y


def _strip() -> Form:
    form = made(lambda f: f.slab("plate", (0, 0, 0), 40, 8, thickness=2))
    form.ball("knob", (0, 22, 0), 3)
    return form


def _rows(slope: float = 0.6) -> torch.Tensor:
    return torch.tensor([[0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.1, 0.8, slope]])


def _cloud(number: int = 4000) -> torch.Tensor:
    return torch.rand(1, number, 3, generator=torch.Generator().manual_seed(0)) * 2.4 - 1.2


def test_straightening_undoes_the_bend() -> None:
    p = _cloud()
    moved = bend.bent(_rows(), p)
    assert float((moved - p).norm(dim=-1).max()) > 0.2
    torch.testing.assert_close(bend.straightened(_rows(), moved), p, atol=1e-6, rtol=0)
    assert torch.equal(bend.straightened(bend.straight(1), p), p)


def test_the_distance_of_a_bent_form_never_oversteps() -> None:
    batch = pack([_strip()])
    damage = Damage.none(1)
    damage.bend = _rows()
    p, q = _cloud(1500), _cloud(40000)
    inside = q[:, (distance(batch.solids, damage, q) <= 0)[0]]
    nearest = torch.cdist(p[0], inside[0]).amin(1)
    found = distance(batch.solids, damage, p)[0]
    assert len(inside[0]) > 100
    assert (found[found > 0] <= nearest[found > 0] + 1e-4).all()


def test_points_seen_on_a_bent_form_lie_on_the_straight_one() -> None:
    batch = pack([_strip()])
    damage = Damage.none(1)
    damage.bend = _rows()
    for turn in (turn_x(0), turn_y(90), turn_x(40) @ turn_y(-60)):
        hits = trace(batch, damage, camera(turn, 1.1), 64)
        on = hits.point[hits.sure][None]
        assert on.shape[1] > 100
        off = distance(batch.solids, Damage.none(1), on).abs()
        assert float(off.max()) < 0.02 and float(off.median()) < 1e-3
        seen = torch.stack([hits.depth[hits.sure]], -1)
        there = bend.bent(_rows(), on) @ turn[0].T
        torch.testing.assert_close(there[0, :, 2:], seen, atol=1e-4, rtol=0)


def test_drawn_bends_run_along_the_long_side_and_stay_gentle() -> None:
    batch = pack([_strip()]).repeat(300)
    rows = bend.drawn(batch.solids, 0.3, torch.Generator().manual_seed(1))
    bowed = rows[:, 8] > 0
    assert 0.2 < float(bowed.float().mean()) < 0.4
    assert (rows[:, 8] <= bend.STEEPEST).all() and (rows[:, 7] > 0).all()
    assert (rows[:, 1].abs() == 1).all()  # the strip lies along y
    assert ((rows[:, 0:3] * rows[:, 3:6]).sum(1) == 0).all()
    low, high = _strip().bounds()
    half = torch.from_numpy((high - low) / 2) / batch.scale[0]
    found = bend.extents(batch.solids)[0]
    assert (found > half - 1e-3).all() and (found < half + 0.1).all()
