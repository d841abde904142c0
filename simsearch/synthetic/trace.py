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
from simsearch.synthetic.bend import straightened
from simsearch.synthetic.distance import FAR, Damage, beyond_breaks, distance
from simsearch.synthetic.kernels import kernel

#: Rays start this far in front of the centre: every form lies in the unit ball, lumps included.
START = 1.25
#: Rays that have come this far have passed the object.
FLOOR = -START - 0.2
#: A ray that is this near to the surface (unit coordinates) has arrived.
_CLOSE = 1e-5
#: Steps after which the eager walk drops rays that have arrived or passed.
_LEG = 5
#: How much nearer than usual a ray must come to a surface to be sure to meet it.
_SURE = 0.2


@dataclass
class Camera:
    """``turn [B, 3, 3]`` takes unit coordinates to view coordinates (x right, y up, z to the
    viewer); the picture shows the square of half side ``half [B]`` around ``centre [B, 2]``."""

    turn: Tensor
    centre: Tensor
    half: Tensor


@dataclass
class Hits:
    """``hit [B, S, S]`` bool; ``point [B, S, S, 3]`` unit coordinates of the surface on the
    straight, undamaged form; ``depth [B, S, S]`` view z of the surface (0 where nothing was
    hit); ``sure [B, S, S]`` bool: hit by the pixel's middle, where ``hit`` is generous to thin
    things and so too big by some of a pixel all round. Areas are counted on these."""

    hit: Tensor
    point: Tensor
    depth: Tensor
    sure: Tensor


def pixels(camera: Camera, size: int) -> Tensor:
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
    for done in range(0, steps, _LEG):
        afoot = (depth > FLOOR) & (gap > _CLOSE)
        room = int(afoot.sum(1).max())
        if room == 0:
            break
        # The rays still under way first; pictures with fewer of them fill up with others.
        order = afoot.float().argsort(stable=True, dim=1, descending=True)[:, : max(room, 2)]
        near = depth.gather(1, order)
        here = xy.gather(1, order[..., None].expand(-1, -1, 2))
        near, left = _leg(batch, damage, camera, here, near, slack, min(_LEG, steps - done))
        left = torch.where(near > FLOOR, left, gap.gather(1, order))
        depth, gap = depth.scatter(1, order, near), gap.scatter(1, order, left)
    return depth, gap


def _leg(
    batch: Batch, damage: Damage, camera: Camera, xy: Tensor, depth: Tensor, slack: Tensor,
    steps: int,
) -> tuple[Tensor, Tensor]:  # fmt: skip
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
    xy = pixels(camera, small)
    slack = (camera.half / small * 1.5)[:, None]
    depth = torch.full(xy.shape[:2], START, device=xy.device)
    depth, gap = march(batch, damage, camera, xy, depth, slack, coarse)
    start = torch.where(gap < slack, depth + slack, torch.full_like(depth, FLOOR))
    start = F.max_pool2d(start.reshape(count, 1, small, small), 3, 1, 1)
    start = F.interpolate(start, scale_factor=4, mode="nearest").reshape(count, -1)
    xy = pixels(camera, size)
    pixel = (camera.half / size)[:, None]
    depth, gap = march(batch, damage, camera, xy, start, 0.0 * pixel, fine)
    hit = _arrived(gap, depth, pixel)
    view = torch.cat([xy, depth[..., None]], -1)
    point = straightened(damage.bend, torch.bmm(view, camera.turn))
    shape = (count, size, size)
    hit = hit.reshape(shape)
    sure = _arrived(gap, depth, _SURE * pixel).reshape(shape)
    return Hits(hit, point.reshape(*shape, 3), depth.reshape(shape) * hit, sure)


def _arrived(gap: Tensor, depth: Tensor, half_pixel: Tensor) -> Tensor:
    return (gap < 1.5 * half_pixel) & (depth > -START)


def left_after_breaks(
    batch: Batch, damage: Damage, camera: Camera, hits: Hits, steps: int = 28
) -> tuple[Tensor, Tensor]:
    """What breaks leave of ``hits``, which were traced without them: masks ``[B, S, S]`` of the
    pixels that are hit, and of those that are sure to be.

    Rays that meet what is left are not walked again, and those that met what is gone go on from
    there: a break takes away and adds nothing in front.
    """
    count, size = hits.hit.shape[:2]
    hit, sure = hits.hit.reshape(count, -1), hits.sure.reshape(count, -1)
    gone = hit & (beyond_breaks(damage, hits.point.reshape(count, -1, 3)) > 0)
    start = torch.where(gone, hits.depth.reshape(count, -1), FLOOR)
    xy, half_pixel = pixels(camera, size), (camera.half / size)[:, None]
    depth, gap = march(batch, damage, camera, xy, start, 0.0 * half_pixel, steps)
    left = (hit & ~gone) | (gone & _arrived(gap, depth, half_pixel))
    surely = (sure & ~gone) | (sure & gone & _arrived(gap, depth, 0.25 * _SURE * half_pixel))
    return left.reshape(hits.hit.shape), surely.reshape(hits.hit.shape)


def window(mask: Tensor, camera: Camera) -> tuple[Tensor, Tensor, Tensor]:
    """Box of a mask ``[B, S, S]``: centre ``[B, 2]`` and half side ``[B]`` in view units, and
    the number of its pixels ``[B]``."""
    size = mask.shape[1]
    xy = pixels(camera, size).reshape(len(camera.half), size, size, 2)
    hit = mask[..., None]
    low = torch.where(hit, xy, FAR).amin((1, 2))
    high = torch.where(hit, xy, -FAR).amax((1, 2))
    number = mask.sum((1, 2))
    empty = (number == 0)[:, None]
    low = torch.where(empty, torch.full_like(low, -1.0), low)
    high = torch.where(empty, torch.full_like(high, 1.0), high)
    return (low + high) / 2, (high - low).amax(-1) / 2, number
