"""The stream of pictures that training drinks from: drawn, rendered, kept a while on a shelf.

Worker processes draw forms and pack them; the GPU renders four pictures of each, in other light,
wear and damage. Rendering takes longer than learning, so each picture is used a few times, each
time turned, scaled and coloured a little otherwise, and among other pictures than before.

Forms come in *units* of four: four sisters of an endless family, or four specimens' worth of
named types. A picture is of one form, which is its label.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor
from torch.utils.data import IterableDataset

from simsearch.synthetic.batch import Batch, pack_arrays, unpack
from simsearch.synthetic.endless import sisters
from simsearch.synthetic.form import Form
from simsearch.synthetic.jitter import jittered
from simsearch.synthetic.noise import chance, rand
from simsearch.synthetic.render import Shot, render
from simsearch.synthetic.typed import typed_form, typed_ids

#: Types whose forms the encoder never sees in training, to measure what it does with new ones.
HELD_OUT = ("knee", "penannular-c", "saucer", "trefoil")
UNIT = 4  # forms in a unit
PICTURES = 4  # of each form: two specimens, two pictures of each
_UNLIKE = 0.04  # how unlike two specimens of an endless form are


@dataclass(frozen=True)
class Supply:
    """What is rendered."""

    units: int = 128  # rendered at a time
    typed: float = 0.25  # share of the units that are of named types
    size: int = 160  # pixels
    chunk: int = 1024  # pictures rendered at once
    shelf: int = 4  # renders kept
    workers: int = 14
    seed: int = 0


class Drawn(IterableDataset[dict[str, Any]]):
    """Packed forms, one item for each time of rendering."""

    def __init__(self, supply: Supply) -> None:
        self.supply = supply
        self.ids = [t for t in typed_ids() if t not in HELD_OUT]

    def __iter__(self) -> Iterator[dict[str, Any]]:
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self.supply.seed, info.id if info else 0])
        while True:
            yield self.draw(rng)

    def draw(self, rng: np.random.Generator) -> dict[str, Any]:
        """``arrays`` of packed forms; ``rows`` says which of them each specimen is; ``label``
        the form of each specimen, named types first: two specimens in a row are of one form."""
        named = round(self.supply.units * self.supply.typed) * UNIT
        endless = self.supply.units * UNIT - named
        which = rng.integers(len(self.ids), size=named)
        forms: list[Form] = [typed_form(self.ids[i], rng) for i in which for _ in range(2)]
        while len(forms) < 2 * named + endless:
            forms += sisters(rng, UNIT)
        rows = np.concatenate([np.arange(2 * named), 2 * named + np.repeat(np.arange(endless), 2)])
        label = np.concatenate([which, len(self.ids) + np.arange(endless)])
        return {
            "arrays": pack_arrays(forms), "rows": rows, "label": label.repeat(2), "named": named,
            "seed": int(rng.integers(2**62)),
        }  # fmt: skip


@dataclass
class Pictures:
    """``picture [N, 3, S, S]`` (uint8 on the shelf, else 0..1), ``label [N]``, ``view [N]``,
    ``half [N]`` half the side of the picture in unit coordinates. ``point [N, R, R, 3]`` surface
    points and ``mask [N, R, R]`` are of the picture as rendered, of which ``affine [N, 2, 3]``
    tells the part that the picture shows. Pictures 2i and 2i + 1 are of one specimen, 4i to
    4i + 3 of one form, 16i to 16i + 15 of one unit."""

    picture: Tensor
    point: Tensor
    mask: Tensor
    label: Tensor
    view: Tensor
    half: Tensor
    affine: Tensor

    def pick(self, rows: Tensor) -> Pictures:
        """The pictures of these rows."""
        return Pictures(**{k: v[rows] for k, v in vars(self).items()})

    def points(self, grid: int) -> tuple[Tensor, Tensor]:
        """Surface point ``[N, G, G, 3]`` at the middle of each of ``grid`` x ``grid`` cells of
        the picture, and whether it is on the object ``[N, G, G]``."""
        size = (len(self.label), 1, grid, grid)
        at = F.affine_grid(self.affine, [*size], align_corners=False)
        side = self.mask.shape[1]
        place = ((at + 1) / 2 * side).floor().long()
        inside = ((place >= 0) & (place < side)).all(-1)
        x, y = place.clamp(0, side - 1).unbind(-1)
        row = torch.arange(len(self.label), device=at.device)[:, None, None]
        return self.point[row, y, x].float(), self.mask[row, y, x] & inside


def training_shot(share: float) -> Shot:
    """What is asked of the pictures when ``share`` of the run has passed: easy at first.

    In the end two in five are whole; the others keep between a third and all of what the camera
    would see.
    """
    hard = min(1.0, 0.2 + share / 0.2)
    return Shot(
        kept=(1 - 0.67 * hard, 1.45), tilt=32 * hard, fill=(0.42, 1.0), weather=hard, losses=hard
    )


def _views(item: dict[str, Any], g: torch.Generator) -> Tensor:
    """A view for each picture; mostly that of the other pictures of its form."""
    forms = len(item["label"]) // 2
    odds = torch.tensor([0.72, 0.14, 0.14], device=g.device)
    usual = torch.multinomial(odds, forms, replacement=True, generator=g)
    usual = usual.repeat_interleave(PICTURES)
    other = torch.multinomial(odds, len(usual), replacement=True, generator=g)
    return torch.where(chance(len(usual), 0.15, g), other, usual)


def _packed(item: dict[str, Any], start: int, stop: int) -> Batch:
    rows = item["rows"][start:stop]
    part = {k: v[rows] for k, v in item["arrays"].items()}
    return unpack(part, [""] * len(rows), [[]] * len(rows))


def rendered(
    item: dict[str, Any], supply: Supply, device: torch.device, share: float = 1.0
) -> Pictures:
    """The pictures of one item of :class:`Drawn`."""
    g = torch.Generator(device=device).manual_seed(item["seed"] % 2**31)
    view, shot, made = _views(item, g), training_shot(share), []
    for i in range(0, len(item["rows"]), supply.chunk // 2):
        batch = _packed(item, i, i + supply.chunk // 2).to(device)
        endless = torch.arange(i, i + len(batch), device=device) >= 2 * item["named"]
        batch = jittered(batch, endless * _UNLIKE, g).repeat(2)
        here = view[2 * i : 2 * i + len(batch)]
        shots = render(batch, shot, supply.size, (item["seed"] + i) % 2**31, view=here, parts=False)
        picture = (shots.picture * 255).round().to(torch.uint8)
        made.append((picture, shots.point.half(), shots.mask, shots.half))
    picture, point, mask, half = (torch.cat(parts) for parts in zip(*made, strict=True))
    label = torch.from_numpy(item["label"]).to(device).repeat_interleave(2)
    straight = torch.eye(2, 3, device=device).expand(len(label), 2, 3)
    return Pictures(picture, point, mask, label, view, half, straight)


class Shelf:
    """The pictures of the last few renders, from which batches are drawn by units."""

    def __init__(self, supply: Supply, named: int) -> None:
        self._supply, self._named = supply, named
        self._kept: list[Pictures] = []
        self._fresh = named

    def put(self, new: Pictures) -> None:
        """Keep the pictures, and forget the oldest; endless forms get labels of their own."""
        endless = new.label >= self._named
        label = torch.where(endless, new.label - self._named + self._fresh, new.label)
        self._fresh += self._supply.units * UNIT
        self._kept = [*self._kept, replace(new, label=label)]
        self._kept = self._kept[-self._supply.shelf :]

    def take(self, units: int, g: torch.Generator, *, alone: bool = False) -> Pictures:
        """The pictures of ``units`` units at random; ``alone``: of one form of each of four
        times as many, as far as there are so many, so that no sisters meet."""
        each = UNIT * PICTURES
        have = len(self._kept) * self._supply.units
        chosen = torch.randperm(have, generator=g, device=g.device)[
            : units * UNIT if alone else units
        ]
        span = PICTURES if alone else each
        rows = (chosen[:, None] * each + torch.arange(span, device=g.device)).flatten()
        which, place = rows // (self._supply.units * each), rows % (self._supply.units * each)
        parts = [k.pick(place[which == i]) for i, k in enumerate(self._kept)]
        return Pictures(**{k: torch.cat([getattr(p, k) for p in parts]) for k in vars(parts[0])})


def varied(some: Pictures, g: torch.Generator) -> Pictures:
    """The pictures turned a little, scaled, shifted and in other colours, with their maps."""
    count = len(some.label)
    quarter = torch.randint(4, (count,), generator=g, device=g.device) * torch.pi / 2
    turn = quarter + rand((count,), g, -0.2, 0.2)
    scale = rand((count,), g, 0.9, 1.2)
    c, s = turn.cos() * scale, turn.sin() * scale
    move = rand((count, 2), g, -0.08, 0.08)
    affine = torch.stack(
        [torch.stack([c, -s, move[:, 0]], 1), torch.stack([s, c, move[:, 1]], 1)], 1
    )
    at = F.affine_grid(affine, [*some.picture.shape], align_corners=False)
    picture = F.grid_sample(
        some.picture.float() / 255, at, padding_mode="reflection", align_corners=False
    )
    gain = rand((count, 1, 1, 1), g, 0.75, 1.3) * rand((count, 3, 1, 1), g, 0.9, 1.1)
    picture = (picture * gain).clamp(1e-3, 1) ** rand((count, 1, 1, 1), g, 0.75, 1.35)
    return replace(some, picture=picture, half=some.half * scale, affine=affine)
