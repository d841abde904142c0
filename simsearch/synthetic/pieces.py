"""Which pixels of a mask hang together: a fragment on a photo is one piece."""

from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import Tensor


def labels(mask: Tensor, rounds: int = 8) -> Tensor:
    """Labels ``[B, S*S]`` (int64) of the pieces of ``mask [B, S, S]``, 0 where there is none.

    Pixels that touch at a side or a corner hang together. Each round every piece takes the
    highest label that touches it, and labels of labels are followed: the number of pieces falls
    by half or more, so that few rounds do for any shape. Nothing is read back from the device.
    """
    count, rows, cols = mask.shape
    number = rows * cols
    on = mask.reshape(count, number)
    own = torch.arange(1, number + 1, device=mask.device).expand(count, -1)
    label = torch.where(on, own, 0)
    parent = torch.arange(number + 1, device=mask.device).expand(count, -1).contiguous()
    spare = own + number
    for _ in range(rounds):
        shown = label.reshape(count, 1, rows, cols).float()
        near = F.max_pool2d(shown, 3, 1, 1).reshape(count, number).long()
        # Only those with news write; the others write where nobody reads, so that a GPU does
        # not queue up for one address.
        news = on & (near > label)
        heard = torch.cat([parent, torch.zeros_like(spare)], 1).scatter_reduce(
            1, torch.where(news, label, spare), near, "amax"
        )
        parent = heard[:, : number + 1]
        for _ in range(3):
            parent = parent.gather(1, parent)
        label = parent.gather(1, label)
    return label


def biggest(mask: Tensor, weight: Tensor, rounds: int = 8) -> tuple[Tensor, Tensor]:
    """The piece of ``mask [B, S, S]`` with the greatest sum of ``weight [B, S, S]``.

    Returns its mask ``[B, S, S]`` and that sum ``[B]``.
    """
    count = len(mask)
    label = labels(mask, rounds)
    total = torch.zeros(count, label.shape[1] + 1, device=mask.device)
    total.scatter_add_(1, label, (weight * mask).reshape(count, -1).float() + 0.0)
    total[:, 0] = -1
    best, which = total.max(1)
    return (label == which[:, None]).reshape(mask.shape) & mask, best.clamp_min(0)


def one_piece(hit: Tensor, cell: int = 4) -> Tensor:
    """``hit [B, S, S]`` without what does not hang together with its biggest piece.

    Judged in cells of ``cell`` x ``cell`` pixels, so that gaps of a few pixels do not count.
    """
    filled = F.avg_pool2d(hit[:, None].float(), cell)[:, 0]
    piece, _ = biggest(filled > 0, filled)
    return hit & piece.repeat_interleave(cell, 1).repeat_interleave(cell, 2)
