"""Where on a reference photo a fragment fits, and how well it agrees there.

A placing is a similarity: one scale, one turn, one shift. Proposals come from two pairs of
patches that look alike, and from the two objects laid over each other in every turn. Each is
judged by *all* patches of the fragment: every one is carried to its place on the reference
photo, what is seen there is read off, and the mean likeness counts. A patch carried to where
the reference shows nothing is like nothing, so it counts against the proposal; parts of the
reference that the fragment does not have count for nothing.

Likeness is sharper than the cosine: ``exp((cosine - 1) / SHARPNESS)``, 1 for the same vector.
Patches of any two objects are alike to some degree, and with plain cosines the mean is highest
where the find is shrunk onto some indifferent spot. On parts of 32 coins whose place is known,
with the first weights, the plain cosine put half of the halves within 0.087 of a diameter, the
sharper likeness within 0.065 (within 0.04 with coarse grids read finer); the sharpnesses 0.2 and
0.06 did about as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from simsearch.leads.patches import Floats, Visible, centres, lengths, visible

if TYPE_CHECKING:
    from torch import Tensor

SCALES = (0.25, 4.0)
"""How much smaller or larger than in its own square the find may be in the reference's."""
SHARPNESS = 0.1
_COARSE = 16  # patches a side up to which a grid is read at twice its fineness
_PAIRS_FROM = 40  # likest patches whose pairs propose a placing
_PROPOSALS = 160  # placings tried from pairs, for each reference
_APART = 0.15  # two patches nearer than this share of the square do not fix a turn
_LAID_OVER = [(scale, turn) for scale in (0.6, 1.0) for turn in range(0, 360, 20)]
_SMALL = (0.7, 0.3)
# A find laid down at less than 0.7 of its size agrees less, as this power of its size: few finds
# are so small a part of the object that it would have to shrink more, and shrinking makes any
# find fit somewhere. Without this, half of the finds on held-out renders shrank to a third.
_FEW = 48  # so many patches choose among the proposals
_REFINED, _ROUNDS = 3, (2, 3)  # so many proposals in the first rounds, one in the others
_STEPS = (0.14, 0.14, 0.05, 0.05)  # first steps: log scale, turn in radians, shift x and y
_SHOWN_PAIRS, _SHOWN_FROM = 12, 0.1  # at most so many pairs, from this likeness
_CELLS = 5  # no two shown pairs start in the same cell of a grid of 5 x 5
_NO_PAIRS = np.zeros((0, 4), np.float32)
_READ_AT_ONCE = 6_000_000  # numbers read off in one go: 24 MB


