"""Drawing on a face in a square of side 2 (x right, y up), legends and borders.

:class:`Drawing` keeps count of the room that a packed form has for strokes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simsearch.synthetic.batch import LAYERS, STROKES
from simsearch.synthetic.form import Relief, Stroke

Rng = np.random.Generator
Point = tuple[float, float]


@dataclass
class Drawing:
    """A place on a face to draw in: ``centre`` and half ``size`` in mm, ``turn`` in radians.

    ``layer`` is a repeat of the relief; strokes beyond its room are left out.
    """

    relief: Relief
    rng: Rng
    centre: Point
    size: tuple[float, float]
    depth: float
    layer: int = 0
    turn: float = 0.0
    thick: float = 1.0

    def room(self) -> int:
        """How many strokes may still be drawn."""
        return STROKES - sum(s.layer == self.layer for s in self.relief.strokes)

    def at(self, p: Point) -> Point:
        """The place in mm of a point of the square."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        x, y = p[0] * self.size[0], p[1] * self.size[1]
        return (float(self.centre[0] + c * x - s * y), float(self.centre[1] + s * x + c * y))

    def line(self, a: Point, b: Point, width: float, end: float | None = None, high: float = 1.0,
             enamel: int = 0) -> None:  # fmt: skip
        """A stroke with widths in units of the square."""
        if self.room() <= 0:
            return
        unit = min(self.size) * self.thick / 2
        last = width if end is None else end
        self.relief.strokes.append(
            Stroke(self.at(a), self.at(b), width * unit, last * unit, self.depth * high, 0.0,
                   enamel, self.layer)
        )  # fmt: skip

    def path(self, points: list[Point], width: float, end: float | None = None,
             high: float = 1.0) -> None:  # fmt: skip
        """A broken line that tapers from ``width`` to ``end``."""
        last = width if end is None else end
        w = np.linspace(width, last, len(points))
        for i in range(len(points) - 1):
            self.line(points[i], points[i + 1], float(w[i]), float(w[i + 1]), high)

    def blob(self, p: Point, radius: float, high: float = 1.0, enamel: int = 0) -> None:
        """A round mark."""
        self.line(p, p, 2 * radius, None, high, enamel)

    def ring(self, p: Point, radius: float, width: float, high: float = 1.0) -> None:
        """A circle."""
        if self.room() > 0:
            unit, c = min(self.size), self.at(p)
            half = width * unit * self.thick / 2
            self.relief.strokes.append(
                Stroke(c, c, half, half, self.depth * high, radius * unit, 0, self.layer)
            )

    def between(self, low: float, high: float) -> float:
        """A random number."""
        return float(self.rng.uniform(low, high))


def free(relief: Relief) -> bool:
    return len(relief.repeats) < LAYERS


#: Letter-like signs: strokes in a square of side 2.
_SIGNS: tuple[tuple[tuple[Point, Point], ...], ...] = (
    (((0, -1), (0, 1)),), (((-1, -1), (0, 1)), ((0, 1), (1, -1))),
    (((-1, 1), (0, -1)), ((0, -1), (1, 1))), (((-0.8, -1), (-0.8, 1)), ((-0.8, 1), (0.8, 1))),
    (((-0.8, -1), (-0.8, 1)), ((-0.8, -1), (0.8, -1))), (((0, -1), (0, 1)), ((-1, 1), (1, 1))),
    (((-1, -1), (1, 1)), ((-1, 1), (1, -1))),
    (((-0.8, -1), (-0.8, 1)), ((0.8, -1), (0.8, 1)), ((-0.8, 1), (0.8, -1))),
    (((-0.8, -1), (-0.8, 1)), ((-0.8, 0.9), (0.7, 0.5)), ((0.7, 0.5), (-0.8, 0.0))),
    (((-0.8, -1), (-0.8, 1)), ((0.8, -1), (0.8, 1)), ((-0.8, 0), (0.8, 0))),
)  # fmt: skip


def letter(d: Drawing, x: float, y: float, tall: float, wide: float, turn: float = 0.0) -> None:
    which = int(d.rng.integers(len(_SIGNS) + 2))
    if which >= len(_SIGNS):
        radius = tall * 0.36
        d.ring((x, y), radius, 0.05)
        return
    c, s = np.cos(turn), np.sin(turn)
    for a, b in _SIGNS[which]:
        ends = []
        for px, py in (a, b):
            u, v = px * wide / 2, py * tall / 2
            ends.append((float(x + c * u - s * v), float(y + s * u + c * v)))
        d.line(ends[0], ends[1], 0.055)


def legend(d: Drawing, radius: float) -> None:
    """Letter-like signs round the rim from a random start, with a stop or two."""
    start, space = d.between(0, 6.28), d.between(0.2, 0.34)
    way, tall = (-1 if d.rng.random() < 0.9 else 1), d.between(0.14, 0.2)
    angle, gap = start, int(d.rng.integers(4, 9))
    for k in range(24):
        if d.room() < 2 or abs(angle - start) > 6.28 - space:
            break
        p = (radius * float(np.cos(angle)), radius * float(np.sin(angle)))
        if k % gap == gap - 1:
            d.blob(p, 0.03)
        else:
            letter(d, *p, tall, tall * 0.7, angle - np.pi / 2)
        angle += way * space


def beaded(relief: Relief, rng: Rng, centre: Point, unit: float, depth: float) -> None:
    """A rim of beads, or of short rays, or a plain circle; perhaps two of them."""
    at = float(rng.uniform(0.86, 0.97))
    if free(relief) and rng.random() < 0.7:
        layer = relief.layer(int(rng.integers(24, 72)), centre=centre)
        d = Drawing(relief, rng, centre, (unit, unit), depth, layer)
        long = float(rng.uniform(0, 0.08)) * (rng.random() < 0.4)
        d.line((0, at), (0, at - long), float(rng.uniform(0.03, 0.07)))
    else:
        Drawing(relief, rng, centre, (unit, unit), depth).ring((0, 0), at, 0.05)
