"""The face a camera sees: relief, wear, corrosion, soil, patina, enamel, cleaning and light.

The traced surface is a height field in view coordinates. Relief and corrosion are added to that
field, wear smooths it, and the normals of the result are lit. Amounts are drawn per picture from
a generator; the fields that colour the object are fixed to its surface, not to the picture. What
is done pixel by pixel stands in a few functions without loops or look-ups, which
:mod:`simsearch.synthetic.kernels` fuses on a GPU.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

from simsearch.synthetic.batch import Batch, Marks
from simsearch.synthetic.kernels import kernel
from simsearch.synthetic.noise import blur, chance, draws, rand, read
from simsearch.synthetic.palette import palette
from simsearch.synthetic.relief import relief
from simsearch.synthetic.trace import Camera, Hits


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


@dataclass
class Story:
    """What else happened to each object, each ``[B, 1, 1, 1]``: amounts are 0 for most.

    ``eaten`` even pitting as from fertiliser; ``diseased`` spots of powdery chlorides; ``lost``
    inlay fallen out (the higher the less is left); ``cleaned`` how much of the surface is
    cleaned, by region, on what stands high, or in scraped stripes; ``front_at``/``front_way``
    where one patina gives way to another; ``rusty`` an iron stain; ``wet`` wax or water.
    """

    eaten: Tensor
    diseased: Tensor
    lost: Tensor
    cleaned: Tensor
    where: Tensor
    way: Tensor
    turn: Tensor
    front_at: Tensor
    two_toned: Tensor
    rusty: Tensor
    stain_x: Tensor
    stain_y: Tensor
    wet: Tensor
    coat_left: Tensor
    gloss: Tensor
    luck: Tensor


def _story(batch: Batch, wear: Wear, g: torch.Generator) -> Story:
    one = (0.0, 1.0)
    (eaten, diseased, lost, cleaned, where, way, turn, at, toned, rusty, x, y, wet, coat, gloss,
     luck) = draws(
        len(batch),
        [one, one, (-2.2, 1.8), one, (-1.4, 1.2), (0, 3), (0, 6.2832), (-0.5, 0.5), one, one,
         (-0.7, 0.7), (-0.7, 0.7), one, (-1.2, 1.2), (0, 0.25), one], g,
    )  # fmt: skip
    gone = wear.corroded[:, None, None, None]
    coated = luck < batch.coating.sum(1)[:, None, None, None]
    return Story(
        eaten=(eaten < 0.3 * gone) * (0.4 + 2 * eaten),
        diseased=((diseased < 0.35 * gone) * 1.0),
        lost=lost,
        cleaned=((cleaned < 0.24 * gone.clamp_min(0.15)) * (0.4 + 2.2 * cleaned)).clamp(0, 1),
        where=where,
        way=way.floor(),
        turn=turn,
        front_at=at,
        two_toned=(toned < 0.15) * 1.0,
        rusty=(rusty < 0.12) * (0.3 + 5 * rusty) * (0.2 + gone).clamp(0, 1),
        stain_x=x,
        stain_y=y,
        wet=(wet < 0.12) * (0.3 + 5 * wet),
        coat_left=torch.where(coated, coat, -9.0),
        gloss=gloss,
        luck=luck,
    )


def _fields(hits: Hits, g: torch.Generator) -> Tensor:
    """Four noise fields fixed to the objects: two broad, two fine ``[4, B, S, S]``."""
    count = len(hits.hit)
    x = hits.point[..., 0] + 0.7 * hits.point[..., 2]
    y = hits.point[..., 1] - 0.5 * hits.point[..., 2]
    t = rand((count, 1, 1), g, 0, 6.2831853)
    c, s = t.cos(), t.sin()
    shift, near = rand((count, 2), g, -1, 1), rand((count,), g, 0.6, 1.4)
    return read(x * c - y * s, x * s + y * c, near, shift, slice(0, 4))


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


def _shaped(
    worn: Tensor, corroded: Tensor, eaten: Tensor, lost: Tensor, four: Tensor, raised: Tensor,
    cover: Tensor, depth: Tensor,
) -> tuple[Tensor, Tensor, Tensor]:  # fmt: skip
    """Height of the weathered surface, its relief without the form, and the enamel that is left.

    ``four [4, B, 1, S, S]`` are the noise fields, ``cover [B, 2, S, S]`` the enamel as made.
    """
    broad, other, fine, fine2 = four.unbind(0)
    gone = torch.sigmoid(14 * (other + 0.35 * fine + lost)) * cover
    pits = (fine - 1.5 + 0.9 * corroded).clamp_min(0) * corroded * 0.020
    pits = pits + (fine2 - 0.5).clamp_min(0) * eaten * 0.012
    crust = (broad - 0.6).clamp_min(0) * (fine2 * 0.4 + 1).clamp_min(0) * corroded * 0.030
    grain = fine2 * (0.0008 + 0.004 * corroded)
    # Relief under crust is gone; where inlay fell out its bed lies lower.
    low = raised * (1 - 0.75 * worn) * torch.exp(-crust * 55 * corroded) - pits
    low = low - 0.014 * gone.amax(1, keepdim=True)
    return depth + low + crust + grain, low, cover - gone


def _coloured(
    four: Tensor, story: tuple[Tensor, ...], colours: tuple[Tensor, ...], x: Tensor, y: Tensor,
    fill: Tensor, corroded: Tensor, soiled: Tensor, pixel: Tensor, hollow: Tensor,
) -> tuple[Tensor, Tensor]:  # fmt: skip
    """Colour ``[B, 3, S, S]`` and shine ``[B, 1, S, S]`` of the weathered surface."""
    broad, other, fine, fine2 = four.unbind(0)
    (_, diseased, _, cleaned, where, way, turn, front_at, two_toned, rusty, sx, sy, wet, coat_left,
     gloss, _) = story  # fmt: skip
    near, near2, far, far2, bare, soil, bloom, powder, iron, paint, paint2, gilt = colours
    mix = torch.sigmoid(3 * broad + fine)
    ahead = x * turn.cos() + y * turn.sin()
    front = torch.sigmoid(18 * (ahead + 0.22 * other + 0.05 * fine - front_at)) * two_toned
    colour = torch.lerp(torch.lerp(near, near2, mix), torch.lerp(far, far2, mix), front)
    coat = torch.sigmoid(6 * (other + coat_left))
    colour = torch.lerp(colour, gilt, 0.85 * coat)
    colour = torch.lerp(colour, paint, 0.92 * fill[:, :1])
    colour = torch.lerp(colour, paint2, 0.92 * fill[:, 1:])
    rust = torch.sigmoid(5 * (broad - 1.4 + corroded)) * corroded * 0.6
    colour = torch.lerp(colour, bloom, rust)
    deep = hollow / pixel * 1.2
    stripes = torch.sigmoid(5 * (torch.sin(ahead * 23 + 2 * broad) + 0.6 * fine + where))
    high = torch.sigmoid(3 * (where + 0.8 - 2.5 * deep + 0.5 * broad))
    region = torch.sigmoid(9 * (broad + 0.2 * fine + where))
    clean = torch.where(way < 1, region, torch.where(way < 2, high, stripes))
    clean = clean * cleaned * torch.exp(-0.8 * deep) * (1 - fill.amax(1, keepdim=True))
    colour = torch.lerp(colour, bare * (1 + 0.06 * fine2), clean)
    spots = torch.sigmoid(9 * (0.75 * fine + 0.8 * other - 1.7)) * diseased * (1 - 0.7 * clean)
    colour = torch.lerp(colour, powder, 0.85 * spots)
    away = (x - sx) ** 2 + (y - sy) ** 2
    stain = torch.sigmoid(4 * (0.6 * broad + 1 - 11 * away)) * rusty.clamp_max(1)
    colour = torch.lerp(colour, iron * (1 + 0.2 * fine), 0.8 * stain)
    dirt = torch.sigmoid(2 * (deep + other * 0.8 - 1.2)) + torch.sigmoid(
        8 * (other - 2.6 + 1.6 * soiled)
    )
    dirt = (dirt * soiled * (1 - 0.6 * clean)).clamp(0, 1)
    colour = torch.lerp(colour, soil * (1 + 0.15 * fine), dirt)
    colour = colour * (1 - 0.25 * wet.clamp_max(1))
    dull = (1 - dirt) * (1 - spots) * (1 - 0.8 * corroded * (1 - clean))
    shine = (0.05 + 0.5 * coat + 0.45 * clean + gloss) * dull + 0.45 * wet * (1 - 0.5 * dirt)
    return colour.clamp(0.01, 1), shine


def face(batch: Batch, hits: Hits, camera: Camera, wear: Wear, g: torch.Generator) -> Face:
    """The weathered surface of each picture."""
    size = hits.hit.shape[1]
    four = _fields(hits, g)[:, :, None]
    worn, corroded, soiled = (
        w[:, None, None, None] for w in (wear.worn, wear.corroded, wear.soiled)
    )
    story, colours = _story(batch, wear, g), palette(batch, g)
    raised, cover = _faces(batch, hits, camera, wear)
    height, low, fill = kernel(_shaped)(
        worn, corroded, story.eaten, story.lost, four, raised, cover, hits.depth[:, None]
    )
    hollow = _hollow(low, hits.hit)
    pixel = (2 * camera.half / size)[:, None, None, None]
    x, y = (hits.point[..., i][:, None] for i in (0, 1))
    shades = (*colours.near, *colours.far, colours.bare, colours.soil, colours.bloom,
              colours.powder, colours.rust, *colours.enamels, colours.coat)  # fmt: skip
    told = tuple(getattr(story, name) for name in vars(story))
    colour, shine = kernel(_coloured)(
        four, told, shades, x, y, fill, corroded, soiled, pixel, hollow
    )
    return Face(height, colour, shine)


def _around(height: Tensor, inside: Tensor, radius: float) -> Tensor:
    """Mean height of the object around each point."""
    both = blur(torch.cat([height * inside, inside], 1), radius)
    return both[:, :1] / both[:, 1:].clamp_min(0.05)


def _hollow(height: Tensor, hit: Tensor) -> Tensor:
    """How far each point lies below its surroundings on the object."""
    inside = hit[:, None].to(height.dtype)
    return (_around(height, inside, 3.0) - height).clamp_min(0) * inside


def _normals(height: Tensor, hit: Tensor, pixel: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Parts x, y, z of the unit normals, each ``[B, 1, S, S]``; the outline is rounded off."""
    low = torch.where(hit, height, -9.0)
    floor = torch.nn.functional.max_pool2d(low, 3, 1, 1)
    h = torch.where(hit, height, floor.clamp_min(-2.0))
    h = torch.nn.functional.pad(h, (1, 1, 1, 1), "replicate")
    step = 1 / (2 * pixel)
    x = ((h[..., 1:-1, :-2] - h[..., 1:-1, 2:]) * step).clamp(-5, 5)
    y = ((h[..., 2:, 1:-1] - h[..., :-2, 1:-1]) * step).clamp(-5, 5)
    z = torch.rsqrt(x * x + y * y + 1)
    return x * z, y * z, z


