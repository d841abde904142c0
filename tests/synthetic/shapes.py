"""Plain forms and the little that tests need around them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from simsearch.synthetic.batch import Batch, pack
from simsearch.synthetic.distance import Damage, distance
from simsearch.synthetic.form import Form
from simsearch.synthetic.trace import Camera

Points = NDArray[np.float64]


def made(draw: Callable[[Form], object], name: str = "test") -> Form:
    """A form with what ``draw`` puts into it."""
    form = Form(name)
    draw(form)
    return form


def in_units(batch: Batch, points: Points) -> Tensor:
    """Points in mm ``(n, 3)`` as unit coordinates ``[1, n, 3]`` of the batch's first form."""
    moved = (torch.from_numpy(points) - batch.middle[0]) / batch.scale[0]
    return moved.float()[None]


def distance_mm(form: Form, points: Points, damage: Damage | None = None) -> Points:
    """Signed distance in mm ``(n,)`` of points in mm ``(n, 3)``."""
    batch = pack([form])
    found = distance(batch.solids, damage or Damage.none(1), in_units(batch, points))
    return (found[0].double() * batch.scale[0]).numpy()


def turn_x(degrees: float) -> Tensor:
    """Rotation ``[1, 3, 3]`` about the x axis."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return torch.tensor([[[1, 0, 0], [0, c, -s], [0, s, c]]], dtype=torch.float32)


def turn_y(degrees: float) -> Tensor:
    """Rotation ``[1, 3, 3]`` about the y axis."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return torch.tensor([[[c, 0, s], [0, 1, 0], [-s, 0, c]]], dtype=torch.float32)


def camera(turn: Tensor | None = None, half: float = 1.0, x: float = 0.0, y: float = 0.0) -> Camera:
    """A camera for one form; it looks along z unless ``turn [1, 3, 3]`` says otherwise."""
    way = torch.eye(3)[None] if turn is None else turn
    return Camera(way, torch.tensor([[x, y]]), torch.tensor([half]))


def pixel_centres(
    size: int, half: float = 1.0, x: float = 0.0, y: float = 0.0
) -> tuple[Points, Points]:
    """View x and y of the pixel centres ``(size, size)`` each, rows from the top."""
    line = (np.arange(size) + 0.5) / size * 2 - 1
    return half * line[None, :].repeat(size, 0) + x, half * -line[:, None].repeat(size, 1) + y
