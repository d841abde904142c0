"""Relief and enamel of a face, evaluated at any points of it.

A mark is raised or sunk with sloping sides. Layers are repeated by folding the plane: the
points are turned into one sector of the repeat (and mirrored) before the marks are evaluated.
"""

from __future__ import annotations

import torch
from torch import Tensor

from simsearch.synthetic.batch import Marks


def _folded(xy: Tensor, repeats: Tensor) -> Tensor:
    """Points ``[B, N, 2]`` folded for each layer: ``[B, L, N, 2]``."""
    times, mirror = repeats[:, :, 0, None], repeats[:, :, 1, None]
    centre = repeats[:, :, None, 2:]
    q = xy[:, None] - centre
    radius = torch.sqrt((q * q).sum(-1) + 1e-12)
    angle = torch.atan2(q[..., 0], q[..., 1])  # from +y, so that mirrors fold left on right
    sector = 6.2831853 / times
    turned = angle - sector * torch.round(angle / sector)
    turned = torch.where(mirror > 0, turned.abs(), turned)
    turned = torch.where((times > 1) | (mirror > 0), turned, angle)
    folded = torch.stack([radius * torch.sin(turned), radius * torch.cos(turned)], -1)
    return folded + centre


def relief(marks: Marks, soft: Tensor, xy: Tensor) -> tuple[Tensor, Tensor]:
    """Height ``[B, N]`` in unit coordinates and enamel cover ``[B, 2, N]`` at ``xy [B, N, 2]``.

    ``soft [B]`` is the least width over which an edge rises: wear and the pixel size.
    """
    q = _folded(xy, marks.repeats)[:, :, None]  # B L 1 N 2
    s = marks.strokes[..., None, :]  # B L S 1 9
    ab = s[..., 2:4] - s[..., 0:2]
    aq = q - s[..., 0:2]
    along = ((aq * ab).sum(-1) / ((ab * ab).sum(-1) + 1e-9)).clamp(0, 1)
    off = torch.sqrt(((aq - along[..., None] * ab) ** 2).sum(-1) + 1e-12)
    radius = s[..., 7]
    off = torch.where(radius > 0, (off - radius).abs(), off)
    width = s[..., 4] + (s[..., 5] - s[..., 4]) * along
    edge = width - off
    rise = torch.maximum(0.5 * width, soft[:, None, None, None])
    shape = (edge / rise + 0.5).clamp(0, 1)
    shape = shape * shape * (3 - 2 * shape)
    height = s[..., 6]
    up = (height.clamp_min(0) * shape).amax((1, 2))
    down = (height.clamp_max(0) * shape).amin((1, 2))
    crisp = (edge / soft[:, None, None, None] + 0.5).clamp(0, 1)
    cover = torch.stack(
        [torch.where(s[..., 8] == c, crisp, 0.0).amax((1, 2)) for c in (1.0, 2.0)], 1
    )
    return up + down, cover
