"""Things several types share: the pin fixings of flat brooches, flat bands, ornament."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from simsearch.synthetic.form import Form, Relief, Vector
from simsearch.synthetic.typed import vary

Point = tuple[float, float]


def lug_and_catch(
    form: Form,
    rng: np.random.Generator,
    top: float,
    bottom: float,
    *,
    x: float = 0.0,
    lugs: int = 1,
    size: float = 1.0,
    back: float = 0.0,
) -> None:
    """Pin fixing behind a plate whose back lies at z = ``back``: lug at ``top``, catch below.

    One lug carries a spring on its axis bar, two lugs hold a pin between them. ``size`` scales
    the fitting, whose lug stands about 3.4 mm high at size 1.
    """
    half = vary(rng, 1.7, 0.1) * size
    axis = back + 0.3 - half
    for i in range(lugs):
        off = x + (i - (lugs - 1) / 2) * 3.4 * size
        form.drum("lug", (off, top, axis), half, height=1.1 * size, axis=(1, 0, 0))
    reach = (1.5 if lugs == 2 else vary(rng, 3.4, 0.15)) * size
    form.rod("spring", (x - reach, top, axis), (x + reach, top, axis), 1.25 * size,
             ridges=(0.35 * size, 3 if lugs == 2 else 6))  # fmt: skip
    form.rod("pin", (x + 0.5 * size, top, axis), (x, bottom - size, axis), 0.6 * size, 0.35 * size)
    long = vary(rng, 4.5, 0.15) * size
    form.slab("catch", (x - 0.7 * size, bottom, axis), long, 2 * half, thickness=0.8 * size,
              axis=(1, 0, 0))  # fmt: skip
    lip = axis - half + 0.4 * size
    form.rod("catch", (x - 0.1, bottom - long / 2.4, lip), (x - 0.1, bottom + long / 2.4, lip),
             1.1 * size, flat=0.4)  # fmt: skip


def ribbon(
    form: Form, part: str, points: Sequence[Point], radii: Sequence[float], thickness: float,
    z: float = 0.0,
) -> None:  # fmt: skip
    """A flat band in the plane of the picture through the points, half as wide as the radii."""
    for i in range(len(points) - 1):
        (ax, ay), (bx, by) = points[i], points[i + 1]
        across = (ay - by, bx - ax, 0.0)
        form.rod(part, (ax, ay, z), (bx, by, z), radii[i], radii[i + 1],
                 flat=thickness / (radii[i] + radii[i + 1]), side=across)  # fmt: skip


def ring_and_dot(
    relief: Relief, centre: Vector, radius: float, *, rings: int = 1, height: float = -0.4,
    layer: int = 0,
) -> None:  # fmt: skip
    """A punched dot in one or more circles."""
    relief.dot(centre, radius * 0.3, height, layer=layer)
    for i in range(rings):
        relief.circle(centre, radius * (1 - 0.4 * i), radius * 0.22, height, layer=layer)


def box(relief: Relief, centre: Vector, width: float, tall: float, line: float, height: float,
        *, layer: int = 0) -> None:  # fmt: skip
    """The outline of an upright rectangle."""
    (x, y), w, h = centre, width / 2, tall / 2
    corners = [(x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h), (x - w, y - h)]
    relief.path(corners, line, height, layer=layer)


def animal_limbs(
    relief: Relief, rng: np.random.Generator, low: Point, high: Point, count: int, *,
    layer: int = 0, width: float = 0.8, height: float = 0.6,
) -> None:  # fmt: skip
    """Chip-carved animal ornament, broken into limbs: short bent ridges filling a rectangle."""
    for _ in range(count):
        x, y = rng.uniform(low[0], high[0]), rng.uniform(low[1], high[1])
        turn, bend = rng.uniform(0, 2 * np.pi), rng.choice([-1.2, 1.2])
        step = 0.22 * min(high[0] - low[0], high[1] - low[1]) + 0.8
        points = [(x, y)]
        for k in range(2):
            a = turn + k * bend
            points.append((points[-1][0] + step * np.cos(a), points[-1][1] + step * np.sin(a)))
        kept = [
            (float(np.clip(p[0], low[0], high[0])), float(np.clip(p[1], low[1], high[1])))
            for p in points
        ]
        relief.path(kept, width, height, layer=layer)
