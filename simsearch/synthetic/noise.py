"""Random fields for soil, patina and backgrounds, on any device from a generator."""

from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import Tensor


def rand(shape: tuple[int, ...], g: torch.Generator, low: float = 0.0, high: float = 1.0) -> Tensor:
    """Uniform numbers on the generator's device."""
    return torch.rand(shape, generator=g, device=g.device) * (high - low) + low


def chance(count: int, p: float, g: torch.Generator) -> Tensor:
    """``count`` booleans, true with probability ``p``."""
    return torch.rand(count, generator=g, device=g.device) < p


def cloud(
    count: int, channels: int, size: int, cells: tuple[int, ...], g: torch.Generator
) -> Tensor:
    """Smooth noise ``[count, channels, size, size]``, mean 0, about unit spread.

    ``cells`` are the numbers of cells across, one octave each, halving in strength.
    """
    total = torch.zeros(count, channels, size, size, device=g.device)
    weight, power = 1.0, 0.0
    for n in cells:
        n = min(n, size)
        grid = torch.randn((count, channels, n, n), generator=g, device=g.device)
        total += weight * F.interpolate(grid, size=(size, size), mode="bicubic")
        power += weight**2
        weight *= 0.6
    return total / power**0.5


def sample_planes(planes: Tensor, point: Tensor, stretch: Tensor, shift: Tensor) -> Tensor:
    """A field fixed to the object: ``planes [K, C, R, R]`` read at surface points.

    ``point [B, S, S, 3]`` unit coordinates; each object reads one plane by (x + z, y - z/2),
    stretched by ``stretch [B]`` and moved by ``shift [B, 2]``. Returns ``[B, C, S, S]``.
    """
    pick = (shift[:, 0].abs() * 1e4).long() % len(planes)
    x = point[..., 0] + 0.7 * point[..., 2]
    y = point[..., 1] - 0.5 * point[..., 2]
    grid = torch.stack([x, y], -1) * stretch[:, None, None, None] + shift[:, None, None]
    grid = (grid + 1).remainder(4.0)  # reflect so that the field has no seams
    grid = torch.where(grid > 2, 4 - grid, grid) - 1
    return F.grid_sample(planes[pick], grid, align_corners=False, padding_mode="reflection")


def blur(image: Tensor, radius: float) -> Tensor:
    """Gaussian blur of ``[B, C, S, S]`` with a standard deviation of ``radius`` pixels."""
    if radius < 0.15:
        return image
    reach = max(1, int(2.5 * radius + 0.5))
    x = torch.arange(-reach, reach + 1, device=image.device, dtype=image.dtype)
    kernel = torch.exp(-(x**2) / (2 * radius**2))
    kernel = kernel / kernel.sum()
    channels = image.shape[1]
    across = kernel.view(1, 1, 1, -1).expand(channels, 1, 1, -1)
    down = kernel.view(1, 1, -1, 1).expand(channels, 1, -1, 1)
    image = F.conv2d(F.pad(image, (reach, reach, 0, 0), "replicate"), across, groups=channels)
    return F.conv2d(F.pad(image, (0, 0, reach, reach), "replicate"), down, groups=channels)
