"""The signed distance of a batch of forms, as tensor arithmetic that runs on CPU or GPU.

The distance functions of the single solids are the well-known closed forms of computer graphics
(round cone, capped torus, trapezoid prism, ellipsoid by its gradient). Flattened sections scale
space along one axis and shrink the result by the same factor, which keeps it a lower bound; as
that bound is slow to march along, the distance from the round solid around it is used where it
is larger.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

from simsearch.synthetic.batch import Solids
from simsearch.synthetic.bend import bound, straight, straightened

FAR = 4.0
#: About how steep ``lumps`` are: an uneven break is less far than its plane says.
STEEP = 10.0


@dataclass
class Damage:
    """What happened to each form ``[B, ...]``, in unit coordinates.

    ``normal``, ``offset``: up to two break planes, kept where ``normal . p < offset``;
    ``rough`` how uneven the break is; ``lump`` amplitude of corrosion lumps; ``phase`` seeds
    both patterns ``[B, 3]``; ``bend [B, 9]`` how it is bent, see ``bend``. All but the bend is
    in the coordinates of the straight form.
    """

    normal: Tensor
    offset: Tensor
    rough: Tensor
    lump: Tensor
    phase: Tensor
    bend: Tensor

    @staticmethod
    def none(count: int, device: torch.device | str = "cpu") -> Damage:
        """Nothing broken, nothing corroded."""
        zero = torch.zeros(count, device=device)
        return Damage(
            torch.zeros(count, 2, 3, device=device),
            torch.full((count, 2), FAR, device=device),
            zero,
            zero,
            torch.zeros(count, 3, device=device),
            straight(count, device),
        )


def _local(solids: Solids, p: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Points ``[B, N, 3]`` in the frame of each solid: three tensors ``[B, P, N]``."""
    d = p[:, None] - solids.centre[:, :, None]
    f = solids.frame[:, :, None]
    x = (d * f[..., 0]).sum(-1)
    y = (d * f[..., 1]).sum(-1)
    z = (d * f[..., 2]).sum(-1)
    return x, y, z


def _column(solids: Solids, i: int) -> Tensor:
    return solids.size[:, :, i, None]


def _trapezoid(x: Tensor, y: Tensor, low: Tensor, high: Tensor, half: Tensor) -> Tensor:
    """Signed distance to a trapezoid: half widths ``low`` at y = -half and ``high`` at +half."""
    x = x.abs()
    ax = (x - torch.minimum(x, torch.where(y < 0, low, high))).clamp_min(0)
    ay = y.abs() - half
    kx, ky = high - low, 2 * half
    along = ((high - x) * kx + (half - y) * ky) / (kx * kx + ky * ky)
    along = along.clamp(0, 1)
    bx, by = x - high + kx * along, y - half + ky * along
    inside = (bx < 0) & (ay < 0)
    nearest = torch.minimum(ax * ax + ay * ay, bx * bx + by * by)
    d = torch.sqrt(nearest + 1e-12)
    return torch.where(inside, -d, d)


def rod(solids: Solids, p: Tensor) -> Tensor:
    """Round cones ``[B, P, N]``."""
    x, y, z = _local(solids, p)
    r1, r2, length, flat = (_column(solids, i) for i in range(4))
    height, pitch = _column(solids, 4), _column(solids, 5)
    beyond = y - torch.minimum(y.clamp_min(0), length)
    thickest = torch.maximum(r1, r2) * flat.clamp_min(1) + height * flat.clamp_min(1)
    around = torch.sqrt(x * x + z * z + beyond * beyond + 1e-12) - thickest
    z = z / flat
    rho = torch.sqrt(x * x + z * z + 1e-12)
    b = (r1 - r2) / length
    a = torch.sqrt((1 - b * b).clamp_min(1e-6))
    low = torch.sqrt(rho * rho + y * y) - r1
    high = torch.sqrt(rho * rho + (y - length) ** 2) - r2
    side = rho * a + y * b - r1
    k = a * y - b * rho
    d = torch.where(k < 0, low, torch.where(k > a * length, high, side))
    ridge = height * torch.cos(6.2831853 * y * pitch)
    steep = 6.2831853 * height * pitch  # of the ridges' sides, at right angles to the rod's own
    shrink = 0.95 * flat.clamp_max(1) / torch.sqrt(1 + steep * steep)
    return torch.maximum((d - ridge) * shrink, around)


def ring(solids: Solids, p: Tensor) -> Tensor:
    """Tori and arcs ``[B, P, N]``."""
    x, y, z = _local(solids, p)
    big, small, sin, cos, flat = (_column(solids, i) for i in range(5))
    x = x.abs()
    on_arc = torch.where(cos * x > sin * y, x * sin + y * cos, torch.sqrt(x * x + y * y + 1e-12))
    in_plane = x * x + y * y + big * big - 2 * big * on_arc
    d = torch.sqrt((in_plane + (z / flat) ** 2).clamp_min(1e-12)) - small
    around = torch.sqrt((in_plane + z * z).clamp_min(1e-12)) - small * flat.clamp_min(1)
    return torch.maximum(d * flat.clamp_max(1), around)


