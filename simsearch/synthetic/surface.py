"""The face a camera sees: relief, wear, corrosion, soil, patina, enamel and light.

The traced surface is a height field in view coordinates. Relief and corrosion are added to that
field, wear smooths it, and the normals of the result are lit. Amounts are drawn per picture from
a generator; the fields that colour the object are fixed to its surface, not to the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

from simsearch.synthetic.batch import Batch, Marks
from simsearch.synthetic.kernels import kernel
from simsearch.synthetic.noise import blur, chance, cloud, rand, sample_planes
from simsearch.synthetic.relief import relief
from simsearch.synthetic.trace import Camera, Hits

#: Base colours (linear-ish RGB) a surface of each metal may have, as pairs to mix.
PATINAS = {
    "copper alloy": [
        ((0.20, 0.34, 0.25), (0.36, 0.48, 0.36)), ((0.24, 0.20, 0.13), (0.36, 0.30, 0.20)),
        ((0.12, 0.15, 0.11), (0.25, 0.27, 0.18)), ((0.33, 0.50, 0.44), (0.18, 0.24, 0.18)),
        ((0.38, 0.28, 0.15), (0.55, 0.43, 0.24)), ((0.30, 0.33, 0.30), (0.20, 0.17, 0.13)),
    ],
    "iron": [((0.30, 0.16, 0.08), (0.45, 0.27, 0.15)), ((0.16, 0.11, 0.09), (0.33, 0.20, 0.12))],
    "silver": [((0.55, 0.55, 0.54), (0.30, 0.30, 0.31)), ((0.20, 0.20, 0.22), (0.48, 0.46, 0.43))],
    "lead": [((0.48, 0.48, 0.47), (0.66, 0.65, 0.62)), ((0.32, 0.33, 0.34), (0.50, 0.48, 0.44))],
    "bone": [((0.62, 0.54, 0.40), (0.74, 0.68, 0.55)), ((0.42, 0.33, 0.22), (0.60, 0.50, 0.36))],
    "gold": [((0.72, 0.53, 0.20), (0.60, 0.42, 0.16))],
}  # fmt: skip
_PAIRS = 6
SOILS = ((0.30, 0.22, 0.15), (0.22, 0.17, 0.12), (0.42, 0.33, 0.23), (0.36, 0.30, 0.24))
ENAMELS = (
    (0.55, 0.10, 0.08), (0.08, 0.16, 0.45), (0.75, 0.72, 0.62), (0.10, 0.32, 0.22),
    (0.68, 0.45, 0.10), (0.30, 0.33, 0.28),
)  # fmt: skip


@dataclass
class Wear:
    """How far each picture's surface has gone, 0 none to 1 much, all ``[B]``."""

    worn: Tensor
    corroded: Tensor
    soiled: Tensor

    @staticmethod
    def draw(count: int, g: torch.Generator) -> Wear:
        """A mixture: a third nearly clean, the rest worn or corroded or both."""
        worn = rand((count,), g) ** 1.5
        corroded = rand((count,), g) ** 1.3
        clean = chance(count, 0.3, g).float()
        return Wear(
            worn * (1 - 0.8 * clean), corroded * (1 - 0.85 * clean), rand((count,), g) ** 1.5
        )


@dataclass
class Face:
    """What the camera sees before light: ``height [B, 1, S, S]`` in view units, ``colour
    [B, 3, S, S]``, ``shine [B, 1, S, S]``."""

    height: Tensor
    colour: Tensor
    shine: Tensor


def _fields(hits: Hits, g: torch.Generator) -> Tensor:
    """Four noise fields fixed to the objects: two broad, two fine ``[B, 4, S, S]``."""
    count = len(hits.hit)
    planes = cloud(min(count, 64), 2, 192, (5, 11, 23), g)
    fine = cloud(min(count, 64), 2, 192, (48, 96, 192), g)
    shift = rand((count, 2), g, -1, 1)
    near = rand((count,), g, 0.6, 1.4)
    broad = sample_planes(planes, hits.point, near, shift)
    sharp = sample_planes(fine, hits.point, near, shift.flip(1))
    return torch.cat([broad, sharp], 1)


