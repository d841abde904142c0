"""Where rays of a camera first meet a batch of forms.

The camera is orthographic, as a find is photographed from far compared with its thickness. A
coarse pass with thick rays finds a safe starting depth for each pixel, so that the fine pass
needs few steps. Pixel centres lie at (i + 0.5) pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
import torch.nn.functional as F
from torch import Tensor

from simsearch.synthetic.batch import Batch
from simsearch.synthetic.distance import FAR, Damage, distance
from simsearch.synthetic.kernels import kernel

#: Rays start this far in front of the centre: every form lies in the unit ball, lumps included.
START = 1.25
#: Rays that have come this far have passed the object.
FLOOR = -START - 0.2


@dataclass
class Camera:
    """``turn [B, 3, 3]`` takes unit coordinates to view coordinates (x right, y up, z to the
    viewer); the picture shows the square of half side ``half [B]`` around ``centre [B, 2]``."""

    turn: Tensor
    centre: Tensor
    half: Tensor


@dataclass
class Hits:
    """``hit [B, S, S]`` bool; ``point [B, S, S, 3]`` unit coordinates of the surface;
    ``depth [B, S, S]`` view z of the surface (0 where nothing was hit)."""

    hit: Tensor
    point: Tensor
    depth: Tensor


def _pixels(camera: Camera, size: int) -> Tensor:
    """View x, y of the pixel centres ``[B, S*S, 2]``, rows from the top."""
    line = (torch.arange(size, device=camera.half.device) + 0.5) / size * 2 - 1
    y, x = torch.meshgrid(-line, line, indexing="ij")
    grid = torch.stack([x, y], -1).reshape(1, -1, 2)
    return grid * camera.half[:, None, None] + camera.centre[:, None]


def march(
    batch: Batch, damage: Damage, camera: Camera, xy: Tensor, depth: Tensor, slack: Tensor,
    steps: int,
) -> tuple[Tensor, Tensor]:  # fmt: skip
    """Walk from ``depth [B, N]`` away from the viewer; returns the depth and the last distance.

    ``slack [B, 1]`` is the thickness of the rays.
    """
    if xy.device.type == "cuda":
        from simsearch.synthetic import gpu

        return gpu.march(batch.solids, damage, camera.turn, xy, depth, slack, steps, FLOOR)
    gap = torch.full_like(depth, FAR)
    for _ in range(steps):
        view = torch.cat([xy, depth[..., None]], -1)
        p = torch.bmm(view, camera.turn)  # turns view coordinates into unit coordinates
        gap = kernel(distance)(batch.solids, damage, p) - slack
        depth = (depth - gap.clamp_min(0)).clamp_min(FLOOR)
    return depth, gap


def trace(
    batch: Batch, damage: Damage, camera: Camera, size: int, *, coarse: int = 28, fine: int = 20
) -> Hits:
    """Surface points seen by each pixel of a ``size`` x ``size`` picture."""
    count = len(camera.half)
    small = size // 4
    xy = _pixels(camera, small)
    slack = (camera.half / small * 1.5)[:, None]
    depth = torch.full(xy.shape[:2], START, device=xy.device)
    depth, gap = march(batch, damage, camera, xy, depth, slack, coarse)
    start = torch.where(gap < slack, depth + slack, torch.full_like(depth, FLOOR))
    start = F.max_pool2d(start.reshape(count, 1, small, small), 3, 1, 1)
    start = F.interpolate(start, scale_factor=4, mode="nearest").reshape(count, -1)
    xy = _pixels(camera, size)
    pixel = (camera.half / size)[:, None]
    depth, gap = march(batch, damage, camera, xy, start, 0.0 * pixel, fine)
    hit = (gap < 1.5 * pixel) & (depth > -START)
    view = torch.cat([xy, depth[..., None]], -1)
    point = torch.bmm(view, camera.turn)
    shape = (count, size, size)
    hit = hit.reshape(shape)
    return Hits(hit, point.reshape(*shape, 3), depth.reshape(shape) * hit)


def window(hits: Hits, camera: Camera) -> tuple[Tensor, Tensor, Tensor]:
    """Box of what was hit: centre ``[B, 2]`` and half side ``[B]`` in view units, and the
    number of pixels hit ``[B]``."""
    size = hits.hit.shape[1]
    xy = _pixels(camera, size).reshape(len(camera.half), size, size, 2)
    hit = hits.hit[..., None]
    low = torch.where(hit, xy, FAR).amin((1, 2))
    high = torch.where(hit, xy, -FAR).amax((1, 2))
    number = hits.hit.sum((1, 2))
    empty = (number == 0)[:, None]
    low = torch.where(empty, torch.full_like(low, -1.0), low)
    high = torch.where(empty, torch.full_like(high, 1.0), high)
    return (low + high) / 2, (high - low).amax(-1) / 2, number
