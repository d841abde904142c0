"""Forms in, pictures out: the one entry point of the renderer.

    batch = pack([form, ...])
    shots = render(batch, Shot(view="front"), size=192, seed=7)

The same seed on the same kind of device gives the same pictures.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import torch
from torch import Tensor

from simsearch.synthetic import scene
from simsearch.synthetic.batch import Batch, Solids
from simsearch.synthetic.distance import FAR, Damage, nearest_part
from simsearch.synthetic.kernels import kernel
from simsearch.synthetic.noise import chance, rand
from simsearch.synthetic.surface import Wear, face, lit
from simsearch.synthetic.trace import Camera, Hits, trace, window

VIEWS = ("front", "back", "side")


@dataclass(frozen=True)
class Shot:
    """How pictures are to be taken; a tuple is a range to draw from.

    ``view`` front, back, side or any; ``kept`` share of the visible object that is left (1 =
    unbroken); ``tilt`` degrees; ``fill`` how much of the picture's side the object spans;
    ``worn``/``corroded``/``soiled`` 0..1, None = the usual mixture, which ``weather`` makes
    milder; ``losses`` scales the
    chance that fragile parts are gone; ``plain`` a careful photo on plain light grey.
    """

    view: str = "any"
    kept: tuple[float, float] = (1.0, 1.0)
    tilt: float = 25.0
    roll: float = 180.0
    fill: tuple[float, float] = (0.6, 0.95)
    worn: tuple[float, float] | None = None
    corroded: tuple[float, float] | None = None
    soiled: tuple[float, float] | None = None
    weather: float = 1.0
    losses: float = 1.0
    plain: bool = False


@dataclass
class Shots:
    """``picture [B, 3, S, S]`` 0..1; ``mask [B, S, S]`` bool; ``part [B, S, S]`` index into the
    form's parts, -1 = background; ``point [B, S, S, 3]`` unit coordinates of the undamaged
    form seen at each pixel; ``view [B]`` index into ``VIEWS``; ``kept [B]`` share of the
    object's visible area that is left; ``half [B]`` half the picture's side in unit
    coordinates."""

    picture: Tensor
    mask: Tensor
    part: Tensor
    point: Tensor
    view: Tensor
    kept: Tensor
    half: Tensor


def _axis_turn(axis: int, angle: Tensor) -> Tensor:
    """Rotation matrices ``[B, 3, 3]`` by ``angle [B]`` about one axis."""
    c, s = angle.cos(), angle.sin()
    m = torch.zeros(len(angle), 3, 3, device=angle.device)
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    m[:, axis, axis] = 1
    m[:, i, i], m[:, j, j], m[:, i, j], m[:, j, i] = c, c, -s, s
    return m


def _views(shot: Shot, count: int, g: torch.Generator) -> Tensor:
    if shot.view in VIEWS:
        return torch.full((count,), VIEWS.index(shot.view), device=g.device)
    odds = torch.tensor([0.68, 0.17, 0.15], device=g.device)
    return torch.multinomial(odds, count, replacement=True, generator=g)


def _poses(shot: Shot, view: Tensor, g: torch.Generator) -> Tensor:
    count = len(view)
    turn = torch.tensor([0.0, torch.pi, torch.pi / 2], device=g.device)[view]
    sign = torch.where(chance(count, 0.5, g), 1.0, -1.0)
    base = _axis_turn(1, turn * torch.where(view == 2, sign, torch.ones_like(sign)))
    tilt = torch.deg2rad(torch.tensor(shot.tilt, device=g.device))
    lean = torch.randn((count, 2), generator=g, device=g.device).clamp(-2, 2) / 2 * tilt
    roll = rand((count,), g, -1, 1) * torch.pi * shot.roll / 180
    turned = _axis_turn(0, lean[:, 0]) @ _axis_turn(1, lean[:, 1]) @ base
    return _axis_turn(2, roll) @ turned


def _without_losses(batch: Batch, shot: Shot, g: torch.Generator) -> Batch:
    """The batch with fragile parts taken off; a part goes or stays as a whole."""
    if shot.losses <= 0:
        return batch
    luck = rand((len(batch), 64), g)
    solids: dict[str, Solids] = {}
    for kind, s in batch.solids.items():
        gone = luck.gather(1, s.part.clamp_max(63)) < s.loss * shot.losses
        here = torch.where(gone & (s.here > 0), torch.zeros_like(s.here), s.here)
        solids[kind] = replace(s, here=here)
    return replace(batch, solids=solids)


def _breaks(
    batch: Batch, camera: Camera, damage: Damage, shot: Shot, g: torch.Generator
) -> tuple[Damage, Tensor]:
    """Break planes that leave the wished share of what the camera would see of the whole."""
    count = len(batch)
    low, high = shot.kept
    kept = rand((count,), g, low, high)
    if low >= 1:
        return damage, kept
    hits = trace(batch, damage, camera, 48, coarse=20, fine=8)
    point = hits.point.reshape(count, -1, 3)
    on = hits.hit.reshape(count, -1)
    weight = on[..., None].float()
    middle = (point * weight).sum(1) / weight.sum(1).clamp_min(1)
    spread = ((point - middle[:, None]) * weight).pow(2).sum(1).sqrt() + 1e-3
    way = torch.randn((count, 3), generator=g, device=g.device) * (spread + 0.15)
    way[:, 2] *= 0.2
    way = way / way.norm(dim=1, keepdim=True)
    along = (point * way[:, None]).sum(-1).masked_fill(~on, FAR)
    order = along.sort(1).values
    place = (kept * on.sum(1)).long().clamp(0, on.shape[1] - 1)
    offset = order.gather(1, place[:, None])[:, 0]
    offset = torch.where(kept >= 0.999, torch.full_like(offset, FAR), offset)
    normal, offsets = damage.normal.clone(), damage.offset.clone()
    normal[:, 0], offsets[:, 0] = way, offset
    rough = rand((count,), g, 0.0, 0.05)
    return replace(damage, normal=normal, offset=offsets, rough=rough), kept.clamp_max(1)


def _framed(batch: Batch, damage: Damage, turn: Tensor, shot: Shot, g: torch.Generator) -> Camera:
    """A camera that shows what is left of each object at the wished size, a little off centre."""
    count = len(batch)
    wide = Camera(turn, torch.zeros(count, 2, device=g.device), torch.ones(count, device=g.device))
    hits = trace(batch, damage, wide, 64, coarse=20, fine=10)
    centre, half, _ = window(hits, wide)
    low, high = shot.fill
    size = (half.clamp_min(0.02) + 0.01) / rand((count,), g, low, high)
    room = (size - half).clamp_min(0)[:, None]
    return Camera(turn, centre + room * rand((count, 2), g, -0.7, 0.7), size)


def _wear(shot: Shot, count: int, g: torch.Generator) -> Wear:
    wear = Wear.draw(count, g)
    for name in ("worn", "corroded", "soiled"):
        span = getattr(shot, name)
        usual = getattr(wear, name) * shot.weather
        setattr(wear, name, usual if span is None else rand((count,), g, *span))
    return wear


def render(
    batch: Batch,
    shot: Shot,
    size: int,
    seed: int,
    *,
    view: Tensor | None = None,
    parts: bool = True,
) -> Shots:
    """Pictures of the batch, one for each form in it, ``size`` (a multiple of 4) pixels square.

    ``view [B]`` (indices into ``VIEWS``) overrides the view of the shot. Without ``parts`` the
    part labels are left at -1, which saves time.
    """
    device = batch.scale.device
    if device.type == "cpu":
        batch = batch.trimmed()
    g = torch.Generator(device=device).manual_seed(seed)
    count = len(batch)
    if view is None:
        view = _views(shot, count, g)
    turn = _poses(shot, view, g)
    wear = _wear(shot, count, g)
    damage = Damage.none(count, device)
    damage.phase = rand((count, 3), g)
    damage.lump = 0.012 * wear.corroded**2
    batch = _without_losses(batch, shot, g)
    whole = Camera(turn, torch.zeros(count, 2, device=device), torch.ones(count, device=device))
    damage, kept = _breaks(batch, whole, damage, shot, g)
    camera = _framed(batch, damage, turn, shot, g)
    hits = trace(batch, damage, camera, size)
    picture = _photograph(batch, hits, camera, wear, shot, g)
    part = torch.full(hits.hit.shape, -1, device=device)
    if parts:
        part = kernel(nearest_part)(batch.solids, hits.point.reshape(count, -1, 3))
        part = part.reshape(hits.hit.shape).masked_fill(~hits.hit, -1)
    return Shots(picture, hits.hit, part, hits.point, view, kept, camera.half)


def _photograph(
    batch: Batch, hits: Hits, camera: Camera, wear: Wear, shot: Shot, g: torch.Generator
) -> Tensor:
    count, size = hits.hit.shape[:2]
    seen = face(batch, hits, camera, wear, g)
    picture = scene.exposed(lit(seen, hits, camera, g), hits.hit, g)
    if shot.plain:
        tone = rand((count, 1, 1, 1), g, 0.55, 0.85)
        back = tone * torch.ones(count, 3, size, size, device=g.device)
        return scene.studio(scene.compose(picture, hits.hit, back, g), g)
    back = scene.clutter(scene.background(count, size, g), g)
    return scene.photographed(scene.compose(picture, hits.hit, back, g), g)
