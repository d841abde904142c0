"""What an object may lie on in a photo: the kinds of ground, each made only where it is wanted.

A ground is drawn for some pictures ``n`` at once from coordinates ``x, y [n, S, S]`` (-1..1,
turned at random) and four noise fields ``[4, n, S, S]``; it is ``[n, 3, S, S]``, 0..1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor

from simsearch.synthetic.noise import cloud, dice, draws, rand

SKINS = (
    (0.80, 0.60, 0.50), (0.74, 0.53, 0.42), (0.62, 0.43, 0.32), (0.47, 0.31, 0.22),
    (0.30, 0.19, 0.14), (0.85, 0.68, 0.60),
)  # fmt: skip
_EARTHS = (
    (0.30, 0.22, 0.15), (0.20, 0.15, 0.11), (0.42, 0.33, 0.23), (0.36, 0.30, 0.24),
    (0.52, 0.45, 0.35), (0.24, 0.22, 0.20),
)  # fmt: skip
_WOODS = ((0.55, 0.38, 0.22), (0.68, 0.52, 0.34), (0.34, 0.22, 0.14), (0.48, 0.42, 0.36))


@dataclass
class Field:
    """Where a ground is drawn: coordinates, noise, and the generator for its own numbers."""

    x: Tensor
    y: Tensor
    noise: Tensor
    g: torch.Generator

    def scalars(self, *spans: tuple[float, float]) -> tuple[Tensor, ...]:
        """One random number a picture from each span ``[n, 1, 1]``."""
        return tuple(v[:, 0] for v in draws(len(self.x), list(spans), self.g))

    def colour(self, table: tuple[tuple[float, ...], ...], vary: float = 0.2) -> Tensor:
        """A colour of the table for each picture, a little changed ``[n, 3, 1, 1]``."""
        count, g = len(self.x), self.g
        colours = torch.tensor(table, device=g.device)
        which = torch.randint(len(table), (count,), generator=g, device=g.device)
        light = rand((count, 1), g, 1 - vary, 1 + vary)
        tint = rand((count, 3), g, 1 - vary / 3, 1 + vary / 3)
        return (colours[which] * light * tint)[:, :, None, None]

    def any_colour(self) -> Tensor:
        """Any tone, often tinted ``[n, 3, 1, 1]``."""
        count, g = len(self.x), self.g
        tone = rand((count, 1), g, 0.03, 0.95)
        tint = 1 + rand((count, 3), g, -0.35, 0.35) * rand((count, 1), g)
        return (tone * tint)[:, :, None, None]


def embossed(height: Tensor, strength: Tensor) -> Tensor:
    """Light from the upper left on a height field ``[n, S, S]``, around 0."""
    return (height - torch.roll(height, (1, 1), (-2, -1))) * strength


def stones(f: Field, pitch: Tensor, share: float) -> tuple[Tensor, Tensor, Tensor]:
    """Overlapping round stones or leaves: height 0..1 (0 between them), tone -1..1, and relief.

    ``pitch [n, 1, 1]`` is the number of cells of the jittered grid per unit; ``share`` of the
    cells hold one.
    """
    u, v = f.x * pitch + 40, f.y * pitch + 40
    i, j = u.floor(), v.floor()
    table = torch.rand((4096, 5), generator=f.g, device=f.g.device)
    best = torch.zeros_like(u)
    height, tone = torch.zeros_like(u), torch.zeros_like(u)
    for di in (-1, 0, 1):
        for dj in (-1, 0, 1):
            key = ((i + di) * 61 + (j + dj) * 17).long() % 4096
            px, py, size, first, shade = table[key].unbind(-1)
            a, b = u - (i + di + px), v - (j + dj + py)
            lean = shade * 1.5 - 0.75
            away = a * a + b * b * (1 + lean * lean) + 2 * lean * 0.6 * a * b
            room = 0.12 + 0.6 * size * size
            here = (away < room) & (first > best) & (first > 1 - share)
            best = torch.where(here, first, best)
            height = torch.where(here, (1 - away / room).clamp_min(0).sqrt(), height)
            tone = torch.where(here, shade * 2 - 1, tone)
    return height, tone, best


def _with(colour: Tensor, pattern: Tensor) -> Tensor:
    return colour * (1 + pattern)[:, None]


def plain(f: Field) -> Tensor:
    """Board, card, painted metal."""
    fine, soft = f.scalars((0, 0.03), (0, 0.06))
    return _with(f.any_colour(), fine * f.noise[2] + soft * f.noise[0])


def graded(f: Field) -> Tensor:
    """A sweep of light, or two tones along an edge."""
    lean, edge, sharp = f.scalars((-0.5, 0.5), (-0.8, 0.8), (0.5, 40.0))
    step = torch.sigmoid((f.x - edge) * sharp) - 0.5
    return _with(f.any_colour(), lean * f.x + lean * step + 0.02 * f.noise[2])


def _threads(f: Field, pitch: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Number and place of the threads across and along, drawn out of line a little."""
    bent, pull = f.scalars((0, 0.02), (0, 0.02))
    u = (f.x + bent * f.noise[0]) * pitch
    v = (f.y + pull * f.noise[1]) * pitch
    return u.floor(), v.floor(), u - u.floor(), v - v.floor()


