"""Bent objects: beyond a point along its long axis a form curves off to one side.

The bend is a shear that grows with the square of the distance from where it starts and goes on
straight after its reach, so that it has an exact inverse: the place of each point of the bent
object on the straight one. Nine numbers say it all, in one row ``[B, 9]``: the axis (3), the way
in which it gives (3), where along the axis it starts, over which length it grows, and the slope
at the end of that length. Slope 0 is not bent.
"""

from __future__ import annotations

import torch
from torch import Tensor

from simsearch.synthetic.batch import Solids
from simsearch.synthetic.noise import chance, rand

#: A slope beyond this tears thin metal, and makes the distance a poor bound.
STEEPEST = 0.6
NUMBERS = 9


def straight(count: int, device: torch.device | str = "cpu") -> Tensor:
    """Rows ``[B, 9]`` of nothing bent."""
    rows = torch.zeros(count, NUMBERS, device=device)
    rows[:, 1], rows[:, 5], rows[:, 7] = 1, 1, 1
    return rows


def straightened(bend: Tensor, p: Tensor) -> Tensor:
    """Where points ``p [B, N, 3]`` of the bent objects were before the bend ``[B, N, 3]``."""
    return p - bend[:, None, 3:6] * _give(bend, p)


def bent(bend: Tensor, p: Tensor) -> Tensor:
    """Where points ``p [B, N, 3]`` of the straight objects are after the bend ``[B, N, 3]``."""
    return p + bend[:, None, 3:6] * _give(bend, p)


def _give(bend: Tensor, p: Tensor) -> Tensor:
    """How far each point gives way ``[B, N, 1]``; the same before and after, as the axis and
    the way are at right angles."""
    along = (p * bend[:, None, 0:3]).sum(-1, keepdim=True) - bend[:, None, 6:7]
    beyond = along.clamp_min(0)
    curved = torch.minimum(beyond, bend[:, None, 7:8])
    return bend[:, None, 8:9] / bend[:, None, 7:8] * curved * (beyond - 0.5 * curved)


def bound(bend: Tensor) -> Tensor:
    """Factor ``[B]`` that makes a distance taken at straightened points a lower bound.

    One over the largest stretch of the shear ``1 - way x axis * slope``.
    """
    slope = bend[:, 8].abs()
    return 0.5 * (torch.sqrt(slope * slope + 4) - slope)


def extents(solids: dict[str, Solids]) -> Tensor:
    """Half sides ``[B, 3]`` of a box around each form, which is centred on the origin."""
    reach = []
    for kind, s in solids.items():
        a, b, c, d, edge = (s.size[..., i] for i in range(5))
        centre = s.centre
        if kind == "rod":
            wide = torch.maximum(a, b) * d.clamp_min(1)
            half = torch.stack([wide, c / 2 + wide, wide], -1)
            centre = centre + s.frame[..., :, 1] * (c / 2)[..., None]
        elif kind == "ring":
            half = torch.stack([a + b, a + b, b], -1)
        elif kind == "slab":
            half = torch.stack([torch.maximum(a, b), c, d], -1) + edge[..., None]
        elif kind == "drum":
            half = torch.stack([torch.maximum(a, b), torch.maximum(a, b), c], -1) + d[..., None]
        else:
            half = torch.stack([a, b, c], -1)
        far = centre.abs() + (s.frame.abs() * half[..., None, :]).sum(-1)
        reach.append((far * (s.here > 0)[..., None]).amax(1))
    return torch.stack(reach).amax(0).clamp_min(1e-3)


def drawn(solids: dict[str, Solids], share: float, g: torch.Generator) -> Tensor:
    """Rows ``[B, 9]``: about ``share`` of the slim forms bent, each along its longest side.

    They give way across their thinnest side, or where they are narrow as often across that.
    """
    half = extents(solids)
    count = len(half)
    order = half.sort(1).indices
    thin, middle, long = order.unbind(1)
    length = half.gather(1, long[:, None])[:, 0]
    narrow = half.gather(1, middle[:, None])[:, 0] < 0.5 * length
    way = torch.where(narrow & chance(count, 0.5, g), middle, thin)
    unit = torch.eye(3, device=half.device)
    signs = torch.where(rand((count, 2), g) < 0.5, 1.0, -1.0)
    start = length * rand((count,), g, -0.3, 0.5)
    slope = rand((count,), g, 0.15, STEEPEST) * chance(count, share, g)
    slim = half.amin(1) < 0.6 * length  # nothing bends a ball
    slope = slope * slim
    return torch.cat(
        [
            unit[long] * signs[:, :1],
            unit[way] * signs[:, 1:],
            torch.stack([start, length - start, slope], 1),
        ],
        1,
    )
