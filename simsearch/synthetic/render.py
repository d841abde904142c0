"""Forms in, pictures out: the one entry point of the renderer.

    batch = pack([form, ...])
    shots = render(batch, Shot(view="front"), size=192, seed=7)

The same seed on the same kind of device gives the same pictures.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import torch
import torch.nn.functional as F
from torch import Tensor

from simsearch.synthetic import bend, scene
from simsearch.synthetic.batch import Batch, Solids
from simsearch.synthetic.breaks import broken
from simsearch.synthetic.distance import Damage, nearest_part
from simsearch.synthetic.kernels import kernel
from simsearch.synthetic.noise import chance, rand
from simsearch.synthetic.pieces import biggest, one_piece
from simsearch.synthetic.surface import Wear, face, lit
from simsearch.synthetic.trace import Camera, Hits, pixels, trace, window

VIEWS = ("front", "back", "side")
#: Pixels and half side of the picture in which breaks are sought and the object is framed; the
#: side leaves room for what is bent out of the unit ball.
_COARSE, _WIDE = 64, 1.08


@dataclass(frozen=True)
class Shot:
    """How pictures are to be taken; a tuple is a range to draw from.

    ``view`` front, back, side or any; ``kept`` share of the visible object that is left (1 =
    unbroken); ``tilt`` degrees; ``fill`` how much of the picture's side the object spans;
    ``worn``/``corroded``/``soiled`` 0..1, None = the usual mixture, which ``weather`` makes
    milder; ``losses`` scales the chance that fragile parts are gone; ``plain`` a careful photo
    on plain light grey; ``bent`` the chance that the object is bent, None = one in five, fewer
    as ``weather`` and ``losses`` fall.
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
    bent: float | None = None


@dataclass
class Shots:
    """``picture [B, 3, S, S]`` 0..1; ``mask [B, S, S]`` bool, one piece; ``part [B, S, S]``
    index into the form's parts, -1 = background; ``point [B, S, S, 3]`` unit coordinates of the
    undamaged, unbent form seen at each pixel; ``view [B]`` index into ``VIEWS``; ``kept [B]``
    share of the object's visible area that is left, measured; ``half [B]`` half the picture's
    side in unit coordinates.

    The area that ``kept`` refers to is that of the same object, bent if it is, without its lost
    fittings and what these held, before it broke."""

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


def _bend(batch: Batch, shot: Shot, g: torch.Generator) -> Tensor:
    usual = 0.2 * min(1.0, shot.weather, shot.losses)
    share = usual if shot.bent is None else shot.bent
    if share <= 0:
        return bend.straight(len(batch), g.device)
    return bend.drawn(batch.solids, share, g)


def _framed(left: Tensor, wide: Camera, shot: Shot, g: torch.Generator) -> Camera:
    """A camera that shows what is left of each object, ``left [B, C, C]`` as the ``wide`` camera
    sees it, at the wished size and a little off centre."""
    count = len(left)
    centre, half, _ = window(left, wide)
    low, high = shot.fill
    size = (half.clamp_min(0.02) + 0.01) / rand((count,), g, low, high)
    room = (size - half).clamp_min(0)[:, None]
    return Camera(wide.turn, centre + room * rand((count, 2), g, -0.7, 0.7), size)


def _one_piece(hits: Hits, camera: Camera, left: Tensor, wide: Camera) -> tuple[Hits, Tensor]:
    """The hits on the piece that is ``left [B, C, C]`` as the ``wide`` camera sees it.

    Also the share ``[B]`` of that piece which is kept: what looked joined from afar may not be.
    """
    size = hits.hit.shape[1]
    spread = F.max_pool2d(left[:, None].float(), 3, 1, 1)
    there = pixels(camera, size) / wide.half[:, None, None]
    there = there.reshape(len(left), size, size, 2) * there.new_tensor([1.0, -1.0])
    near = hits.hit & (F.grid_sample(spread, there, align_corners=False)[:, 0] > 0)
    hit = one_piece(near)
    share = hit.sum((1, 2)) / near.sum((1, 2)).clamp_min(1)
    return Hits(hit, hits.point, hits.depth * hit, hits.sure & hit), share


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
    damage.bend = _bend(batch, shot, g)
    wide = Camera(
        turn, torch.zeros(count, 2, device=device), torch.full((count,), _WIDE, device=device)
    )
    whole = trace(batch, damage, wide, _COARSE, coarse=20, fine=10)
    whole.hit = biggest(whole.hit, whole.hit.float())[0]
    damage, left, kept = broken(batch, damage, wide, whole, shot.kept, g)
    camera = _framed(left, wide, shot, g)
    hits, share = _one_piece(trace(batch, damage, camera, size), camera, left, wide)
    kept = kept * share
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
    together = scene.compose(picture, hits.hit, back, g, others=0.12)
    return scene.photographed(together, g)