def _cloth(f: Field, twill: bool) -> Tensor:
    pitch, strength, uneven = f.scalars((9, 40), (0.15, 0.55), (0.0, 0.25))
    i, j, u, v = _threads(f, pitch)
    over = ((i + j).remainder(4) < 2) if twill else ((i + j).remainder(2) < 1)
    along, across = torch.where(over, u, v), torch.where(over, v, u)
    round_ = 1 - (2 * along - 1) ** 2
    crown = 1 - 0.5 * (2 * across - 1) ** 2 * (0.4 if twill else 1.0)
    number = torch.where(over, i, j + 0.37)
    thread = torch.sin(number * 12.9898) * 0.6 + torch.sin(number * 4.1414) * 0.4
    two = f.any_colour()
    other = torch.where(over, 1.0, 1 + uneven * 1.5)
    pattern = (round_ * crown - 0.45) * strength + thread * uneven * 0.4 + 0.05 * f.noise[2]
    fold = 0.08 * f.noise[0]
    return _with(two, pattern + fold) * other[:, None]


def woven(f: Field) -> Tensor:
    """Plain weave: over one, under one."""
    return _cloth(f, twill=False)


def twill(f: Field) -> Tensor:
    """Twill: over two, under two, stepping aside."""
    return _cloth(f, twill=True)


def wood(f: Field) -> Tensor:
    """Grain along one direction, flowing around a knot or two."""
    pitch, wave, strength, at_x, at_y, wide = f.scalars(
        (5, 22), (0.02, 0.12), (0.08, 0.35), (-1.2, 1.2), (-1.2, 1.2), (0.05, 0.25)
    )
    knot = torch.exp(-(((f.x - at_x) / wide) ** 2 + ((f.y - at_y) / (2.2 * wide)) ** 2))
    flow = torch.sin(f.y * 1.7 + 30 * at_x) + 0.5 * torch.sin(f.y * 3.9 + 20 * at_y)
    ring = (
        f.x + wave * (flow + 0.12 * f.noise[0]) + 0.9 * wide * knot * torch.sign(f.x - at_x + 1e-4)
    )
    turn = (ring * pitch).remainder(1.0)
    grain = turn * turn * (1 - turn) * 6.0 - 0.5
    pores = torch.sin(f.x * 260 + f.noise[1] * 3) * f.noise[2].clamp(-1, 1) * 0.08
    pattern = strength * grain + pores + 0.04 * f.noise[3] - 0.5 * knot
    return _with(f.colour(_WOODS), pattern)


def soil(f: Field) -> Tensor:
    """Crumbs, hollows and a few stones."""
    rough, dense, damp = f.scalars((0.1, 0.4), (4, 14), (-0.2, 0.2))
    height, tone, _ = stones(f, dense, 0.22)
    crumbs = 0.6 * f.noise[2] + 0.5 * f.noise[3] + 0.6 * f.noise[0]
    lit = embossed(crumbs, rough) + embossed(height, 2.5 * rough) + 0.12 * f.noise[1]
    ground = _with(f.colour(_EARTHS, 0.35), lit - 0.15 * (crumbs < -0.9) + damp * f.noise[0])
    pebble = f.colour(_EARTHS, 0.4) * 1.5
    pebble = _with(pebble, 0.3 * tone + 0.35 * (height - 0.5) + 0.08 * f.noise[2])
    return torch.where((height > 0.02)[:, None], pebble, ground)


