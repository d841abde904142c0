"""What the encoder is trained to do, as three losses.

``vector_loss``: supervised contrastive loss (Khosla et al. 2020, arXiv 2004.11362) in which two
pictures of one form attract each other unless they show different sides of it: such pairs are
left out, since a back need not look like a front.
``patch_loss``: the same idea for patches (InfoNCE): patches that show the same point of the
object attract; the renderer knows which ones those are.
``mask_loss``: cross-entropy of the object's mask.
"""

from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import Tensor


def vector_loss(vectors: Tensor, form: Tensor, view: Tensor, temperature: float = 0.07) -> Tensor:
    """Mean over anchors that have a positive, 0 without any. ``vectors [N, D]`` of unit length;
    ``form [N]`` and ``view [N]`` integers."""
    same = form[:, None] == form[None]
    compatible = view[:, None] == view[None]
    itself = torch.eye(len(form), dtype=torch.bool, device=form.device)
    positive = same & compatible & ~itself
    left_out = (same & ~compatible) | itself
    logits = (vectors @ vectors.T / temperature).masked_fill(left_out, -torch.inf)
    log_share = logits - logits.logsumexp(1, keepdim=True)
    count = positive.sum(1)
    per_anchor = -log_share.masked_fill(~positive, 0).sum(1) / count.clamp_min(1)
    return per_anchor.sum() / (count > 0).sum().clamp_min(1)


def patch_loss(
    a: Tensor, b: Tensor, point_a: Tensor, point_b: Tensor, on_a: Tensor, on_b: Tensor,
    reach: Tensor, temperature: float = 0.07,
) -> Tensor:  # fmt: skip
    """From the patches ``a [B, P, D]`` to those of another picture ``b`` of the same objects.

    ``point_*`` surface points ``[B, P, 3]``, ``on_*`` patches on the object ``[B, P]``,
    ``reach [B]`` the distance up to which two points count as the same place. The patches of
    the next object in the batch and the background of ``b`` serve as further negatives.
    """
    apart = torch.cdist(point_a, point_b)
    near = (apart < reach[:, None, None]) & on_a[:, :, None] & on_b[:, None, :]
    weight = torch.exp(-((apart / reach[:, None, None]) ** 2) * 2) * near
    total = weight.sum(2)
    others = b.roll(1, 0)
    logits = torch.cat([a @ b.transpose(1, 2), a @ others.transpose(1, 2)], 2) / temperature
    log_share = logits.log_softmax(2)[:, :, : b.shape[1]]
    found = total > 0
    loss = -(log_share * weight).sum(2) / total.clamp_min(1e-6)
    return (loss * found).sum() / found.sum().clamp_min(1)


def mask_loss(logit: Tensor, mask: Tensor) -> Tensor:
    """``logit [B, H, W]`` against whether each cell is of the object ``[B, H, W]``."""
    return F.binary_cross_entropy_with_logits(logit.float(), mask.float())