@dataclass(frozen=True, eq=False)
class Placed:
    """A find laid over a reference photo.

    The middle of the find's square goes to the middle of the reference's plus ``shift`` (x, y);
    around it the find is turned by ``turn`` degrees, counter-clockwise as seen, and enlarged by
    ``scale``. A ``mirrored`` find is flipped left to right first. ``agreement`` is 0..1, the
    mean likeness over the find, less where it had to shrink a lot; ``seen`` the share of the
    reference's object that it covers.
    ``pairs`` is (p, 4): a place on the find and the place on the reference that looks like it,
    as x, y, x, y. Places and shifts are fractions of the squares.
    """

    agreement: float
    scale: float
    turn: float
    shift: tuple[float, float]
    seen: float
    pairs: Floats
    mirrored: bool = False

    def carry(self, places: NDArray[np.floating]) -> Floats:
        """Carry places on the find (p, 2) to the reference."""
        matrix, offset = self.affine()
        carried: Floats = (places @ matrix.T + offset).astype(np.float32)
        return carried

    def affine(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The same as a matrix (2, 2) and an offset (2,): place -> matrix @ place + offset."""
        angle = math.radians(self.turn)
        c, s = self.scale * math.cos(angle), self.scale * math.sin(angle)
        # y runs downwards, so a turn that is counter-clockwise as seen has its signs exchanged.
        matrix = np.array([[c, s], [-s, c]])
        if self.mirrored:
            matrix[:, 0] = -matrix[:, 0]
        return matrix, 0.5 + np.array(self.shift) - matrix @ np.array([0.5, 0.5])


def place(query: Floats, references: Floats, *, mirror: bool = False) -> list[Placed]:
    """Lay the patches of a find (R, C, D) over those of reference photos (n, R', C', D).

    With ``mirror`` the find may also be flipped, where that agrees better. A find or reference
    without visible patches agrees 0 and is not moved. Raises ``ValueError`` for other shapes.
    """
    if query.ndim != 3 or references.ndim != 4 or query.shape[-1] != references.shape[-1]:
        raise ValueError(f"patches of {query.shape} cannot be laid over {references.shape}")
    found = _place(query, references)
    if not mirror:
        return found
    flipped = [_flipped(one) for one in _place(query[:, ::-1], references)]
    both = zip(found, flipped, strict=True)
    return [other if other.agreement > one.agreement else one for one, other in both]


def _flipped(placed: Placed) -> Placed:
    pairs = placed.pairs.copy()
    pairs[:, 0] = 1 - pairs[:, 0]
    return replace(placed, pairs=pairs, mirrored=True)


def _place(query: Floats, references: Floats) -> list[Placed]:
    find = visible(query)
    nothing = Placed(0.0, 1.0, 0.0, (0.0, 0.0), 0.0, _NO_PAIRS)
    if not len(find.weights):
        return [nothing] * len(references)
    found: list[Placed] = []
    step = max(1, _READ_AT_ONCE // (len(find.weights) * (_PROPOSALS + len(_LAID_OVER))))
    for start in range(0, len(references), step):
        some = np.nan_to_num(references[start : start + step], posinf=0.0, neginf=0.0)
        placed = _place_some(find, lengths(query), np.asarray(some, np.float32))
        shown = lengths(some).reshape(len(some), -1).max(axis=1) > 0
        found += [one if yes else nothing for one, yes in zip(placed, shown, strict=True)]
    return found


def _place_some(find: Visible, query_lengths: Floats, references: Floats) -> list[Placed]:
    """Place on as many references (n, R, C, D) as fit into memory together."""
    import torch

    with torch.inference_mode():
        table = _likeness(torch.from_numpy(find.vectors), _finer(torch.from_numpy(references)))
        # How far apart the middles of the first and the last patch lie, in sides of the square.
        rows, cols = references.shape[1:3]
        span = torch.tensor([(cols - 1) / cols, (rows - 1) / rows])
        every = _Reader(table, find.places, find.weights, span)
        step = -(-len(find.weights) // _FEW)
        few = _Reader(table[::step], find.places[::step], find.weights[::step], span)
        proposals = torch.cat([_from_pairs(table, find, span), _laid_over(len(references))], dim=1)
        _, settled = _refined(few, few.best(proposals, _REFINED), _ROUNDS[0], first_step=1.0)
        agreement, settled = _refined(every, settled[:, None], _ROUNDS[1], first_step=0.25)
        seen = _share_seen(settled, query_lengths, references)
        at_place = every.read(settled[:, None])[:, :, 0].T.numpy()
        likeness = np.asarray(at_place / find.weights, np.float32)
    return _as_placed(find, agreement.numpy(), settled.numpy(), seen, likeness)


def _finer(grids: Tensor) -> Tensor:
    """Grids (n, R, C, D) with one patch more between any two, where they are coarse.

    Directions and lengths are read between the patches apart: a vector halfway between two that
    differ would otherwise be short, as if less of the object were there.
    """
    import torch
    import torch.nn.functional as functional

    rows, cols = grids.shape[1:3]
    if max(rows, cols) > _COARSE:
        return grids
    length = grids.norm(dim=3, keepdim=True).clamp_max(1)
    both = torch.cat([grids, length], dim=3).permute(0, 3, 1, 2)
    finer = functional.interpolate(
        both, size=(2 * rows - 1, 2 * cols - 1), mode="bilinear", align_corners=True
    )
    vectors, length = finer[:, :-1], finer[:, -1:]
    return (functional.normalize(vectors, dim=1) * length).permute(0, 2, 3, 1)


def _likeness(find: Tensor, references: Tensor) -> Tensor:
    """Likeness of patches (p, D) to grids (n, R, C, D), times how much of both is object."""
    of_find = find.norm(dim=1, keepdim=True).clamp_min(1e-6)
    flat = references.reshape(-1, references.shape[3])
    of_references = flat.norm(dim=1, keepdim=True).clamp_min(1e-6)
    cosine = (find / of_find) @ (flat / of_references).T
    sharp = cosine.sub_(1).div_(SHARPNESS).exp_()
    likeness = sharp.mul_(of_find.clamp_max(1)).mul_(of_references.clamp_max(1).T)
    return likeness.view(len(find), *references.shape[:3])


class _Reader:
    """Reads the agreement of placings off the table of likenesses.

    A placing is four numbers: log scale, turn in radians (clockwise as seen), shift x and y.
    """

    def __init__(self, table: Tensor, places: Floats, weights: Floats, span: Tensor) -> None:
        import torch

        self._per_span = 2 / span.clamp_min(1e-3)
        self._maps = table.reshape(-1, 1, *table.shape[2:])
        self._count, self._n = table.shape[0], table.shape[1]
        self._places = torch.from_numpy(places) - 0.5
        self._total = float(weights.sum())

    def read(self, placings: Tensor) -> Tensor:
        """Likeness (patches, n, h) where placings (n, h, 4) carry each patch of the find."""
        import torch.nn.functional as functional

        grid = _carried(placings, self._places)
        grid = (grid * self._per_span).view(self._count * self._n, -1, 1, 2)
        # Beyond the square there is nothing to agree with: zeros.
        got = functional.grid_sample(self._maps, grid, align_corners=True)
        return got.view(self._count, self._n, -1)

    def agreement(self, placings: Tensor) -> Tensor:
        """Agreement (n, h) of placings (n, h, 4)."""
        likeness = self.read(placings).sum(0) / self._total
        small = (placings[..., 0] - math.log(_SMALL[0])).clamp_max(0)
        return likeness * small.mul(_SMALL[1]).exp()

    def best(self, placings: Tensor, most: int) -> Tensor:
        """The placings of each reference that agree best: (n, most, 4)."""
        order = self.agreement(placings).topk(most, dim=1).indices
        return placings.gather(1, order[:, :, None].expand(-1, -1, 4))


def _carried(placings: Tensor, places: Tensor) -> Tensor:
    """Carry places (p, 2), from the middle, by placings (n, h, 4): (p, n, h, 2)."""
    import torch

    size, turn, x, y = placings.unbind(-1)
    size = size.exp()
    c, s = size * turn.cos(), size * turn.sin()
    # One product of matrices instead of a dozen passes over a large array.
    rows = [torch.stack(pair, dim=-1).flatten() for pair in ((c, s), (-s, c), (x, y))]
    with_one = torch.cat([places, torch.ones(len(places), 1)], dim=1)
    return (with_one @ torch.stack(rows)).view(len(places), *x.shape, 2)


def _from_pairs(table: Tensor, find: Visible, span: Tensor) -> Tensor:
    """Placings (n, h, 4) that two likest pairs of patches fix together, likest first.

    Where too few pairs fix anything, the rest of the list holds the unmoved placing.
    """
    import torch

    count, n, rows, cols = table.shape
    flat = table.view(count, n, rows * cols)
    likeness, partner = flat.max(2)
    # A pair that is likest from both sides goes before one that is so from one side only.
    mutual = flat.max(0).indices.gather(1, partner.T) == torch.arange(count)
    order = (likeness.T + 0.5 * mutual).topk(min(_PAIRS_FROM, count), dim=1)
    here = _complex(find.places)[order.indices]
    across = torch.linspace(-0.5, 0.5, cols) * span[0]
    down = torch.linspace(-0.5, 0.5, rows) * span[1]
    there = torch.complex(across.repeat(rows), down.repeat_interleave(cols))
    there = there[partner.T.gather(1, order.indices)]
    i, j = torch.triu_indices(order.indices.shape[1], order.indices.shape[1], 1)
    apart = here[:, j] - here[:, i]
    # With places as complex numbers, turn and scale are one factor: there = factor * here + shift.
    factor = (there[:, j] - there[:, i]) / torch.where(apart == 0, 1, apart)
    shift = (there[:, i] + there[:, j]) / 2 - factor * (here[:, i] + here[:, j]) / 2
    size = factor.abs()
    fits = (apart.abs() >= _APART) & (size >= SCALES[0]) & (size <= SCALES[1])
    placings = torch.stack([size.log(), factor.angle(), shift.real, shift.imag], dim=-1)
    placings = torch.where(fits[..., None], placings, 0.0)
    worth = torch.where(fits, order.values[:, i] + order.values[:, j], -torch.inf)
    chosen = worth.topk(min(_PROPOSALS, worth.shape[1]), dim=1).indices
    return placings.gather(1, chosen[:, :, None].expand(-1, -1, 4))


def _complex(places: Floats) -> Tensor:
    """Places (p, 2) as complex numbers from the middle of the square."""
    import torch

    return torch.view_as_complex(torch.from_numpy(places - np.float32(0.5)).contiguous())


def _laid_over(n: int) -> Tensor:
    """Placings (n, h, 4) that lay the middles over each other, in every turn."""
    import torch

    rows = [(math.log(scale), math.radians(turn), 0.0, 0.0) for scale, turn in _LAID_OVER]
    return torch.tensor(rows).expand(n, -1, -1)


def _refined(
    reader: _Reader, placings: Tensor, rounds: int, first_step: float
) -> tuple[Tensor, Tensor]:
    """Shift the best placings (n, m, 4) a little as long as that agrees better.

    Returns agreement (n,) and placing (n, 4) of the best. Each round tries steps in one and in
    several of the four numbers at once, each round half as far.
    """
    import torch

    n = len(placings)
    moves = torch.tensor(_moves()) * torch.tensor(_STEPS)
    low, high = math.log(SCALES[0]), math.log(SCALES[1])
    for turn in range(rounds):
        tried = placings[:, :, None] + moves * (first_step * 0.5**turn)
        tried[..., 0] = tried[..., 0].clamp(low, high)
        kept = tried.shape[1]
        agreement = reader.agreement(tried.flatten(1, 2)).view(n, kept, -1)
        chosen = agreement.argmax(2)
        placings = tried.gather(2, chosen[:, :, None, None].expand(-1, -1, 1, 4))[:, :, 0]
    agreement = agreement.amax(2)
    first = agreement.argmax(1)
    return agreement.amax(1), placings[torch.arange(n), first]


def _moves() -> list[tuple[float, ...]]:
    """No step, one step in each of the four numbers, and steps in all four at once."""
    single = [tuple(sign * float(i == k) for i in range(4)) for k in range(4) for sign in (-1, 1)]
    corners = [tuple(0.6 * sign for sign in signs) for signs in product((-1, 1), repeat=4)]
    return [(0.0, 0.0, 0.0, 0.0), *single, *corners]


def _share_seen(placings: Tensor, query_lengths: Floats, references: Floats) -> Floats:
    """How much of each reference's object (n,) lies under the find where it is placed."""
    import torch
    import torch.nn.functional as functional

    n, rows, cols, _ = references.shape
    weights = torch.from_numpy(lengths(references)).view(n, -1)
    size = placings[:, 0].exp()
    factor = torch.polar(size, placings[:, 1])[:, None]
    shift = torch.complex(placings[:, 2], placings[:, 3])[:, None]
    back = torch.view_as_real((_complex(centres(rows, cols)) - shift) / factor) * 2
    shape = torch.from_numpy(query_lengths)[None, None]
    under = functional.grid_sample(shape, back[None], align_corners=False)[0, 0]
    share = (weights * under).sum(1) / weights.sum(1).clamp_min(1e-6)
    found: Floats = share.clamp(0, 1).numpy()
    return found


def _as_placed(
    find: Visible, agreement: Floats, placings: Floats, seen: Floats, at_place: Floats
) -> list[Placed]:
    """Numbers of each reference as :class:`Placed`; ``at_place`` (n, p) is the likeness of each
    patch of the find to what is seen where it was carried."""
    found = []
    for row, (log_scale, turn, x, y) in enumerate(placings.tolist()):
        degrees = (180 - math.degrees(turn)) % 360 - 180
        placed = Placed(
            float(agreement[row]), math.exp(log_scale), degrees, (x, y), float(seen[row]), _NO_PAIRS
        )
        places = find.places[_spread(find.places, at_place[row])]
        pairs = np.concatenate([places, placed.carry(places)], axis=1)
        found.append(replace(placed, pairs=pairs))
    return found


def _spread(places: Floats, likeness: Floats) -> NDArray[np.intp]:
    """The patches that are likest, at most one of each part of the find, likest first."""
    order = np.argsort(-likeness, kind="stable")
    order = order[likeness[order] >= _SHOWN_FROM]
    cell = (places[order] * _CELLS).astype(int) @ np.array([1, _CELLS])
    _, first = np.unique(cell, return_index=True)
    return order[np.sort(first)[:_SHOWN_PAIRS]]
