"""Things that lie beside an object in a photo: scale bars, labels, coins, finger tips."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import torch
from torch import Tensor

from simsearch.synthetic.grounds import SKINS, Field, turned
from simsearch.synthetic.noise import cloud, dice, rand

_METALS = ((0.55, 0.54, 0.52), (0.60, 0.45, 0.20), (0.45, 0.28, 0.18), (0.30, 0.28, 0.26))


def _edge(f: Field, low: float, high: float) -> tuple[Tensor, Tensor]:
    """Coordinates around a place ``low`` to ``high`` from the middle, x along the edge."""
    away, along = f.scalars((low, high), (-0.45, 0.45))
    return f.x - along, f.y - away


def scale_bar(f: Field) -> tuple[Tensor, Tensor]:
    """Alternating divisions, black or red and white, or a ruler with ticks."""
    u, v = _edge(f, 0.78, 1.0)
    long, thick, parts = f.scalars((0.3, 0.8), (0.02, 0.06), (3, 9))
    cover = (u.abs() < long) & (v.abs() < thick)
    odd = (u * parts / long).remainder(2.0) < 1
    rows = f.scalars((0, 1))[0] < 0.3
    odd = odd ^ (rows & (v > 0))
    tick = ((u * parts * 4 / long).remainder(1.0) < 0.2) & (v < 0.3 * thick)
    odd = torch.where(f.scalars((0, 1))[0] < 0.25, tick, odd)
    dark = f.colour(((0.04, 0.04, 0.04), (0.03, 0.03, 0.05), (0.6, 0.06, 0.05)))
    light = f.colour(((0.9, 0.9, 0.88), (0.85, 0.8, 0.5)), 0.1)
    return cover, torch.where(odd[:, None], dark, light)


def label(f: Field) -> tuple[Tensor, Tensor]:
    """A slip of paper with lines of writing."""
    u, v = _edge(f, 0.8, 1.05)
    long, tall, lines = f.scalars((0.2, 0.45), (0.08, 0.18), (10, 22))
    cover = (u.abs() < long) & (v.abs() < tall)
    row = (v * lines).floor()
    pen = ((v * lines).remainder(1.0) < 0.45) & (u.abs() < long * 0.85)
    pen = pen & (torch.sin(u * 60 + torch.sin(u * 23 + row * 5) * 2 + row * 7) > 0.1)
    paper = f.colour(((0.9, 0.9, 0.87), (0.85, 0.8, 0.65)), 0.1)
    ink = f.colour(((0.06, 0.06, 0.08), (0.1, 0.12, 0.35)))
    return cover, torch.where(pen[:, None], ink, paper)


def coin(f: Field) -> tuple[Tensor, Tensor]:
    """A coin laid down for size: a disc with a rim and something on it."""
    u, v = _edge(f, 0.9, 1.15)
    size = f.scalars((0.18, 0.32))[0]
    away = (u * u + v * v).sqrt() / size
    rim = torch.exp(-(((away - 0.9) / 0.05) ** 2))
    inner = (f.noise[0] * 1.5).sin() * (away < 0.75)
    light = 0.85 + 0.3 * (v - u) / size * (0.3 + rim) + 0.25 * inner * (f.noise[1] > 0) + 0.3 * rim
    return away < 1, f.colour(_METALS) * light[:, None]


def finger_tip(f: Field) -> tuple[Tensor, Tensor]:
    """A finger that reaches in from the edge, perhaps with its nail."""
    u, v = _edge(f, 0.78, 1.0)
    wide, lean = f.scalars((0.13, 0.24), (-0.6, 0.6))
    u = u - lean * v.clamp_min(0)
    beyond = (-v / (1.2 * wide)).clamp_min(0)
    away = (u / wide) ** 2 + beyond**2
    bulge = (1 - away).clamp_min(0).sqrt()
    skin = f.colour(SKINS, 0.15) * (0.55 + 0.5 * bulge + 0.03 * f.noise[2])[:, None]
    nail = ((u / (0.6 * wide)) ** 2 + ((v - 0.1 * wide) / (0.75 * wide)) ** 2 < 1)[:, None]
    shown = (f.scalars((0, 1))[0] < 0.5)[:, None]
    return away < 1, torch.where(nail & shown, skin * 1.12 + 0.05, skin)


#: What may lie beside the object, and in what share of the pictures.
PROPS: tuple[tuple[Callable[[Field], tuple[Tensor, Tensor]], float], ...] = (
    (scale_bar, 0.2), (label, 0.08), (coin, 0.06), (finger_tip, 0.12),
)  # fmt: skip


def clutter(scene: Tensor, g: torch.Generator, share: float = 0.3) -> Tensor:
    """Scale bars, labels, coins and finger tips near the edges of some pictures.

    ``share`` 0.3 is the usual amount; the odds of each are in proportion.
    """
    count, _, size, _ = scene.shape
    luck = dice(g)
    for draw, odds in PROPS:
        which = np.flatnonzero(luck.random(count) < odds * share / 0.3)
        if not len(which):
            continue
        here = torch.from_numpy(which).to(g.device)
        x, y = turned(len(which), size, g)
        cover, colour = draw(Field(x, y, cloud(x, y, g), g))
        under = scene[here]
        light = rand((len(which), 1, 1, 1), g, 0.7, 1.1)
        over = torch.where(cover[:, None], (colour * light).clamp(0, 1).to(scene.dtype), under)
        scene = scene.index_copy(0, here, over)
    return scene
