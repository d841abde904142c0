"""Random numbers and fields for soil, patina and grounds, on any device from a generator.

All noise of all pictures is read from one periodic atlas: each picture has its own place, turn
and scale in it, so that a field costs one look-up. Blurs are products with band matrices.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

#: Pixels across the atlas, and the cells across of its four fields (broad, broad, fine, fine).
ATLAS = 768
_CELLS = ((18, 40, 84), (18, 40, 84), (160, 320, 640), (160, 320, 640))
#: How many lengths of one the atlas is across at stretch 1.
ACROSS = 7.0


def rand(shape: tuple[int, ...], g: torch.Generator, low: float = 0.0, high: float = 1.0) -> Tensor:
    """Uniform numbers on the generator's device."""
    return torch.rand(shape, generator=g, device=g.device) * (high - low) + low


def draws(count: int, spans: list[tuple[float, float]], g: torch.Generator) -> tuple[Tensor, ...]:
    """One uniform number a picture from each span, each ``[count, 1, 1, 1]``."""
    low, high = torch.tensor(spans, device=g.device).unbind(1)
    made = torch.rand((len(spans), count), generator=g, device=g.device)
    made = made * (high - low)[:, None] + low[:, None]
    return made[:, :, None, None, None].unbind(0)


def chance(count: int, p: float, g: torch.Generator) -> Tensor:
    """``count`` booleans, true with probability ``p``."""
    return torch.rand(count, generator=g, device=g.device) < p


def dice(g: torch.Generator) -> np.random.Generator:
    """Random numbers on the CPU, for choices that decide how much work there is."""
    return np.random.default_rng(
        int(torch.randint(2**31, (1,), generator=g, device=g.device).item())
    )


@lru_cache(maxsize=4)
def atlas(device: torch.device) -> Tensor:
    """Four periodic fields ``[1, 4, ATLAS, ATLAS]``, mean 0 and unit spread."""
    g = torch.Generator().manual_seed(1)
    high = torch.fft.fftfreq(ATLAS)[:, None].abs() * ATLAS
    wide = torch.fft.rfftfreq(ATLAS)[None] * ATLAS
    way = torch.sqrt(high**2 + wide**2)
    fields = []
    for cells in _CELLS:
        power = sum(0.6 ** (2 * i) / n**2 * (way <= n / 2) for i, n in enumerate(cells))
        wave = torch.fft.rfft2(torch.randn(ATLAS, ATLAS, generator=g))
        wave = wave * torch.as_tensor(power).sqrt() * (way > 2)
        field = torch.fft.irfft2(wave, s=(ATLAS, ATLAS))
        fields.append(field / field.std())
    return torch.stack(fields)[None].to(device)


def read(x: Tensor, y: Tensor, stretch: Tensor, shift: Tensor, fields: slice) -> Tensor:
    """Fields of the atlas at coordinates ``x, y [B, H, W]``: ``[C, B, H, W]``.

    ``stretch [B]`` scales the coordinates and ``shift [B, 2]``, in -1..1, is where in the atlas
    the origin lies.
    """
    spread = (stretch * (2 / ACROSS))[:, None, None]
    u = x * spread + shift[:, 0, None, None]
    v = y * spread + shift[:, 1, None, None]
    grid = torch.stack([u, v], -1)
    grid = (grid + 1).remainder(2.0) - 1
    flat = grid.reshape(1, -1, x.shape[-1], 2)
    found = F.grid_sample(
        atlas(x.device)[:, fields], flat, align_corners=False, padding_mode="border"
    )
    return found[0].reshape(-1, *x.shape)


def cloud(x: Tensor, y: Tensor, g: torch.Generator, fields: slice = slice(0, 4)) -> Tensor:
    """Fields at ``x, y [B, H, W]``, another place, turn and scale for each picture."""
    count = len(x)
    turn, stretch = rand((count, 1, 1), g, 0, 6.2831853), rand((count,), g, 0.75, 1.35)
    c, s = turn.cos(), turn.sin()
    return read(x * c - y * s, x * s + y * c, stretch, rand((count, 2), g, -1, 1), fields)


def bands(size: int, radius: Tensor, shift: Tensor | None = None) -> Tensor:
    """Blur along a line of ``size`` pixels as matrices ``[B, size, size]``.

    ``radius [B]`` standard deviations and ``shift [B]`` in pixels; beyond the ends the picture
    is taken to go on as at its edge.
    """
    line = torch.arange(size, device=radius.device, dtype=torch.float32)
    away = line[None, :, None] - line[None, None, :]
    if shift is not None:
        away = away - shift[:, None, None]
    weight = torch.exp(-0.5 * (away / radius[:, None, None].clamp_min(0.2)) ** 2)
    return weight / weight.sum(2, keepdim=True).clamp_min(1e-6)


@lru_cache(maxsize=64)
def _blurring(size: int, radius: float, device: torch.device) -> Tensor:
    """One blur matrix ``[size, size]``, the same as :func:`bands`."""
    return bands(size, torch.tensor([radius]))[0].to(device)


def blur(image: Tensor, radius: float) -> Tensor:
    """Gaussian blur of ``[B, C, S, S]`` with a standard deviation of ``radius`` pixels.

    Wide blurs are made on a smaller picture, where nothing is lost by it.
    """
    if radius < 0.15:
        return image
    size = image.shape[-1]
    step = 4 if radius >= 3.5 else 2 if radius >= 1.8 else 1
    if step > 1 and size % step == 0 and size >= 8 * step:
        small = F.avg_pool2d(image, step)
        # Pooling and enlarging blur too; what they add is taken off.
        left = max(0.3, (radius / step) ** 2 - 1 / 12 - 1 / 6) ** 0.5
        return F.interpolate(_blurred(small, left), scale_factor=step, mode="bilinear")
    return _blurred(image, radius)


def _blurred(image: Tensor, radius: float) -> Tensor:
    band = _blurring(image.shape[-1], round(radius, 4), image.device).to(image.dtype)
    return torch.matmul(band, torch.matmul(image, band.T))