def slab(solids: Solids, p: Tensor) -> Tensor:
    """Trapezoid plates ``[B, P, N]``."""
    x, y, z = _local(solids, p)
    low, high, half, depth, edge = (_column(solids, i) for i in range(5))
    flat = _trapezoid(x, y, low, high, half)
    over = z.abs() - depth
    outside = torch.sqrt(flat.clamp_min(0) ** 2 + over.clamp_min(0) ** 2 + 1e-12)
    return torch.maximum(flat, over).clamp_max(0) + outside - edge


def drum(solids: Solids, p: Tensor) -> Tensor:
    """Discs and truncated cones ``[B, P, N]``."""
    x, y, z = _local(solids, p)
    low, high, half, edge = (_column(solids, i) for i in range(4))
    rho = torch.sqrt(x * x + y * y + 1e-12)
    return _trapezoid(rho, z, low, high, half) - edge


def ball(solids: Solids, p: Tensor) -> Tensor:
    """Ellipsoids ``[B, P, N]``, a bound by the gradient of the implicit form."""
    x, y, z = _local(solids, p)
    rx, ry, rz = (_column(solids, i) for i in range(3))
    k0 = torch.sqrt((x / rx) ** 2 + (y / ry) ** 2 + (z / rz) ** 2 + 1e-12)
    k1 = torch.sqrt((x / rx**2) ** 2 + (y / ry**2) ** 2 + (z / rz**2) ** 2 + 1e-12)
    around = torch.sqrt(x * x + y * y + z * z + 1e-12)
    biggest = torch.maximum(torch.maximum(rx, ry), rz)
    return torch.maximum(k0 * (k0 - 1) / k1, around - biggest)


OF_KIND = {"rod": rod, "ring": ring, "slab": slab, "drum": drum, "ball": ball}


def lumps(p: Tensor, phase: Tensor) -> Tensor:
    """Smooth unevenness in [-1, 1] ``[B, N]``: two octaves of products of sines."""
    q = p * 9.0 + phase[:, None] * 6.28
    r = p * 23.0 - phase[:, None] * 12.6
    a = torch.sin(q[..., 0] + q[..., 1]) * torch.sin(q[..., 1] - q[..., 2]) * torch.sin(q[..., 2])
    b = torch.sin(r[..., 0]) * torch.sin(r[..., 1] + r[..., 2]) * torch.sin(r[..., 2] - r[..., 0])
    return 0.65 * a + 0.35 * b


def distance(all_solids: dict[str, Solids], damage: Damage, p: Tensor) -> Tensor:
    """Signed distance ``[B, N]`` of points ``p [B, N, 3]`` from the damaged forms."""
    p = straightened(damage.bend, p)
    solid = torch.full_like(p[..., 0], FAR)
    hole = torch.full_like(p[..., 0], FAR)
    for kind, of_kind in OF_KIND.items():
        s = all_solids[kind]
        if s.here.shape[1] == 0:
            continue
        d = of_kind(s, p)
        here = s.here[:, :, None]
        solid = torch.minimum(solid, torch.where(here > 0, d, FAR).amin(1))
        hole = torch.minimum(hole, torch.where(here < 0, d, FAR).amin(1))
    uneven = lumps(p, damage.phase)
    d = torch.maximum(solid, -hole) + damage.lump[:, None] * uneven
    return torch.maximum(d, _beyond(damage, p, uneven)) * bound(damage.bend)[:, None]


def beyond_breaks(damage: Damage, p: Tensor) -> Tensor:
    """How far points of the straight forms ``p [B, N, 3]`` lie beyond the breaks ``[B, N]``."""
    return _beyond(damage, p, lumps(p, damage.phase))


def _beyond(damage: Damage, p: Tensor, uneven: Tensor) -> Tensor:
    planes = torch.bmm(p, damage.normal.transpose(1, 2)) - damage.offset[:, None]
    rough = damage.rough[:, None]
    return (planes.amax(-1) + rough * uneven) / (1 + STEEP * rough)


def nearest_part(all_solids: dict[str, Solids], p: Tensor) -> Tensor:
    """Index of the part ``[B, N]`` whose solid is nearest to each point."""
    best = torch.full_like(p[..., 0], 2 * FAR)
    part = torch.zeros(p.shape[:2], dtype=torch.long, device=p.device)
    for kind, of_kind in OF_KIND.items():
        s = all_solids[kind]
        if s.here.shape[1] == 0:
            continue
        d = torch.where(s.here[:, :, None] > 0, of_kind(s, p), 2 * FAR)
        near, which = d.min(1)
        closer = near < best
        best = torch.where(closer, near, best)
        part = torch.where(closer, s.part.gather(1, which), part)
    return part