def _shone(
    lamps: tuple[Tensor, ...], sky: Tensor, pixel: Tensor, around: Tensor, hit: Tensor,
    colour: Tensor, shine: Tensor, height: Tensor,
) -> Tensor:  # fmt: skip
    """The lit picture; ``lamps`` are (x, y, z, strength) of each lamp, one after the other."""
    x, y, z = _normals(height, hit, pixel)
    shade = torch.exp(-((around - height) / (8 * pixel)).clamp(0, 3))
    diffuse = sky * (0.6 + 0.4 * z) * shade
    gloss = torch.zeros_like(diffuse)
    for i in range(0, len(lamps), 4):
        lx, ly, lz, lamp = lamps[i : i + 4]
        diffuse = diffuse + lamp * (x * lx + y * ly + z * lz).clamp_min(0)
        # The half-way vector between the lamp and the viewer.
        long = torch.rsqrt(lx * lx + ly * ly + (lz + 1) ** 2)
        near = ((x * lx + y * ly + z * (lz + 1)) * long).clamp_min(0)
        near = near * near * near
        near = near * near
        near = near * near
        gloss = gloss + lamp * near * near
    return (colour * diffuse + shine * gloss * 0.7) * 1.3


def _lamps(count: int, g: torch.Generator) -> tuple[tuple[Tensor, ...], Tensor]:
    """Two lamps and the sky: open shade, a lamp, raking light, or a flash beside the lens."""
    turn, lift, strong, turn2, lift2, weak, sky, luck = draws(
        count, [(0, 6.2832), (0.25, 1.3), (0.3, 1.1), (0, 6.2832), (0.25, 1.3), (0.14, 0.5),
                (0.15, 0.6), (0, 1)], g,
    )  # fmt: skip
    raking, flash = luck < 0.14, luck > 0.92
    lift = torch.where(raking, 0.12 + 0.15 * lift, torch.where(flash, 1.45, lift))
    strong = torch.where(raking | flash, 1.0 + 0.3 * strong, strong)
    weak = torch.where(raking | flash, 0.2 * weak, weak)
    sky = torch.where(raking | flash, 0.5 * sky, sky)
    return (
        lift.cos() * turn.cos(), lift.cos() * turn.sin(), lift.sin(), strong,
        lift2.cos() * turn2.cos(), lift2.cos() * turn2.sin(), lift2.sin(), weak,
    ), sky  # fmt: skip


def lit(seen: Face, hits: Hits, camera: Camera, g: torch.Generator) -> Tensor:
    """The object's picture ``[B, 3, S, S]`` under one or two lamps and an open sky."""
    count, size = hits.hit.shape[:2]
    pixel = (2 * camera.half / size)[:, None, None, None]
    lamps, sky = _lamps(count, g)
    hit = hits.hit[:, None]
    around = _around(seen.height, hit.to(seen.height.dtype), 5.0)
    return kernel(_shone)(lamps, sky, pixel, around, hit, seen.colour, seen.shine, seen.height)