def gravel(f: Field) -> Tensor:
    """Overlapping stones or leaves of many tones and some hues."""
    dense, contrast, hue = f.scalars((2.5, 11), (0.2, 0.9), (0.0, 0.5))
    height, tone, best = stones(f, dense, 0.8)
    pattern = contrast * tone * 0.6 + 0.5 * (height - 0.6) + embossed(height, 1.5 + 0 * hue)
    colour = _with(f.colour(_EARTHS, 0.5) * 1.3, pattern + 0.08 * f.noise[2])
    swing = torch.stack([best - 0.6, 0 * best, 0.6 - best], 1) * hue[:, None]
    dark = torch.where(height > 0.02, 1.0, 0.35)[:, None]
    return colour * (1 + swing) * dark


def _line(v: Tensor, pitch: Tensor, thick: Tensor) -> Tensor:
    """Thin lines across ``v``, ``thick`` wide in units, with soft edges."""
    away = ((v * pitch).remainder(1.0) - 0.5).abs() / pitch
    return (1.5 - away / thick).clamp(0, 1)


def squared(f: Field) -> Tensor:
    """Squared or millimetre paper."""
    cell, thick, dark = f.scalars((2.5, 9), (0.004, 0.012), (0.15, 0.7))
    lines = torch.maximum(_line(f.x, cell, thick), _line(f.y, cell, thick))
    small = torch.maximum(_line(f.x, cell * 5, thick * 0.6), _line(f.y, cell * 5, thick * 0.6))
    ink = torch.maximum(lines, 0.4 * small * (cell < 4.5)) * dark
    paper = f.colour(((0.88, 0.88, 0.85), (0.80, 0.78, 0.70), (0.75, 0.82, 0.84)), 0.1)
    paint = f.colour(((0.2, 0.4, 0.65), (0.3, 0.3, 0.3), (0.7, 0.35, 0.25), (0.3, 0.55, 0.35)))
    return _with(paper + (paint - paper) * ink[:, None], 0.03 * f.noise[0])


def ruled(f: Field) -> Tensor:
    """Ruled paper with writing-like dashes on some lines."""
    pitch, thick, dark = f.scalars((4, 10), (0.005, 0.012), (0.2, 0.6))
    lines = _line(f.y, pitch, thick) * dark
    row = (f.y * pitch + 0.5).floor()
    inside = ((f.y * pitch + 0.5).remainder(1.0) - 0.65).abs() < 0.16
    words = inside & (f.noise[0] > 0.5) & (torch.sin(row * 7.3) > 0)
    ink = torch.maximum(lines, words * (f.noise[2] > 0.1) * 0.7)
    paper = f.colour(((0.90, 0.90, 0.86), (0.85, 0.83, 0.74)), 0.1)
    paint = f.colour(((0.2, 0.3, 0.6), (0.25, 0.25, 0.28)))
    return _with(paper + (paint - paper) * ink[:, None], 0.03 * f.noise[1])


def foil(f: Field) -> Tensor:
    """Crumpled foil, plastic bag or film: facets and hard glare."""
    rough, glare, clear = f.scalars((1.0, 4.0), (0.2, 1.0), (0.2, 1.0))
    height = f.noise[0].abs() + 0.6 * f.noise[1].abs() + 0.05 * f.noise[2]
    slope = embossed(height, rough)
    shine = (slope * 2 - 0.35).clamp(0, 1) * glare
    return _with(f.any_colour(), clear * slope)[:, :] + shine[:, None]


def hand(f: Field) -> Tensor:
    """A palm with creases, or fingers side by side over some dark or light depth."""
    fingers = _fingers(f)
    palm = _palm(f)
    mix = rand((len(f.x), 1, 1, 1), f.g) < 0.55
    return torch.where(mix, palm, fingers)


def _skin(f: Field, light: Tensor, red: Tensor) -> Tensor:
    """Skin ``[n, 3, S, S]`` of brightness ``light`` and redness ``red [n, S, S]``."""
    tone = f.colour(SKINS, 0.15)
    blush = torch.tensor([0.05, -0.03, -0.03], device=light.device)[None, :, None, None]
    grain = 0.035 * f.noise[2] + 0.03 * embossed(f.noise[3], 1.0 + 0 * light[:, :1, :1])
    return tone * (light + grain)[:, None] + tone * blush * red.clamp(-1, 2)[:, None]


