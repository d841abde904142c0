"""Sphere tracing as one GPU kernel: the whole walk of a ray without touching memory.

The same arithmetic as ``distance.distance``, solid by solid, written for Triton. Evaluated as
tensors it moves some gigabytes for every step of a few hundred pictures; here a ray keeps its
numbers in registers and passes over solids that are absent. The eager form is the reference: a
test compares the two.
"""

from __future__ import annotations

import torch
import triton
import triton.language as tl
from torch import Tensor

from simsearch.synthetic.batch import ROOM, Solids
from simsearch.synthetic.bend import bound
from simsearch.synthetic.distance import FAR, STEEP, Damage
from simsearch.synthetic.form import KINDS

_ROW = 20
#: A ray that is this near to the surface (unit coordinates) has arrived.
CLOSE = 1e-5


def table(all_solids: dict[str, Solids]) -> Tensor:
    """All solids in one array ``[B, sum of ROOM, 20]``: centre, frame, size, here, padding."""
    parts = []
    for kind in KINDS:
        s = all_solids[kind]
        count, room = s.here.shape
        rows = [s.centre, s.frame.reshape(count, room, 9), s.size, s.here[..., None]]
        row = torch.cat([*rows, torch.zeros_like(s.here[..., None])], -1)
        short = ROOM[kind] - room
        parts.append(torch.nn.functional.pad(row, (0, 0, 0, short)) if short else row)
    return torch.cat(parts, 1).contiguous()


@triton.jit
def _trapezoid(x, y, low, high, half):
    x = tl.abs(x)
    ax = tl.maximum(x - tl.minimum(x, tl.where(y < 0, low, high)), 0.0)
    ay = tl.abs(y) - half
    kx = high - low
    ky = 2 * half
    along = ((high - x) * kx + (half - y) * ky) / (kx * kx + ky * ky)
    along = tl.minimum(tl.maximum(along, 0.0), 1.0)
    bx = x - high + kx * along
    by = y - half + ky * along
    d = tl.sqrt(tl.minimum(ax * ax + ay * ay, bx * bx + by * by) + 1e-12)
    return tl.where((bx < 0) & (ay < 0), -d, d)


@triton.jit
def _rod(x, y, z, r1, r2, length, flat, height, pitch):
    beyond = y - tl.minimum(tl.maximum(y, 0.0), length)
    wide = tl.maximum(flat, 1.0)
    around = tl.sqrt(x * x + z * z + beyond * beyond + 1e-12)
    around = around - (tl.maximum(r1, r2) + height) * wide
    z = z / flat
    rho = tl.sqrt(x * x + z * z + 1e-12)
    b = (r1 - r2) / length
    a = tl.sqrt(tl.maximum(1 - b * b, 1e-6))
    low = tl.sqrt(rho * rho + y * y) - r1
    high = tl.sqrt(rho * rho + (y - length) * (y - length)) - r2
    side = rho * a + y * b - r1
    k = a * y - b * rho
    d = tl.where(k < 0, low, tl.where(k > a * length, high, side))
    ridge = height * tl.cos(6.2831853 * y * pitch)
    steep = 6.2831853 * height * pitch
    shrink = 0.95 * tl.minimum(flat, 1.0) / tl.sqrt(1 + steep * steep)
    return tl.maximum((d - ridge) * shrink, around)


@triton.jit
def _ring(x, y, z, big, small, s, c, flat):
    x = tl.abs(x)
    on_arc = tl.where(c * x > s * y, x * s + y * c, tl.sqrt(x * x + y * y + 1e-12))
    plane = x * x + y * y + big * big - 2 * big * on_arc
    thin = z / flat
    d = tl.sqrt(tl.maximum(plane + thin * thin, 1e-12)) - small
    around = tl.sqrt(tl.maximum(plane + z * z, 1e-12)) - small * tl.maximum(flat, 1.0)
    return tl.maximum(d * tl.minimum(flat, 1.0), around)


@triton.jit
def _slab(x, y, z, low, high, half, depth, edge):
    flat = _trapezoid(x, y, low, high, half)
    over = tl.abs(z) - depth
    fo = tl.maximum(flat, 0.0)
    oo = tl.maximum(over, 0.0)
    return tl.minimum(tl.maximum(flat, over), 0.0) + tl.sqrt(fo * fo + oo * oo + 1e-12) - edge


