"""Colours of metals, their patinas, coatings, enamels, soils and corrosion products."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import torch
from torch import Tensor

from simsearch.synthetic.batch import Batch
from simsearch.synthetic.noise import rand

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
#: What shows where a metal is scraped or cleaned, in the order of PATINAS.
BARE = (
    (0.66, 0.50, 0.28), (0.38, 0.36, 0.34), (0.78, 0.77, 0.74), (0.62, 0.62, 0.63),
    (0.80, 0.74, 0.62), (0.80, 0.60, 0.24),
)  # fmt: skip
SOILS = ((0.30, 0.22, 0.15), (0.22, 0.17, 0.12), (0.42, 0.33, 0.23), (0.36, 0.30, 0.24))
ENAMELS = (
    (0.55, 0.10, 0.08), (0.08, 0.16, 0.45), (0.75, 0.72, 0.62), (0.10, 0.32, 0.22),
    (0.68, 0.45, 0.10), (0.30, 0.33, 0.28),
)  # fmt: skip
BLOOMS = ((0.42, 0.62, 0.50), (0.30, 0.20, 0.12), (0.16, 0.13, 0.10))
POWDERS = ((0.45, 0.74, 0.62), (0.55, 0.78, 0.70), (0.36, 0.66, 0.58))
COATS = ((0.62, 0.62, 0.60), (0.70, 0.52, 0.20))
RUST = ((0.42, 0.20, 0.07), (0.32, 0.15, 0.07))
_PAIRS = 6


@dataclass
class Palette:
    """The colours of each picture ``[B, 3, 1, 1]``: two patinas of two tones, and the rest."""

    near: tuple[Tensor, Tensor]
    far: tuple[Tensor, Tensor]
    bare: Tensor
    soil: Tensor
    bloom: Tensor
    powder: Tensor
    rust: Tensor
    enamels: tuple[Tensor, Tensor]
    coat: Tensor


@lru_cache(maxsize=4)
def _patinas(device: torch.device) -> Tensor:
    table = torch.zeros(len(PATINAS), _PAIRS, 2, 3)
    for i, pairs in enumerate(PATINAS.values()):
        for j in range(_PAIRS):
            table[i, j] = torch.tensor(pairs[j % len(pairs)])
    return table.to(device)


def _choose(table: tuple[tuple[float, ...], ...], count: int, g: torch.Generator) -> Tensor:
    colours = torch.tensor(table, device=g.device)
    which = torch.randint(len(table), (count,), generator=g, device=g.device)
    return colours[which][:, :, None, None]


def palette(batch: Batch, g: torch.Generator) -> Palette:
    """Colours for each object of the batch, by its chances of metals and coatings."""
    count, device = len(batch), g.device
    metal = torch.multinomial(batch.metals, 1, generator=g)[:, 0]
    pair = torch.randint(_PAIRS, (2, count), generator=g, device=device)
    two = _patinas(device)[metal[None], pair] * rand((2, count, 1, 3), g, 0.85, 1.18)
    two = (two * rand((1, count, 1, 1), g, 0.6, 1.5))[..., None, None]
    bare = torch.tensor(BARE, device=device)[metal] * rand((count, 1), g, 0.75, 1.15)
    gilt = (rand((count,), g) < batch.coating[:, 1]).long()
    dim = rand((2, count, 1, 1, 1), g, 0.6, 1.1)
    return Palette(
        near=(two[0, :, 0], two[0, :, 1]),
        far=(two[1, :, 0], two[1, :, 1]),
        bare=bare[:, :, None, None],
        soil=_choose(SOILS, count, g),
        bloom=_choose(BLOOMS, count, g),
        powder=_choose(POWDERS, count, g),
        rust=_choose(RUST, count, g),
        enamels=(_choose(ENAMELS, count, g) * dim[0], _choose(ENAMELS, count, g) * dim[1]),
        coat=torch.tensor(COATS, device=device)[gilt][:, :, None, None],
    )