def _palm(f: Field) -> Tensor:
    size, lean, off, way = f.scalars((1.0, 2.2), (-0.5, 0.5), (-0.4, 0.4), (-0.3, 0.3))
    away = ((f.x - off) / size) ** 2 + ((f.y - way) / (1.25 * size)) ** 2
    bulge = (1.1 - away).clamp(0, 1).sqrt()
    crease = torch.zeros_like(f.x)
    for k in range(4):
        at, bend, thin = f.scalars((-0.7, 0.7), (-0.7, 0.7), (0.008, 0.025))
        line = f.y * (1 - 0.4 * k % 2) - at - bend * f.x * f.x + lean * f.x + 0.02 * f.noise[0]
        crease = torch.maximum(crease, torch.exp(-((line / thin) ** 2)) * (f.x.abs() < 0.9))
    light = 0.66 + 0.38 * bulge - 0.25 * crease + 0.03 * f.noise[0]
    skin = _skin(f, light, 0.7 * f.noise[1] + crease)
    return torch.where((away < 1.1)[:, None], skin, plain(f) * (0.5 + 0.5 * (away > 1.25))[:, None])


def _fingers(f: Field) -> Tensor:
    wide, bent, first = f.scalars((0.38, 0.7), (-0.15, 0.15), (0, 1))
    u = (f.x + bent * f.y * f.y + 0.015 * f.noise[0]) / wide + first
    number = u.floor()
    across = (u - number) * 2 - 1
    tip = 0.75 + 0.5 * torch.sin(number * 5.1 + first * 9)
    beyond = ((f.y - tip) / (0.5 * wide)).clamp_min(0)
    away = across**2 + beyond**2
    bulge = (1.02 - away).clamp(0, 1).sqrt()
    joint = (f.y * 1.6 + 0.3 * torch.sin(number * 3.3) + first).remainder(1.0) - 0.5
    folds = torch.exp(-((joint / 0.02) ** 2)) + 0.6 * torch.exp(-(((joint - 0.06) / 0.015) ** 2))
    light = 0.42 + 0.62 * bulge - 0.22 * folds + 0.03 * f.noise[1]
    return torch.where(
        (away < 1.02)[:, None], _skin(f, light, 0.6 * f.noise[1] + folds), 0.6 * plain(f)
    )


#: The kinds of ground and how often each is seen (finders' photos, from memory).
KINDS: tuple[tuple[Callable[[Field], Tensor], float], ...] = (
    (plain, 0.16), (graded, 0.09), (woven, 0.11), (twill, 0.06), (wood, 0.10), (soil, 0.14),
    (gravel, 0.07), (squared, 0.06), (ruled, 0.03), (foil, 0.05), (hand, 0.13),
)  # fmt: skip


def turned(count: int, size: int, g: torch.Generator) -> tuple[Tensor, Tensor]:
    """Coordinates -1..1 turned by a random angle for each picture ``[B, S, S]``."""
    line = torch.linspace(-1, 1, size, device=g.device)
    y, x = torch.meshgrid(line, line, indexing="ij")
    t = rand((count, 1, 1), g, 0, 6.2831853)
    return x * t.cos() - y * t.sin(), x * t.sin() + y * t.cos()


def ground(count: int, size: int, g: torch.Generator) -> Tensor:
    """Grounds ``[B, 3, S, S]`` in 0..1, each of a random kind and look."""
    odds = np.array([share for _, share in KINDS])
    kinds = dice(g).choice(len(KINDS), count, p=odds / odds.sum())
    order = np.argsort(kinds, kind="stable")
    x, y = turned(count, size, g)
    noise = cloud(x, y, g)
    parts, start = [], 0
    for kind, (draw, _) in enumerate(KINDS):
        stop = start + int((kinds == kind).sum())
        if stop > start:
            here = slice(start, stop)
            parts.append(draw(Field(x[here], y[here], noise[:, here], g)))
        start = stop
    back = torch.from_numpy(np.argsort(order)).to(g.device)
    return torch.cat(parts)[back].clamp_(0, 1)