def _faces(batch: Batch, hits: Hits, camera: Camera, wear: Wear) -> tuple[Tensor, Tensor]:
    """Relief in view depth and enamel cover where the front or the back is seen."""
    count, size = hits.hit.shape[:2]
    xy = hits.point[..., :2].reshape(count, -1, 2)
    soft = camera.half / size * 1.5 + 0.012 * wear.worn
    facing = camera.turn[:, 2, 2]  # view z of the object's own z
    is_front = (facing > 0)[:, None, None]
    marks = Marks(
        torch.where(is_front[..., None], batch.front.strokes, batch.back.strokes),
        torch.where(is_front, batch.front.repeats, batch.back.repeats),
    )
    height, cover = kernel(relief)(marks, soft, xy)
    height = height * facing.abs()[:, None]
    shape = (count, 1, size, size)
    return height.reshape(shape), cover.reshape(count, 2, size, size)


def _choose(table: tuple[tuple[float, ...], ...], count: int, g: torch.Generator) -> Tensor:
    colours = torch.tensor(table, device=g.device)
    which = torch.randint(len(table), (count,), generator=g, device=g.device)
    return colours[which]


def _metal(batch: Batch, mix: Tensor, g: torch.Generator) -> Tensor:
    """Patina ``[B, 3, S, S]`` mixed between two colours of the picture's metal."""
    table = torch.zeros(len(PATINAS), _PAIRS, 2, 3)
    for i, pairs in enumerate(PATINAS.values()):
        for j in range(_PAIRS):
            table[i, j] = torch.tensor(pairs[j % len(pairs)])
    table = table.to(g.device)
    metal = torch.multinomial(batch.metals, 1, generator=g)[:, 0]
    pair = torch.randint(_PAIRS, (len(metal),), generator=g, device=g.device)
    two = table[metal, pair] * rand((len(metal), 1, 3), g, 0.85, 1.18)
    two = two * rand((len(metal), 1, 1), g, 0.6, 1.5)
    a, b = two[:, 0, :, None, None], two[:, 1, :, None, None]
    return a + (b - a) * mix


def _coat(colour: Tensor, batch: Batch, field: Tensor, g: torch.Generator) -> tuple[Tensor, Tensor]:
    """Remains of tinning or gilding over the patina, and where they are."""
    count = len(batch)
    kinds = torch.tensor([[0.62, 0.62, 0.60], [0.70, 0.52, 0.20]], device=g.device)
    which = (rand((count,), g) < batch.coating[:, 1]).long()
    coated = rand((count,), g) < batch.coating.sum(1)
    left = rand((count,), g, -1.2, 1.2)[:, None, None, None]
    where = torch.sigmoid(6 * (field + left)) * coated[:, None, None, None]
    return colour + (kinds[which][:, :, None, None] - colour) * where * 0.85, where


def face(batch: Batch, hits: Hits, camera: Camera, wear: Wear, g: torch.Generator) -> Face:
    """The weathered surface of each picture."""
    count, size = hits.hit.shape[:2]
    four = [_[:, None] for _ in _fields(hits, g).unbind(1)]
    broad, other, fine, fine2 = four
    worn, corroded, soiled = (
        w[:, None, None, None] for w in (wear.worn, wear.corroded, wear.soiled)
    )
    raised, cover = _faces(batch, hits, camera, wear)
    raised = raised * (1 - 0.75 * worn)
    lost = torch.sigmoid(8 * (other + rand((count, 1, 1, 1), g, -2.2, 1.6)))  # inlay fallen out
    pits = (fine - 1.5 + 0.9 * corroded).clamp_min(0) * corroded * 0.020
    crust = (broad - 0.6).clamp_min(0) * (fine2 * 0.4 + 1).clamp_min(0) * corroded * 0.030
    grain = fine2 * (0.0008 + 0.004 * corroded)
    hidden = torch.exp(-crust * 55 * corroded)  # relief under crust is gone
    height = hits.depth[:, None] + raised * hidden - pits + crust + grain
    pixel = 2 * camera.half / size
    hollow = _hollow(raised * hidden - pits, hits.hit)
    colour = _metal(batch, torch.sigmoid(3 * broad + fine), g)
    colour, coat = _coat(colour, batch, other, g)
    for i in range(2):
        fill = cover[:, i : i + 1] * (1 - lost)
        paint = _choose(ENAMELS, count, g)[:, :, None, None] * rand((count, 1, 1, 1), g, 0.6, 1.1)
        colour = colour + (paint - colour) * fill * 0.92
    rust = torch.sigmoid(5 * (broad - 1.4 + corroded))
    bloom = _choose(((0.42, 0.62, 0.50), (0.30, 0.20, 0.12), (0.16, 0.13, 0.10)), count, g)
    colour = colour + (bloom[:, :, None, None] - colour) * rust * corroded * 0.6
    soil = _choose(SOILS, count, g)[:, :, None, None] * (1 + 0.15 * fine)
    dirt = (
        torch.sigmoid((hollow / pixel[:, None, None, None] * 1.2 + other * 0.8 - 1.2) * 2) * soiled
        + torch.sigmoid(8 * (other - 2.6 + 1.6 * soiled)) * soiled
    )
    dirt = dirt.clamp(0, 1)
    colour = colour + (soil - colour) * dirt
    shine = (
        (0.05 + 0.5 * coat + 0.25 * rand((count, 1, 1, 1), g)) * (1 - dirt) * (1 - 0.8 * corroded)
    )
    return Face(height, colour.clamp(0.01, 1), shine)


