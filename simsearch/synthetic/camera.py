"""What a camera and a file format do to a photo: exposure, blur, halo, noise, JPEG blocks.

Pictures are ``[B, 3, S, S]`` in 0..1. Blur, shake and low resolution are matrices that act on the
lines and columns of a picture, so that one product does all three.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from simsearch.synthetic.kernels import kernel
from simsearch.synthetic.noise import bands, blur, chance, dice, draws, rand

#: Quantisation tables of ITU-T T.81 (JPEG), Annex K, tables K.1 and K.2.
LUMA = (
    (16, 11, 10, 16, 24, 40, 51, 61), (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56), (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77), (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101), (72, 92, 95, 98, 112, 100, 103, 99),
)  # fmt: skip
CHROMA = (
    (17, 18, 24, 47, 99, 99, 99, 99), (18, 21, 26, 66, 99, 99, 99, 99),
    (24, 26, 56, 99, 99, 99, 99, 99), (47, 66, 99, 99, 99, 99, 99, 99),
    *((99,) * 8 for _ in range(4)),
)  # fmt: skip


def _some(count: int, share: float, dice_: np.random.Generator, device: torch.device) -> Tensor:
    """Indices of the pictures that something happens to."""
    return torch.from_numpy(np.flatnonzero(dice_.random(count) < share)).to(device)


def _toned(
    gain: Tensor, gamma: Tensor, dark: Tensor, flash: Tensor, side: Tensor, turn: Tensor,
    image: Tensor,
) -> Tensor:  # fmt: skip
    """Exposure, white balance, fall-off to the corners, hot spot, light from one side, tone."""
    size = image.shape[-1]
    line = torch.linspace(-1, 1, size, device=image.device)
    x, y = line[None, None, None, :], line[None, None, :, None]
    away = x * x + y * y
    light = 1 - dark * away + flash * torch.exp(-2.5 * away)
    light = light + side * (x * turn.cos() + y * turn.sin())
    return (image * gain * light.clamp_min(0.1)).clamp(1e-4, 1.4) ** gamma


def _lens(size: int, count: int, g: torch.Generator) -> tuple[Tensor, Tensor]:
    """What softens a picture, as matrices for its lines and columns ``[n, S, S]``."""
    soft = rand((count,), g) ** 2 * 1.1 * size / 160 + 0.3
    shake = rand((count,), g, 0, 2.0 * size / 160) * chance(count, 0.25, g)
    down = chance(count, 0.5, g)
    across, along = (
        bands(size, torch.where(turn, (soft**2 + shake**2).sqrt(), soft)) for turn in (down, ~down)
    )
    small = chance(count, 0.22, g)
    few = torch.where(small, rand((count,), g, 1.4, 2.4), torch.ones_like(soft))
    coarse = _coarse(size, few)
    return coarse @ across, coarse @ along


def _coarse(size: int, factor: Tensor) -> Tensor:
    """Shrinking by ``factor [n]`` and enlarging again, as matrices ``[n, S, S]``."""
    line = torch.arange(size, device=factor.device, dtype=torch.float32)
    f = factor[:, None, None]
    middle = (torch.arange(size, device=factor.device) + 0.5)[None, None, :] * f - 0.5
    # Enlarging is linear between the centres of big pixels; shrinking takes their means.
    up = (1 - (line[None, :, None] - middle).abs() / f).clamp_min(0)
    up = up / up.sum(2, keepdim=True).clamp_min(1e-6)
    down = (f / 2 + 0.5 - (line[None, None, :] - middle.transpose(1, 2)).abs()).clamp(0, 1)
    down = down / down.sum(2, keepdim=True).clamp_min(1e-6)
    return up @ down


def softened(image: Tensor, g: torch.Generator, which: Tensor) -> Tensor:
    """The pictures ``which`` out of focus, shaken or from a smaller original."""
    if not len(which):
        return image
    across, along = _lens(image.shape[-1], len(which), g)
    across, along = across.to(image.dtype)[:, None], along.to(image.dtype)[:, None]
    return image.index_copy(0, which, across @ (image[which] @ along.transpose(2, 3)))


@lru_cache(maxsize=8)
def _cosines(device: torch.device) -> tuple[Tensor, Tensor]:
    """The 8-point cosine transform ``[8, 8]`` and both tables ``[2, 8, 8]``."""
    k = torch.arange(8.0)
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * torch.pi / 16) / 2
    basis[0] /= 2**0.5
    return basis.to(device), torch.tensor([LUMA, CHROMA], dtype=torch.float32).to(device)


def _blocks(plane: Tensor, step: Tensor) -> Tensor:
    """``plane [n, C, H, W]``, sides in eights, with its transform in steps ``[n, 1, 8, 8]``."""
    n, c, h, w = plane.shape
    basis = _cosines(plane.device)[0].to(plane.dtype)
    rows = torch.matmul(plane.reshape(n, -1, 8), basis.T).reshape(n, c * h // 8, 8, w)
    both = torch.matmul(basis, rows)
    step = step.repeat(1, 1, 1, w // 8)
    both = torch.round(both / step) * step
    rows = torch.matmul(basis.T, both).reshape(n, -1, 8)
    return torch.matmul(rows, basis).reshape(n, c, h, w)


def jpeg(image: Tensor, quality: Tensor) -> Tensor:
    """``[n, 3, S, S]`` in 0..1 as after JPEG at ``quality [n]`` (1..100), chroma at half size."""
    size = image.shape[-1]
    more = -size % 16
    if more:
        image = F.pad(image, (0, more, 0, more), "replicate")
    r, g, b = (image * 255).unbind(1)
    luma = 0.299 * r + 0.587 * g + 0.114 * b
    chroma = F.avg_pool2d(torch.stack([(b - luma) * 0.564, (r - luma) * 0.713], 1), 2)
    scale = torch.where(quality < 50, 50 / quality.clamp_min(1), 2 - quality / 50)
    step = (_cosines(image.device)[1][None] * scale[:, None, None, None]).clamp_min(1)
    step = step.to(image.dtype)
    luma = _blocks(luma[:, None] - 128, step[:, :1])[:, 0] + 128
    chroma = F.interpolate(_blocks(chroma, step[:, 1:]), scale_factor=2, mode="bilinear")
    blue, red = chroma.unbind(1)
    r, b = luma + red / 0.713, luma + blue / 0.564
    g = (luma - 0.299 * r - 0.114 * b) / 0.587
    out = torch.stack([r, g, b], 1) / 255
    return out[:, :, :size, :size]


def _finished(grain: Tensor, grey: Tensor, noise: Tensor, image: Tensor) -> Tensor:
    image = image + noise * grain
    return torch.where(grey > 0, image.mean(1, keepdim=True), image).clamp(0, 1)


def photographed(image: Tensor, g: torch.Generator) -> Tensor:
    """A photo of the scene ``[B, 3, S, S]``, as taken and stored by some camera."""
    count, device = len(image), image.device
    luck = dice(g)
    gain, gamma, dark, flash, side, turn, grain, hot, lean = draws(
        count, [(0.7, 1.4), (0.45, 0.95), (-0.25, 0.25), (0.1, 0.8), (0.1, 0.45), (0, 6.2832),
                (0, 0.035), (0, 1), (0, 1)], g,
    )  # fmt: skip
    gain = gain * rand((count, 3, 1, 1), g, 0.88, 1.12)
    warm = rand((count, 1, 1, 1), g, -0.15, 0.15)
    gain = gain * torch.cat([1 + warm, torch.ones_like(warm), 1 - warm], 1)
    light = (dark.clamp_min(0), flash * (hot < 0.12), side * (lean < 0.25), turn)
    image = kernel(_toned)(gain, gamma, *light, image)
    image = softened(image, g, _some(count, 0.65, luck, device))
    sharp = _some(count, 0.35, luck, device)
    if len(sharp):
        soft = image[sharp]
        amount = rand((len(sharp), 1, 1, 1), g, 0.2, 1.3)
        image = image.index_copy(0, sharp, soft + amount * (soft - blur(soft, 1.1)))
    noise = torch.randn(image.shape, generator=g, device=device, dtype=image.dtype)
    grey = chance(count, 0.12, g)[:, None, None, None].to(image.dtype)
    image = kernel(_finished)(grain.to(image.dtype), grey, noise, image)
    stored = _some(count, 0.6, luck, device)
    if len(stored):
        quality = 100 - 78 * rand((len(stored),), g) ** 1.5
        image = image.index_copy(0, stored, jpeg(image[stored], quality).clamp(0, 1))
    return image
