"""A form: what an object is made of, before anything happened to it.

Dimensions are in millimetres. Axes: x to the right, y up (the head of a brooch is up), z towards
the viewer of the front. The back of a bow brooch lies near z = 0 and its bow arches to +z.
A form is built from five primitives, each belonging to a named part, so that parts can be lost:

rod    a round cone between two points, its section flattened to a strip if wished; it may carry
       ridges along its length (spring coils, twisted wire, mouldings)
ring   a torus or an arc of one, its section flattened if wished
slab   a prism with a trapezoid outline (plates, fans, lozenges from two of them)
drum   a short cone or disc around an axis (discs, cups, bosses, cones)
ball   an ellipsoid (knobs)

Any of them may be a cut: it is then taken away from the rest (holes, slots, notches).
Relief is drawn on the front and the back face as strokes and circles, raised or sunk, plain or
filled with enamel, and may be repeated around a centre.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Vector = Sequence[float] | NDArray[np.floating]

KINDS = ("rod", "ring", "slab", "drum", "ball")

#: Chance that a part of this name is lost on an ordinary find (trade experience, from memory).
LOSS = {
    "pin": 0.75,
    "spring": 0.35,
    "hinge": 0.15,
    "catch": 0.3,
    "knob": 0.15,
    "loop": 0.35,
    "lug": 0.15,
    "wing": 0.08,
    "inlay": 0.4,
    "tip": 0.2,
}


@dataclass(frozen=True)
class Primitive:
    """One solid of a form. ``frame`` columns are its local x, y, z axes; ``size`` its numbers."""

    kind: str
    part: str
    centre: Floats
    frame: Floats
    size: tuple[float, ...]
    cut: bool = False


@dataclass(frozen=True)
class Stroke:
    """One mark of relief: a tapered line a-b, or a circle (``radius`` > 0) around a.

    ``height`` in mm, negative for sunk; ``enamel`` 0 none, 1 or 2 the colour of the filling;
    ``layer`` the index of its repeat.
    """

    a: tuple[float, float]
    b: tuple[float, float]
    width_a: float
    width_b: float
    height: float
    radius: float = 0.0
    enamel: int = 0
    layer: int = 0


@dataclass(frozen=True)
class Repeat:
    """How a layer of relief is repeated: ``times`` around ``centre``, mirrored if wished."""

    times: int = 1
    mirror: bool = False
    centre: tuple[float, float] = (0.0, 0.0)


@dataclass
class Relief:
    """Marks on one face. At most ``LAYERS`` repeats."""

    strokes: list[Stroke] = field(default_factory=list)
    repeats: list[Repeat] = field(default_factory=lambda: [Repeat()])

    def layer(self, times: int = 1, *, mirror: bool = False, centre: Vector = (0.0, 0.0)) -> int:
        """Start a repeated layer and return its index for the marks drawn on it."""
        self.repeats.append(Repeat(times, mirror, (float(centre[0]), float(centre[1]))))
        return len(self.repeats) - 1

    def line(
        self,
        a: Vector,
        b: Vector,
        width: float,
        height: float,
        *,
        end_width: float | None = None,
        enamel: int = 0,
        layer: int = 0,
    ) -> None:
        """A straight mark from a to b, ``width`` mm wide at a and ``end_width`` at b."""
        end = width if end_width is None else end_width
        self.strokes.append(
            Stroke(
                (float(a[0]), float(a[1])),
                (float(b[0]), float(b[1])),
                width / 2,
                end / 2,
                height,
                0.0,
                enamel,
                layer,
            )
        )

    def path(self, points: Sequence[Vector], width: float, height: float, **more: int) -> None:
        """A broken line through the points."""
        for a, b in itertools.pairwise(points):
            self.line(a, b, width, height, **more)

    def circle(
        self, centre: Vector, radius: float, width: float, height: float, **more: int
    ) -> None:
        """A ring of relief around a centre."""
        c = (float(centre[0]), float(centre[1]))
        self.strokes.append(Stroke(c, c, width / 2, width / 2, height, radius, **more))

    def dot(self, centre: Vector, radius: float, height: float, **more: int) -> None:
        """A round mark."""
        self.line(centre, centre, 2 * radius, height, **more)


@dataclass(frozen=True)
class Finish:
    """What the surface may be: chances of each metal and of surface treatments."""

    metals: tuple[tuple[str, float], ...] = (("copper alloy", 1.0),)
    tinned: float = 0.05
    gilt: float = 0.02


@dataclass
class Form:
    """An object as made: its solids, its relief and its finish. Lengths in mm."""

    name: str
    solids: list[Primitive] = field(default_factory=list)
    front: Relief = field(default_factory=Relief)
    back: Relief = field(default_factory=Relief)
    finish: Finish = field(default_factory=Finish)

    # ---- solids -------------------------------------------------------------------------
    def rod(
        self,
        part: str,
        a: Vector,
        b: Vector,
        radius: float,
        end_radius: float | None = None,
        *,
        flat: float = 1.0,
        side: Vector = (1.0, 0.0, 0.0),
        ridges: tuple[float, float] = (0.0, 0.0),
        cut: bool = False,
    ) -> None:
        """A round cone from a to b.

        ``flat`` < 1 flattens the section at right angles to ``side``, the direction in which
        the strip stays wide. ``ridges`` = (height in mm, number along the rod).
        """
        start, end = np.asarray(a, np.float32), np.asarray(b, np.float32)
        length = float(np.linalg.norm(end - start))
        if length < 1e-4:
            end = start + np.array([0, 1e-3, 0], np.float32)
            length = 1e-3
        axis = (end - start) / length
        frame = _frame(axis, np.asarray(side, np.float32))
        top = radius if end_radius is None else end_radius
        # A cone steeper than its length has no tangent: the bigger end swallows the smaller.
        limit = 0.95 * length
        top = float(np.clip(top, radius - limit, radius + limit))
        size = (radius, top, length, flat, ridges[0], ridges[1] / length)
        self.solids.append(Primitive("rod", part, start, frame, size, cut))

    def sweep(
        self,
        part: str,
        points: Sequence[Vector],
        radii: float | Sequence[float],
        *,
        flat: float | Sequence[float] = 1.0,
        side: Vector = (1.0, 0.0, 0.0),
    ) -> None:
        """A chain of rods through the points: a bow, a wire, a leg."""
        widths = _per_point(radii, len(points))
        flats = _per_point(flat, len(points))
        for i in range(len(points) - 1):
            self.rod(
                part,
                points[i],
                points[i + 1],
                widths[i],
                widths[i + 1],
                flat=(flats[i] + flats[i + 1]) / 2,
                side=side,
            )

    def ring(
        self,
        part: str,
        centre: Vector,
        radius: float,
        section: float,
        *,
        flat: float = 1.0,
        gap: float = 0.0,
        gap_at: float = -90.0,
        axis: Vector = (0.0, 0.0, 1.0),
        cut: bool = False,
    ) -> None:
        """A ring of ``radius`` to the middle of its section of radius ``section``.

        ``gap`` degrees are left open around the direction ``gap_at`` (0 = +x, 90 = +y in the
        plane of the ring). ``flat`` < 1 makes the section thinner along the axis.
        """
        normal = np.asarray(axis, np.float32)
        frame = _turned(_frame_z(normal), gap_at + 90.0)
        half = np.radians(180.0 - gap / 2)
        size = (radius, section, float(np.sin(half)), float(np.cos(half)), flat, 0.0)
        self.solids.append(
            Primitive("ring", part, np.asarray(centre, np.float32), frame, size, cut)
        )

    def slab(
        self,
        part: str,
        centre: Vector,
        length: float,
        width: float,
        end_width: float | None = None,
        *,
        thickness: float = 1.5,
        turn: float = 0.0,
        axis: Vector = (0.0, 0.0, 1.0),
        bevel: float = 0.2,
        cut: bool = False,
    ) -> None:
        """A plate ``length`` mm along its own y, ``width`` wide below and ``end_width`` above.

        ``turn`` degrees rotate it in its plane; ``axis`` is the direction its face looks to.
        """
        top = width if end_width is None else end_width
        frame = _turned(_frame_z(np.asarray(axis, np.float32)), turn)
        edge = min(bevel, 0.45 * thickness)
        size = (width / 2 - edge, top / 2 - edge, length / 2 - edge, thickness / 2 - edge, edge, 0)
        size = (max(size[0], 1e-3), max(size[1], 1e-3), *size[2:])
        self.solids.append(
            Primitive("slab", part, np.asarray(centre, np.float32), frame, size, cut)
        )

    def lozenge(
        self, part: str, centre: Vector, length: float, width: float, *, thickness: float = 1.5
    ) -> None:
        """A lozenge plate: two triangles base to base."""
        x, y, z = centre
        up = (x, y + length / 4, z)
        down = (x, y - length / 4, z)
        self.slab(part, up, length / 2, width, 0.3, thickness=thickness)
        self.slab(part, down, length / 2, 0.3, width, thickness=thickness)

    def drum(
        self,
        part: str,
        centre: Vector,
        radius: float,
        end_radius: float | None = None,
        *,
        height: float = 1.5,
        axis: Vector = (0.0, 0.0, 1.0),
        bevel: float = 0.2,
        cut: bool = False,
    ) -> None:
        """A disc or truncated cone, ``height`` mm thick along ``axis``.

        ``radius`` is that of the face away from the axis direction, ``end_radius`` the other.
        """
        top = radius if end_radius is None else end_radius
        edge = min(bevel, 0.45 * height)
        size = (max(radius - edge, 1e-3), max(top - edge, 1e-3), height / 2 - edge, edge, 0, 0)
        frame = _frame_z(np.asarray(axis, np.float32))
        self.solids.append(
            Primitive("drum", part, np.asarray(centre, np.float32), frame, size, cut)
        )

    def ball(
        self,
        part: str,
        centre: Vector,
        radius: float | Vector,
        *,
        turn: float = 0.0,
        cut: bool = False,
    ) -> None:
        """A sphere or, with three radii along x, y, z, an ellipsoid turned in the xy plane."""
        radii = (radius,) * 3 if isinstance(radius, int | float) else tuple(radius)
        frame = _turned(np.eye(3, dtype=np.float32), turn)
        size = (*(float(r) for r in radii), 0.0, 0.0, 0.0)
        self.solids.append(
            Primitive("ball", part, np.asarray(centre, np.float32), frame, size, cut)
        )

    # ---- as a whole ---------------------------------------------------------------------
    def parts(self) -> list[str]:
        """Part names in order of first use."""
        return list(dict.fromkeys(s.part for s in self.solids))

    def bounds(self) -> tuple[Floats, Floats]:
        """Lower and upper corner, mm, of a box around all solids that are not cuts."""
        boxes = [_box(s) for s in self.solids if not s.cut]
        low = np.min([b[0] for b in boxes], axis=0)
        high = np.max([b[1] for b in boxes], axis=0)
        return low.astype(np.float32), high.astype(np.float32)


def arch(
    start: Vector, end: Vector, rise: float, *, lean: float = 0.0, steps: int = 8
) -> list[tuple[float, float, float]]:
    """Points of a bow in side view from ``start`` to ``end``, arching ``rise`` mm to +z.

    ``lean`` from -1 to 1 moves the crest towards the start or the end.
    """
    a, b = np.asarray(start, float), np.asarray(end, float)
    u = np.linspace(0, 1, steps + 1)
    bent = u + lean * 0.35 * np.sin(np.pi * u)
    lift = rise * np.sin(np.pi * np.clip(u, 0, 1)) ** 0.8
    points = a[None] + bent[:, None] * (b - a)[None]
    points[:, 2] += lift
    return [(float(p[0]), float(p[1]), float(p[2])) for p in points]


def spiral(
    centre: Vector,
    radius: float,
    turns: float,
    *,
    start: float = 0.0,
    steps: int = 18,
    inner: float = 0.12,
) -> list[tuple[float, float]]:
    """Points of a flat spiral from its outside (at ``start`` degrees) inwards, for relief."""
    u = np.linspace(0, 1, steps + 1)
    angle = np.radians(start) + 2 * np.pi * turns * u
    r = radius * (1 - (1 - inner) * u)
    return [
        (float(centre[0] + s * np.cos(t)), float(centre[1] + s * np.sin(t)))
        for s, t in zip(r, angle, strict=True)
    ]


def _per_point(value: float | Sequence[float], count: int) -> list[float]:
    if isinstance(value, int | float):
        return [float(value)] * count
    values = [float(v) for v in value]
    return list(np.interp(np.linspace(0, 1, count), np.linspace(0, 1, len(values)), values))


def _unit(v: Floats) -> Floats:
    return v / max(float(np.linalg.norm(v)), 1e-9)


def _frame(y_axis: Floats, side: Floats) -> Floats:
    """Columns x, y, z with y along the axis and x as close to ``side`` as it can be."""
    x = side - y_axis * float(side @ y_axis)
    if float(np.linalg.norm(x)) < 1e-3:
        other = np.array([0, 0, 1] if abs(y_axis[2]) < 0.9 else [0, 1, 0], np.float32)
        x = other - y_axis * float(other @ y_axis)
    x = _unit(x)
    return np.stack([x, y_axis, np.cross(x, y_axis)], axis=1).astype(np.float32)


def _frame_z(z_axis: Floats) -> Floats:
    """Columns x, y, z with z along the axis and y as close to world up as it can be."""
    z = _unit(z_axis.astype(np.float32))
    up = np.array([0, 1, 0], np.float32) if abs(z[1]) < 0.9 else np.array([0, 0, 1], np.float32)
    y = _unit(up - z * float(up @ z))
    return np.stack([np.cross(y, z), y, z], axis=1).astype(np.float32)


def _turned(frame: Floats, degrees: float) -> Floats:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]], np.float32)
    return (frame @ turn).astype(np.float32)


def _box(solid: Primitive) -> tuple[np.ndarray, np.ndarray]:
    size = solid.size
    if solid.kind == "rod":
        end = solid.centre + solid.frame[:, 1] * size[2]
        r = max(size[0], size[1]) * max(1.0, size[3])
        return np.minimum(solid.centre, end) - r, np.maximum(solid.centre, end) + r
    half = {
        "ring": (size[0] + size[1], size[0] + size[1], size[1] * size[4]),
        "slab": (max(size[0], size[1]) + size[4], size[2] + size[4], size[3] + size[4]),
        "drum": (max(size[0], size[1]) + size[3],) * 2 + (size[2] + size[3],),
        "ball": size[:3],
    }[solid.kind]
    reach = np.abs(solid.frame) @ np.asarray(half, np.float32)
    return solid.centre - reach, solid.centre + reach