def _hollow(height: Tensor, hit: Tensor) -> Tensor:
    """How far each point lies below its surroundings on the object."""
    inside = hit[:, None].to(height.dtype)
    around = blur(height * inside, 3.0) / blur(inside, 3.0).clamp_min(0.05)
    return (around - height).clamp_min(0) * inside


def _normals(height: Tensor, hit: Tensor, pixel: Tensor) -> Tensor:
    """Unit normals ``[B, 3, S, S]``; steps at the outline are rounded off."""
    low = height.masked_fill(~hit[:, None], -9.0)
    floor = torch.nn.functional.max_pool2d(low, 3, 1, 1)
    h = torch.where(hit[:, None], height, floor.clamp_min(-2.0))
    right, left = torch.roll(h, -1, 3), torch.roll(h, 1, 3)
    down, up = torch.roll(h, -1, 2), torch.roll(h, 1, 2)
    step = 2 * pixel[:, None, None, None]
    slope_x = ((right - left) / step).clamp(-5, 5)
    slope_y = ((up - down) / step).clamp(-5, 5)
    n = torch.cat([-slope_x, -slope_y, torch.ones_like(h)], 1)
    return n / n.norm(dim=1, keepdim=True)


def lit(seen: Face, hits: Hits, camera: Camera, g: torch.Generator) -> Tensor:
    """The object's picture ``[B, 3, S, S]`` under one or two lamps and an open sky."""
    count, size = hits.hit.shape[:2]
    pixel = 2 * camera.half / size
    n = _normals(seen.height, hits.hit, pixel)
    depth = seen.height
    inside = hits.hit[:, None].to(depth.dtype)
    around = blur(depth * inside, 5.0) / blur(inside, 5.0).clamp_min(0.05)
    shade = torch.exp(-((around - depth) / (8 * pixel[:, None, None, None])).clamp(0, 3))
    sky = rand((count, 1, 1, 1), g, 0.15, 0.6) * (0.6 + 0.4 * n[:, 2:3]) * shade
    total = seen.colour * sky
    for strength in (1.0, 0.45):
        turn = rand((count,), g, 0, 6.2831853)
        lift = rand((count,), g, 0.25, 1.3)
        way = torch.stack([lift.cos() * turn.cos(), lift.cos() * turn.sin(), lift.sin()], 1)
        way = way[:, :, None, None]
        lamp = rand((count, 1, 1, 1), g, 0.3, 1.1) * strength
        diffuse = (n * way).sum(1, keepdim=True).clamp_min(0)
        half = way + torch.tensor([0.0, 0.0, 1.0], device=n.device)[None, :, None, None]
        half = half / half.norm(dim=1, keepdim=True)
        gloss = (n * half).sum(1, keepdim=True).clamp_min(0) ** 24
        total = total + lamp * (seen.colour * diffuse + seen.shine * gloss * 0.7)
    return total * 1.3
