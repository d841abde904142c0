"""The three losses against plain loops in double precision."""

from __future__ import annotations

import math

import numpy as np
import pytest
import torch
import torch.nn.functional as F
from torch import Tensor

from simsearch.synthetic.losses import mask_loss, patch_loss, vector_loss

T = 0.07


def _unit(*shape: int, seed: int = 0) -> Tensor:
    g = torch.Generator().manual_seed(seed)
    return F.normalize(torch.randn(*shape, generator=g, dtype=torch.float64), dim=-1)


def _slow_vector_loss(v: Tensor, form: Tensor, view: Tensor) -> float:
    """Khosla et al. 2020, equation 2, without the pairs that show other sides of one form."""
    each = []
    for i in range(len(v)):
        others = [j for j in range(len(v)) if j != i]
        shares = [j for j in others if form[j] != form[i] or view[j] == view[i]]
        positive = [j for j in shares if form[j] == form[i]]
        total = sum(math.exp(float(v[i] @ v[j]) / T) for j in shares)
        terms = [-math.log(math.exp(float(v[i] @ v[j]) / T) / total) for j in positive]
        each += [sum(terms) / len(terms)] if terms else []
    return sum(each) / len(each)


FORM = torch.tensor([0, 0, 0, 1, 1, 1, 1, 2, 2, 3])
VIEW = torch.tensor([0, 0, 1, 0, 0, 2, 2, 1, 0, 0])


def test_vector_loss_is_that_of_the_loops() -> None:
    v = _unit(len(FORM), 6)
    expected = _slow_vector_loss(v, FORM, VIEW)
    assert float(vector_loss(v, FORM, VIEW)) == pytest.approx(expected, rel=1e-9)


def test_vector_loss_takes_no_notice_of_other_sides_of_the_same_form() -> None:
    v = _unit(4, 6).requires_grad_()
    form, view = torch.tensor([0, 0, 0, 1]), torch.tensor([0, 0, 1, 0])
    loss = vector_loss(v, form, view)
    loss.backward()
    # Picture 2 is a lone back: anchors 0 and 1 must neither draw it near nor push it away.
    assert v.grad is not None and not v.grad[2].any() and v.grad[3].any()


def test_vector_loss_of_a_step_without_any_pair_is_nought() -> None:
    v = _unit(3, 6).requires_grad_()
    loss = vector_loss(v, torch.tensor([0, 0, 1]), torch.tensor([0, 1, 0]))
    loss.backward()
    assert float(loss.detach()) == 0 and v.grad is not None and torch.isfinite(v.grad).all()


def test_vector_loss_falls_as_pairs_draw_together() -> None:
    centres = _unit(5, 8)
    form = torch.arange(5).repeat_interleave(2)
    view = torch.zeros(10, dtype=torch.long)
    losses = [
        float(vector_loss(F.normalize(centres[form] + s * _unit(10, 8, seed=1), dim=1), form, view))
        for s in (0.0, 0.5, 2.0)
    ]
    assert losses == sorted(losses) and losses[0] < losses[2]


# ---- patches --------------------------------------------------------------------------------
def _slow_patch_loss(
    a: Tensor, b: Tensor, pa: Tensor, pb: Tensor, on_a: Tensor, on_b: Tensor, reach: Tensor
) -> float:
    count, patches = a.shape[:2]
    each = []
    for n in range(count):
        other = (n - 1) % count
        for i in range(patches):
            if not on_a[n, i]:
                continue
            total = sum(
                math.exp(float(a[n, i] @ b[m, j]) / T) for m in (n, other) for j in range(patches)
            )
            weights = []
            for j in range(patches):
                apart = float((pa[n, i] - pb[n, j]).norm())
                near = bool(on_b[n, j]) and apart < float(reach[n])
                weights.append(math.exp(-2 * (apart / float(reach[n])) ** 2) if near else 0.0)
            if not sum(weights):
                continue
            logs = [float(a[n, i] @ b[n, j]) / T - math.log(total) for j in range(patches)]
            each.append(-sum(w * x for w, x in zip(weights, logs, strict=True)) / sum(weights))
    return sum(each) / len(each)


def _patches() -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor, Tensor, Tensor]:
    g = torch.Generator().manual_seed(3)
    pa, pb = (torch.rand(3, 9, 3, generator=g, dtype=torch.float64) for _ in range(2))
    on_a, on_b = (torch.rand(3, 9, generator=g) < 0.7 for _ in range(2))
    reach = torch.tensor([0.3, 0.5, 0.4], dtype=torch.float64)
    return _unit(3, 9, 5, seed=1), _unit(3, 9, 5, seed=2), pa, pb, on_a, on_b, reach


def test_patch_loss_is_that_of_the_loops() -> None:
    given = _patches()
    assert float(patch_loss(*given)) == pytest.approx(_slow_patch_loss(*given), rel=1e-9)


def test_patch_loss_without_a_common_point_is_nought() -> None:
    a, b, pa, pb, on_a, on_b, reach = _patches()
    assert float(patch_loss(a, b, pa, pb + 50, on_a, on_b, reach)) == 0
    assert float(patch_loss(a, b, pa, pb, on_a, torch.zeros_like(on_b), reach)) == 0
    none = patch_loss(a[:0], b[:0], pa[:0], pb[:0], on_a[:0], on_b[:0], reach[:0])
    assert float(none) == 0


# ---- mask -----------------------------------------------------------------------------------
def test_mask_loss_is_the_cross_entropy_of_cells() -> None:
    rng = np.random.default_rng(0)
    mask = rng.random((2, 4, 4)) < 0.5
    logit = rng.normal(0, 2, (2, 4, 4))
    p = 1 / (1 + np.exp(-logit))
    expected = -np.where(mask, np.log(p), np.log(1 - p)).mean()
    found = mask_loss(torch.from_numpy(logit), torch.from_numpy(mask))
    assert float(found) == pytest.approx(expected, rel=1e-5)
