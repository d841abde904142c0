"""What surrounds the object in a photo: background, shadow, scale bar, clutter and the camera."""

from __future__ import annotations

import torch
from torch import Tensor

from simsearch.synthetic.noise import blur, chance, cloud, rand


def _grid(count: int, size: int, g: torch.Generator) -> tuple[Tensor, Tensor]:
    """Coordinates -1..1 turned by a random angle for each picture ``[B, S, S]``."""
    line = torch.linspace(-1, 1, size, device=g.device)
    y, x = torch.meshgrid(line, line, indexing="ij")
    t = rand((count, 1, 1), g, 0, 6.2831853)
    return x * t.cos() - y * t.sin(), x * t.sin() + y * t.cos()


def background(count: int, size: int, g: torch.Generator) -> Tensor:
    """``[B, 3, S, S]``: plain, graded, cloth, wood, soil or squared paper."""
    x, y = _grid(count, size, g)
    soft = cloud(count, 1, size, (3, 6, 12), g)
    rough = cloud(count, 1, size, (24, 64, 160), g)
    pitch = rand((count, 1, 1), g, 20, 110)
    weave = (torch.sin(x * pitch) * torch.sin(y * pitch))[:, None]
    wood = torch.sin((x * 3 + soft[:, 0] * 0.8) * pitch / 4)[:, None]
    cell = rand((count, 1, 1), g, 5, 16)
    paper = -(((x * cell).remainder(1) < 0.07) | ((y * cell).remainder(1) < 0.07)).float()[:, None]
    grade = (x * rand((count, 1, 1), g, -1, 1))[:, None]
    kinds = torch.stack(
        [0 * soft, grade, weave + 0.2 * rough, wood + 0.3 * rough, soft + rough, 2 * paper]
    )
    which = torch.randint(len(kinds), (count,), generator=g, device=g.device)
    pattern = kinds[which, torch.arange(count, device=g.device)]
    tone = rand((count, 1, 1, 1), g, 0.03, 0.95)
    tint = 1 + rand((count, 3, 1, 1), g, -0.3, 0.3) * chance(count, 0.7, g)[:, None, None, None]
    strength = rand((count, 1, 1, 1), g, 0.02, 0.3)
    field = tone * tint * (1 + strength * pattern) + 0.02 * rough * rand((count, 1, 1, 1), g)
    return field.clamp(0, 1)


def _box(x: Tensor, y: Tensor, at: Tensor, half: Tensor) -> Tensor:
    return ((x - at[:, 0, None, None]).abs() < half[:, 0, None, None]) & (
        (y - at[:, 1, None, None]).abs() < half[:, 1, None, None]
    )


def clutter(scene: Tensor, g: torch.Generator, share: float = 0.3) -> Tensor:
    """Scale bars, labels and finger-like shapes near the edges of some pictures."""
    count, _, size, _ = scene.shape
    x, y = _grid(count, size, g)
    at = torch.stack([rand((count,), g, -0.4, 0.4), rand((count,), g, 0.75, 1.0)], 1)
    half = torch.stack([rand((count,), g, 0.3, 0.7), rand((count,), g, 0.02, 0.06)], 1)
    bar = _box(x, y, at, half) & chance(count, share, g)[:, None, None]
    black = (x * rand((count, 1, 1), g, 3, 8)).remainder(1) < 0.5
    scene = torch.where(bar[:, None], torch.where(black, 0.05, 0.92)[:, None], scene)
    spot = torch.stack([rand((count,), g, -1, 1), rand((count,), g, -1.15, -0.9)], 1)
    away = ((x - spot[:, 0, None, None]) ** 2 + 2.5 * (y - spot[:, 1, None, None]) ** 2).sqrt()
    blob = (away < rand((count, 1, 1), g, 0.1, 0.3)) & chance(count, share / 2, g)[:, None, None]
    skin = rand((count, 3, 1, 1), g, 0.2, 0.8) * (1.1 - away[:, None] * 0.8)
    return torch.where(blob[:, None], skin.clamp(0, 1), scene)


def compose(picture: Tensor, hit: Tensor, scene: Tensor, g: torch.Generator) -> Tensor:
    """The object over its background with a soft shadow."""
    count, size = hit.shape[:2]
    mask = hit[:, None].float()
    reach = max(1, size // 24)
    turn = torch.randint(-reach, reach + 1, (2,), generator=g, device=g.device).tolist()
    shadow = blur(torch.roll(mask, turn, (2, 3)), size / 40)
    dark = rand((count, 1, 1, 1), g, 0, 0.75)
    scene = scene * (1 - dark * shadow)
    edge = blur(mask, 0.6)
    return scene * (1 - edge) + picture * edge


def exposed(picture: Tensor, hit: Tensor, g: torch.Generator) -> Tensor:
    """The object exposed as a camera would, somewhere between rather dark and rather bright."""
    on = hit[:, None].float()
    mean = (picture.mean(1, keepdim=True) * on).sum((2, 3)) / on.sum((2, 3)).clamp_min(1)
    aim = rand((len(picture), 1), g, 0.13, 0.42)
    gain = (aim / mean.clamp_min(0.02)).clamp(0.3, 3.0)
    return picture * gain[:, :, None, None]


def studio(image: Tensor, g: torch.Generator) -> Tensor:
    """A careful photo: even tone, hardly any noise ``[B, 3, S, S]`` in 0..1."""
    noise = torch.randn(image.shape, generator=g, device=g.device) * 0.006
    return (image.clamp(1e-4, 1) ** 0.6 + noise).clamp(0, 1)


def photographed(image: Tensor, g: torch.Generator) -> Tensor:
    """Exposure, white balance, blur, noise and tone of a camera ``[B, 3, S, S]`` in 0..1."""
    count = len(image)
    gain = rand((count, 1, 1, 1), g, 0.7, 1.4) * rand((count, 3, 1, 1), g, 0.88, 1.12)
    image = (image * gain).clamp(1e-4, 1.5)
    image = image ** rand((count, 1, 1, 1), g, 0.45, 0.95)
    soft = blur(image, 0.9)
    softer = blur(image, 1.8)
    amount = rand((count, 1, 1, 1), g)
    image = torch.where(amount < 0.35, image, torch.where(amount < 0.8, soft, softer))
    sharpen = rand((count, 1, 1, 1), g, 0, 0.8) * chance(count, 0.4, g)[:, None, None, None]
    image = image + sharpen * (image - soft)
    noise = torch.randn(image.shape, generator=g, device=g.device)
    image = image + noise * rand((count, 1, 1, 1), g, 0, 0.04)
    grey = image.mean(1, keepdim=True)
    drop = chance(count, 0.15, g)[:, None, None, None]
    return torch.where(drop, grey, image).clamp(0, 1)