@triton.jit
def _ball(x, y, z, rx, ry, rz):
    ux = x / rx
    uy = y / ry
    uz = z / rz
    k0 = tl.sqrt(ux * ux + uy * uy + uz * uz + 1e-12)
    vx = ux / rx
    vy = uy / ry
    vz = uz / rz
    k1 = tl.sqrt(vx * vx + vy * vy + vz * vz + 1e-12)
    around = tl.sqrt(x * x + y * y + z * z + 1e-12)
    return tl.maximum(k0 * (k0 - 1) / k1, around - tl.maximum(tl.maximum(rx, ry), rz))


@triton.jit
def _solid(row, px, py, pz, KIND: tl.constexpr):
    """Distance from the solid whose numbers start at ``row``."""
    dx = px - tl.load(row)
    dy = py - tl.load(row + 1)
    dz = pz - tl.load(row + 2)
    x = dx * tl.load(row + 3) + dy * tl.load(row + 6) + dz * tl.load(row + 9)
    y = dx * tl.load(row + 4) + dy * tl.load(row + 7) + dz * tl.load(row + 10)
    z = dx * tl.load(row + 5) + dy * tl.load(row + 8) + dz * tl.load(row + 11)
    s0 = tl.load(row + 12)
    s1 = tl.load(row + 13)
    s2 = tl.load(row + 14)
    s3 = tl.load(row + 15)
    s4 = tl.load(row + 16)
    s5 = tl.load(row + 17)
    if KIND == 0:
        d = _rod(x, y, z, s0, s1, s2, s3, s4, s5)
    elif KIND == 1:
        d = _ring(x, y, z, s0, s1, s2, s3, s4)
    elif KIND == 2:
        d = _slab(x, y, z, s0, s1, s2, s3, s4)
    elif KIND == 3:
        d = _trapezoid(tl.sqrt(x * x + y * y + 1e-12), z, s0, s1, s2) - s3
    else:
        d = _ball(x, y, z, s0, s1, s2)
    return d


@triton.jit
def _all_of(base, start, stop, px, py, pz, solid, hole, KIND: tl.constexpr):
    for i in range(start, stop):
        row = base + i * 20
        here = tl.load(row + 18)
        if here > 0:
            solid = tl.minimum(solid, _solid(row, px, py, pz, KIND))
        if here < 0:
            hole = tl.minimum(hole, _solid(row, px, py, pz, KIND))
    return solid, hole


