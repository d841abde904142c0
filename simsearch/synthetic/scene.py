"""An object put into a photo: ground, shadow, other objects beside it, and the camera."""

from __future__ import annotations

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from simsearch.synthetic.camera import photographed
from simsearch.synthetic.grounds import ground as background
from simsearch.synthetic.kernels import kernel
from simsearch.synthetic.noise import bands, blur, dice, rand
from simsearch.synthetic.props import clutter

__all__ = ["background", "clutter", "compose", "exposed", "photographed", "studio"]


def _shadow(mask: Tensor, g: torch.Generator) -> Tensor:
    """Where light is kept from the ground ``[B, 1, S, S]``: some hard, some soft, any side."""
    count, _, size, _ = mask.shape
    step = 2 if size % 2 == 0 else 1
    small = F.avg_pool2d(mask, step)
    turn, far = rand((count,), g, 0, 6.2831853), rand((count,), g, 0, size / 20) / step
    radius = rand((count,), g, size / 110, size / 24) / step
    across = bands(size // step, radius, far * turn.cos()).to(mask.dtype)[:, None]
    along = bands(size // step, radius, far * turn.sin()).to(mask.dtype)[:, None]
    soft = torch.matmul(along, torch.matmul(small, across.transpose(2, 3)))
    return F.interpolate(soft, size=(size, size), mode="bilinear")


def _laid(scene: Tensor, dark: Tensor, shadow: Tensor, edge: Tensor, picture: Tensor) -> Tensor:
    return torch.lerp(scene * (1 - dark * shadow), picture, edge)


def compose(
    picture: Tensor, hit: Tensor, scene: Tensor, g: torch.Generator, *, others: float = 0.0
) -> Tensor:
    """The object over its ground with a shadow.

    In a share ``others`` of the pictures a smaller object, that of another picture, lies near
    the edge; the object itself lies over it.
    """
    if others > 0:
        scene = _with_others(picture, hit, scene, g, others)
    mask = hit[:, None].to(picture.dtype)
    dark = rand((len(hit), 1, 1, 1), g, 0, 0.8)
    return kernel(_laid)(scene, dark, _shadow(mask, g), blur(mask, 0.6), picture)


def _with_others(
    picture: Tensor, hit: Tensor, scene: Tensor, g: torch.Generator, share: float
) -> Tensor:
    """The scene with a small object from another picture near an edge of some pictures."""
    count, size = hit.shape[:2]
    which = np.flatnonzero(dice(g).random(count) < share)
    if not len(which) or count < 2:
        return scene
    here = torch.from_numpy(which).to(g.device)
    n = len(which)
    source = torch.roll(torch.arange(count, device=g.device), count // 2)[here]
    turn = rand((n,), g, 0, 6.2831853)
    shrunk = rand((n,), g, 0.22, 0.36)
    place = torch.stack([turn.cos(), turn.sin()], 1)
    place = place / place.abs().amax(1, keepdim=True) * rand((n, 1), g, 0.72, 0.95)
    zero = torch.zeros_like(turn)
    affine = torch.stack(
        [torch.stack([1 / shrunk, zero, -place[:, 0] / shrunk], 1),
         torch.stack([zero, 1 / shrunk, -place[:, 1] / shrunk], 1)], 1,
    )  # fmt: skip
    both = torch.cat([picture[source], hit[source][:, None].to(picture.dtype)], 1)
    both = F.avg_pool2d(both, 2)  # so that little is lost between the pixels read
    grid = F.affine_grid(affine, [n, 4, size, size], align_corners=False)
    small = F.grid_sample(both, grid.to(both.dtype), align_corners=False)
    mask = small[:, 3:]
    colour = small[:, :3] / mask.clamp_min(0.05)
    dark = rand((n, 1, 1, 1), g, 0, 0.8)
    return scene.index_copy(0, here, _laid(scene[here], dark, _shadow(mask, g), mask, colour))


def exposed(picture: Tensor, hit: Tensor, g: torch.Generator) -> Tensor:
    """The object exposed as a camera would, somewhere between rather dark and rather bright."""
    on = hit[:, None].to(picture.dtype)
    mean = (picture.mean(1, keepdim=True) * on).sum((2, 3)) / on.sum((2, 3)).clamp_min(1)
    aim = rand((len(picture), 1), g, 0.13, 0.42)
    gain = (aim / mean.clamp_min(0.02)).clamp(0.3, 3.0)
    return picture * gain[:, :, None, None]


def studio(image: Tensor, g: torch.Generator) -> Tensor:
    """A careful photo: even tone, hardly any noise ``[B, 3, S, S]`` in 0..1."""
    noise = torch.randn(image.shape, generator=g, device=g.device) * 0.006
    return (image.clamp(1e-4, 1) ** 0.6 + noise).clamp(0, 1)
