"""Where an object breaks: through thin sections, across the object as it is seen.

Several breaks are tried on a coarse trace of the whole object. For each it is measured how long
the section across the visible object would be and whether what is left holds together; short
sections are taken more often, since metal breaks where there is little of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import torch
import torch.nn.functional as F
from torch import Tensor

from simsearch.synthetic.batch import Batch
from simsearch.synthetic.distance import FAR, Damage, lumps
from simsearch.synthetic.noise import chance, rand
from simsearch.synthetic.pieces import biggest
from simsearch.synthetic.trace import Camera, Hits, left_after_breaks, pixels

#: Breaks tried for each picture, and how many of them are followed up.
TRIED, FOLLOWED = 12, 6
#: Chance that a broken object is broken at both ends.
BOTH_ENDS = 0.25
#: How far from the wished share a break may leave, to run through a thinner section.
_LEEWAY = 0.04
#: A share from here on is not a break.
_WHOLE = 0.999
#: Preference for short sections: their length against the mean of those tried counts so often.
_THIN = 4.0


@dataclass
class _Plans:
    """Breaks tried: ``normal [B, 2, K, 3]``; ``along [B, 2, K, N]`` how far each pixel's point
    lies in its direction, unevenness included; ``offset [B, 2, K]``."""

    normal: Tensor
    along: Tensor
    offset: Tensor


def broken(
    batch: Batch,
    damage: Damage,
    camera: Camera,
    hits: Hits,
    kept: tuple[float, float],
    g: torch.Generator,
) -> tuple[Damage, Tensor, Tensor]:
    """Break the objects of ``hits`` (whole, one piece each) so that a share in ``kept`` is left.

    Returns the damage with its breaks, the mask ``[B, S, S]`` of the piece that is left and the
    share ``[B]`` of the visible area that this is. Nothing breaks where the share drawn is 1.
    """
    count = len(batch)
    if kept[0] >= 1:
        return damage, hits.hit, torch.ones(count, device=g.device)
    wish = rand((count,), g, *kept)
    damage = replace(damage, rough=0.05 * rand((count,), g) ** 1.5)
    plans = _plans(damage, camera, hits, wish, g)
    chosen = _chosen(plans, camera, hits, wish, g)
    row = torch.arange(count, device=g.device)
    offset = plans.offset[row, :, chosen]
    offset = torch.where((wish < _WHOLE)[:, None], offset, FAR)
    damage = replace(damage, normal=plans.normal[row, :, chosen].contiguous(), offset=offset)
    left, sure = left_after_breaks(batch, damage, camera, hits)
    piece, _ = biggest(left, left.float())
    before = (hits.sure & hits.hit).sum((1, 2)).clamp_min(1)
    return damage, piece, (sure & piece).sum((1, 2)) / before


def _plans(damage: Damage, camera: Camera, hits: Hits, wish: Tensor, g: torch.Generator) -> _Plans:
    count = len(wish)
    point = hits.point.reshape(count, -1, 3)
    on = hits.hit.reshape(count, 1, -1)
    normal = _normals(camera, hits, g)
    along = torch.bmm(normal.flatten(1, 2), point.transpose(1, 2))
    along = along + (damage.rough[:, None] * lumps(point, damage.phase))[:, None]
    along = along.masked_fill(~on, 2 * FAR)  # farther than a break that is not there
    share = (wish[:, None] + rand((count, TRIED), g, -_LEEWAY, _LEEWAY)).clamp(0.05, 0.985)
    both = rand(share.shape, g) < BOTH_ENDS
    part = torch.where(both, rand(share.shape, g, 0.3, 0.7), 1.0)
    shares = torch.cat([1 - (1 - share) * part, 1 - (1 - share) * (1 - part)], 1)
    offset = _offsets(along, shares * on.sum(-1))
    offset = torch.where(shares < 1, offset, FAR)
    return _Plans(normal, along.unflatten(1, (2, TRIED)), offset.unflatten(1, (2, TRIED)))


def _normals(camera: Camera, hits: Hits, g: torch.Generator) -> Tensor:
    """Directions ``[B, 2, K, 3]`` in unit coordinates that the breaks face, mostly along the
    object as seen and nearly at right angles to the line of sight; the second ones face the
    other way."""
    count = len(hits.hit)
    angle, length = _lie(camera, hits)
    spread = (0.25 + 1.5 * (1 - length))[:, None]
    turn = torch.randn((count, TRIED), generator=g, device=g.device) * spread
    oblique = rand((count, TRIED), g, -torch.pi / 2, torch.pi / 2)
    turn = torch.where(rand((count, TRIED), g) < 0.25, oblique, turn)
    end = torch.where(chance(count, 0.5, g), 0.0, torch.pi)[:, None]
    first = angle[:, None] + turn + end
    second = first + torch.pi + 0.3 * torch.randn(first.shape, generator=g, device=g.device)
    angles = torch.stack([first, second], 1)
    lean = _lean(hits) * torch.randn(angles.shape, generator=g, device=g.device)
    view = F.normalize(torch.stack([angles.cos(), angles.sin(), lean], -1), dim=-1)
    return torch.einsum("bjki,bim->bjkm", view, camera.turn)


def _lean(hits: Hits) -> Tensor:
    """How much breaks may lean to the line of sight ``[B, 1, 1]``: a deep object would show its
    broken face, or what lies behind, and more of it be seen than is wished."""
    on = hits.hit.flatten(1)
    depth = hits.depth.flatten(1)
    number = on.sum(1).clamp_min(1)
    mean = (depth * on).sum(1) / number
    spread = (((depth - mean[:, None]) * on).square().sum(1) / number).sqrt()
    return (0.006 / spread.clamp_min(1e-6)).clamp_max(0.15)[:, None, None]


def _lie(camera: Camera, hits: Hits) -> tuple[Tensor, Tensor]:
    """Angle ``[B]`` in which each object lies as seen, and how long it is: 0 round, 1 a line."""
    on = hits.hit.flatten(1)[..., None].float()
    xy, number = pixels(camera, hits.hit.shape[1]), on.sum(1).clamp_min(1)
    off = (xy - ((xy * on).sum(1) / number)[:, None]) * on
    xx, yy = (off * off).sum(1).unbind(-1)
    skew = 2 * (off[..., 0] * off[..., 1]).sum(1)
    length = torch.hypot(xx - yy, skew) / (xx + yy).clamp_min(1e-6)
    return 0.5 * torch.atan2(skew, xx - yy), length


def _offsets(along: Tensor, number: Tensor) -> Tensor:
    """Offsets ``[B, K]`` below which ``number [B, K]`` of the values ``along [B, K, N]`` lie."""
    low = torch.full_like(number, -1.6)
    high = -low
    for _ in range(11):  # to a thousandth of the picture, without sorting
        middle = (low + high) / 2
        few = (along < middle[..., None]).sum(-1) < number
        low, high = torch.where(few, middle, low), torch.where(few, high, middle)
    return (low + high) / 2


def _chosen(plans: _Plans, camera: Camera, hits: Hits, wish: Tensor, g: torch.Generator) -> Tensor:
    """Which of the breaks tried happens ``[B]``: a thin one that leaves one piece."""
    count, size = hits.hit.shape[:2]
    band = (3 * camera.half / size)[:, None, None, None]
    near = (plans.along - plans.offset[..., None]).abs() < band
    section = near.sum(-1).sum(1) / (1 + (plans.offset[:, 1] < FAR))
    liking = -_THIN * section / section.mean(1, keepdim=True).clamp_min(1e-6)
    luck = -torch.log(-torch.log(rand(section.shape, g, 1e-6, 1 - 1e-6)))
    # The highest of liking + luck is a draw with softmin odds, the next one a further draw.
    ranked = (liking + luck).topk(FOLLOWED, 1).indices
    pick = ranked[:, None, :, None]
    along = plans.along.gather(2, pick.expand(-1, 2, -1, size * size))
    offset = plans.offset.gather(2, ranked[:, None].expand(-1, 2, -1))
    kept = (along < offset[..., None]).all(1) & hits.hit.reshape(count, 1, -1)
    cells = F.avg_pool2d(kept.reshape(-1, 1, size, size).float(), 2)[:, 0]
    piece = biggest(cells > 0, 4 * cells, rounds=5)[1].reshape(count, FOLLOWED)
    whole = hits.hit.sum((1, 2)).clamp_min(1)[:, None]
    off = (piece / whole - wish[:, None]).abs()
    holds = (piece >= 0.95 * kept.sum(-1)) & (off < 0.05)
    order = torch.arange(FOLLOWED, device=g.device)
    best = torch.where(holds, -order.float(), -FOLLOWED - 20 * off).argmax(1)
    return ranked.gather(1, best[:, None])[:, 0]