@triton.jit
def _march_kernel(
    solids, damage, turn, xy, depth_in, slack_in, depth_out, gap_out, N, floor,
    E0: tl.constexpr, E1: tl.constexpr, E2: tl.constexpr, E3: tl.constexpr, E4: tl.constexpr,
    STEPS: tl.constexpr, FARAWAY: tl.constexpr, NEAR: tl.constexpr, BLOCK: tl.constexpr,
):  # fmt: skip
    b = tl.program_id(0).to(tl.int64)
    at = tl.program_id(1) * BLOCK + tl.arange(0, BLOCK)
    inside = at < N
    base = solids + b * E4 * 20
    hurt = damage + b * 24
    t = turn + b * 9
    vx = tl.load(xy + (b * N + at) * 2, mask=inside, other=0.0)
    vy = tl.load(xy + (b * N + at) * 2 + 1, mask=inside, other=0.0)
    depth = tl.load(depth_in + b * N + at, mask=inside, other=-9.0)
    slack = tl.load(slack_in + b)
    ox = vx * tl.load(t) + vy * tl.load(t + 3)
    oy = vx * tl.load(t + 1) + vy * tl.load(t + 4)
    oz = vx * tl.load(t + 2) + vy * tl.load(t + 5)
    wx = tl.load(t + 6)
    wy = tl.load(t + 7)
    wz = tl.load(t + 8)
    f0 = tl.load(hurt + 10)
    f1 = tl.load(hurt + 11)
    f2 = tl.load(hurt + 12)
    gap = tl.full((BLOCK,), FARAWAY, tl.float32)
    step = 0
    walking = tl.max(depth) > floor
    while walking:
        px = ox + depth * wx
        py = oy + depth * wy
        pz = oz + depth * wz
        along = px * tl.load(hurt + 13) + py * tl.load(hurt + 14) + pz * tl.load(hurt + 15)
        along = tl.maximum(along - tl.load(hurt + 19), 0.0)
        reach = tl.load(hurt + 20)
        curved = tl.minimum(along, reach)
        give = tl.load(hurt + 21) / reach * curved * (along - 0.5 * curved)
        px = px - tl.load(hurt + 16) * give
        py = py - tl.load(hurt + 17) * give
        pz = pz - tl.load(hurt + 18) * give
        solid = tl.full((BLOCK,), FARAWAY, tl.float32)
        hole = tl.full((BLOCK,), FARAWAY, tl.float32)
        solid, hole = _all_of(base, 0, E0, px, py, pz, solid, hole, 0)
        solid, hole = _all_of(base, E0, E1, px, py, pz, solid, hole, 1)
        solid, hole = _all_of(base, E1, E2, px, py, pz, solid, hole, 2)
        solid, hole = _all_of(base, E2, E3, px, py, pz, solid, hole, 3)
        solid, hole = _all_of(base, E3, E4, px, py, pz, solid, hole, 4)
        qx = px * 9.0 + f0 * 6.28
        qy = py * 9.0 + f1 * 6.28
        qz = pz * 9.0 + f2 * 6.28
        uneven = 0.65 * tl.sin(qx + qy) * tl.sin(qy - qz) * tl.sin(qz)
        qx = px * 23.0 - f0 * 12.6
        qy = py * 23.0 - f1 * 12.6
        qz = pz * 23.0 - f2 * 12.6
        uneven += 0.35 * tl.sin(qx) * tl.sin(qy + qz) * tl.sin(qz - qx)
        d = tl.maximum(solid, -hole) + tl.load(hurt + 9) * uneven
        jag = tl.load(hurt + 8) * uneven
        plane = px * tl.load(hurt) + py * tl.load(hurt + 1) + pz * tl.load(hurt + 2)
        d = tl.maximum(d, (plane - tl.load(hurt + 3) + jag) * tl.load(hurt + 23))
        plane = px * tl.load(hurt + 4) + py * tl.load(hurt + 5) + pz * tl.load(hurt + 6)
        d = tl.maximum(d, (plane - tl.load(hurt + 7) + jag) * tl.load(hurt + 23))
        gap = tl.where(depth > floor, d * tl.load(hurt + 22) - slack, gap)
        depth = tl.maximum(depth - tl.maximum(gap, 0.0), floor)
        step += 1
        afoot = (gap > NEAR) & (depth > floor)
        walking = (step < STEPS) & (tl.max(afoot.to(tl.int32)) > 0)
    tl.store(depth_out + b * N + at, depth, mask=inside)
    tl.store(gap_out + b * N + at, gap, mask=inside)


def march(
    all_solids: dict[str, Solids], damage: Damage, turn: Tensor, xy: Tensor, depth: Tensor,
    slack: Tensor, steps: int, floor: float,
) -> tuple[Tensor, Tensor]:  # fmt: skip
    """Walk rays ``xy [B, N, 2]`` from ``depth [B, N]``; as ``trace.march`` does eagerly."""
    count, n = depth.shape
    hurt = torch.cat(
        [damage.normal[:, 0], damage.offset[:, :1], damage.normal[:, 1], damage.offset[:, 1:],
         damage.rough[:, None], damage.lump[:, None], damage.phase, damage.bend,
         bound(damage.bend)[:, None], 1 / (1 + STEEP * damage.rough[:, None])], 1,
    ).contiguous()  # fmt: skip
    ends = [sum(ROOM[k] for k in KINDS[: i + 1]) for i in range(len(KINDS))]
    out, gap = torch.empty_like(depth), torch.empty_like(depth)
    block = 256
    _march_kernel[(count, triton.cdiv(n, block))](
        table(all_solids), hurt, turn.contiguous(), xy.contiguous(), depth.contiguous(),
        slack.reshape(count).contiguous(), out, gap, n, floor, *ends, steps, FAR, CLOSE, block,
    )  # fmt: skip
    return out, gap
