"""Another object of the same form: every dimension a little different, as hands make it.

Done on packed tensors, so that a form is drawn and packed once for all its specimens.
"""

from __future__ import annotations

from dataclasses import replace

import torch
from torch import Tensor

from simsearch.synthetic.batch import Batch, Marks, Solids

#: How many of a primitive's numbers are free dimensions (the others follow or are shapes).
_FREE = {"rod": 2, "ring": 2, "slab": 3, "drum": 2, "ball": 3}


def jittered(batch: Batch, amount: Tensor, g: torch.Generator) -> Batch:
    """The batch with dimensions off by ``amount [B]`` (a share, one standard deviation).

    Centres and relief move by a little less than an eighth of that share of the form's length.
    """

    def noise(*shape: int) -> Tensor:
        drawn = torch.randn(shape, generator=g, device=g.device).clamp(-2, 2)
        return drawn * amount.reshape(-1, *[1] * (len(shape) - 1))

    solids: dict[str, Solids] = {}
    for kind, s in batch.solids.items():
        count, room = s.here.shape
        size = s.size.clone()
        free = _FREE[kind]
        size[..., :free] *= 1 + noise(count, room, free)
        if kind == "rod":  # a cone steeper than its length has no tangent
            reach = 0.95 * size[..., 2]
            size[..., 1] = torch.minimum(
                torch.maximum(size[..., 1], size[..., 0] - reach), size[..., 0] + reach
            )
        solids[kind] = replace(s, size=size, centre=s.centre + 0.24 * noise(count, room, 3))
    marks = []
    for m in (batch.front, batch.back):
        count, layers, strokes = m.strokes.shape[:3]
        moved = m.strokes.clone()
        shift = 0.16 * noise(count, layers, strokes, 2)
        moved[..., :2] += shift
        moved[..., 2:4] += shift
        moved[..., 7] *= 1 + noise(count, layers, strokes)
        marks.append(Marks(moved, m.repeats))
    return replace(batch, solids=solids, front=marks[0], back=marks[1])
