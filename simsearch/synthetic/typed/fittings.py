"""Parts that many brooches share: a bow in side view, springs, pins, catch-plates, wings.

Lengths in mm. A bow is described by stations (y, z, width, thickness) from head to foot, which
is its side view; corners are rounded off and rods laid along the result.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from simsearch.synthetic.form import Form

Station = tuple[float, float, float, float]


@dataclass(frozen=True)
class Line:
    """A smooth bow: ``table [n, 4]`` of y, z, width, thickness at even steps from head to foot."""

    table: NDArray[np.float64]

    def at(self, share: float) -> Station:
        """The station after ``share`` (0 head, 1 foot) of the bow's length."""
        u = np.linspace(0, 1, len(self.table))
        y, z, w, t = (float(np.interp(share, u, self.table[:, i])) for i in range(4))
        return y, z, w, t

    def at_y(self, y: float) -> Station:
        """The station at a height y; for a bow that turns back, the first one from the head."""
        share = int(np.argmax(self.table[:, 0] <= y)) / (len(self.table) - 1)
        return self.at(share)


def line(
    stations: Sequence[Station],
    *,
    long: float = 1.0,
    high: float = 1.0,
    wide: float = 1.0,
    corner: float = 0.1,
) -> Line:
    """A bow through the stations, stretched; ``corner`` is the share over which bends round."""
    rough = np.asarray(stations, float) * (long, high, wide, wide**0.5)
    step = np.linalg.norm(np.diff(rough[:, :2], axis=0), axis=1)
    place = np.concatenate([[0.0], np.cumsum(step)]) / step.sum()
    u = np.linspace(0, 1, 241)
    dense = np.stack([np.interp(u, place, rough[:, i]) for i in range(4)], 1)
    for _ in range(2):
        dense = _smoothed(dense, int(corner * 120))
    return Line(dense)


def _smoothed(table: NDArray[np.float64], reach: int) -> NDArray[np.float64]:
    """Moving average that keeps both ends where they are."""
    if reach < 1:
        return table
    before = 2 * table[0] - table[reach:0:-1]
    after = 2 * table[-1] - table[-2 : -reach - 2 : -1]
    padded = np.concatenate([before, table, after])
    kernel = np.ones(2 * reach + 1) / (2 * reach + 1)
    out = np.stack([np.convolve(padded[:, i], kernel, "valid") for i in range(4)], 1)
    out[:, 2:] = np.maximum(out[:, 2:], 0.3)
    return out


def lay(form: Form, part: str, bow: Line, *, steps: int = 12) -> None:
    """Rods along a bow from head to foot: ``width`` across, ``thickness`` deep."""
    stations = [bow.at(s) for s in np.linspace(0, 1, steps + 1)]
    for (y0, z0, w0, t0), (y1, z1, w1, t1) in pairwise(stations):
        flat = (w0 + w1) / (t0 + t1)
        normal = (0.0, -(z1 - z0), y1 - y0)
        # One rod has one ratio of width to depth: both may miss a little where it changes.
        ends = [float(np.sqrt(t * w / flat)) / 2 for w, t in ((w0, t0), (w1, t1))]
        form.rod(part, (0, y0, z0), (0, y1, z1), *ends, flat=flat, side=normal)


def strap(form: Form, part: str, stations: Sequence[Station]) -> None:
    """Flat plates with sharp edges from station to station."""
    for (y0, z0, w0, t0), (y1, z1, w1, t1) in pairwise(stations):
        dy, dz = y1 - y0, z1 - z0
        length = float(np.hypot(dy, dz))
        form.slab(
            part,
            (0, (y0 + y1) / 2, (z0 + z1) / 2),
            length + 0.5 * min(t0, t1),
            w1,
            w0,
            thickness=(t0 + t1) / 2,
            axis=(0, dz / length, -dy / length),
        )


def collar(
    form: Form, bow: Line, share: float, *, grow: float = 0.5, long: float = 0.8, part: str = "bow"
) -> None:
    """A moulding round the bow that stands ``grow`` mm proud and is ``long`` mm half-long."""
    y, z, w, t = bow.at(share)
    form.ball(part, (0, y, z), (w / 2 + grow, long, t / 2 + grow))


def coils(
    form: Form, y: float, z: float, count: int, *, radius: float = 2.2, wire: float = 0.7,
    outside: bool = False,
) -> float:  # fmt: skip
    """A short spring of separate coils around the x axis; returns its half-width.

    ``outside``: the chord passes over the head; otherwise under the bow.
    """
    pitch = 2.05 * wire
    half = pitch * (count - 1) / 2
    for i in range(count):
        form.ring("spring", (i * pitch - half, y, z), radius, wire, axis=(1, 0, 0))
    chord = (y + radius, z + 1.2) if outside else (y - radius, z)
    form.rod("spring", (-half, *chord), (half, *chord), wire)
    return half + wire


def spring(
    form: Form, y: float, z: float, half: float, *, radius: float = 1.8, turns: float | None = None
) -> None:
    """A long bilateral spring around an axis bar, with its chord over the top."""
    turns = turns or round(half / 0.75)
    form.rod("spring", (-half, y, z), (half, y, z), radius, ridges=(0.28, turns))
    chord = (y + radius + 0.2, z + 0.9)
    form.rod("spring", (-half + 0.8, *chord), (half - 0.8, *chord), 0.55)


def pin(
    form: Form, head: tuple[float, float], end: tuple[float, float], *, radius: float = 0.6
) -> None:
    """A straight pin from (y, z) at the head to (y, z) at the catch."""
    form.rod("pin", (0, *head), (0, *end), radius, 0.35 * radius)


def catch(
    form: Form, bow: Line, top: float, to: float, *, back: float = -0.6, thick: float = 0.9,
    lower: float = 0.8,
) -> tuple[float, float]:  # fmt: skip
    """A catch-plate between the bow (shares ``top``..``to``) and z = ``back``, its edge curled.

    ``lower`` is the share of its depth that it keeps at the foot: near 0 it is a triangle.
    Returns (y, z) of its middle.
    """
    y1, z1, *_ = bow.at(top)
    y0, z0, *_ = bow.at(to)
    edge = z0 - lower * (z0 - back)
    m1, m0 = (z1 + back) / 2, (z0 + edge) / 2
    length = float(np.hypot(y1 - y0, m1 - m0))
    middle = ((y1 + y0) / 2, (m1 + m0) / 2)
    form.slab(
        "catch", (0, *middle), length, z0 - edge, z1 - back, thickness=thick, axis=(1, 0, 0),
        turn=float(np.degrees(np.arctan2(m1 - m0, y1 - y0))),
    )  # fmt: skip
    form.rod("catch", (-0.5, y1 - 0.5, back), (-0.5, y0 + 0.5, edge), 0.75)
    return middle


def tube(form: Form, part: str, y: float, z: float, half: float, radius: float) -> None:
    """A tube across the head, ``half`` mm to either side, with flat ends."""
    form.drum(part, (0, y, z), radius, height=2 * half, axis=(1, 0, 0))


def wings(form: Form, y: float, z: float, half: float, radius: float, *, inner: float = 0) -> None:
    """Two tubular wings that may be lost singly."""
    for name, sign in (("left wing", -1), ("right wing", 1)):
        x = sign * (half + inner) / 2
        form.drum(name, (x, y, z), radius, height=half - inner, axis=(1, 0, 0))


def trough(form: Form, y: float, z: float, half: float, radius: float, thick: float = 1.0) -> None:
    """Semi-cylindrical wings open at the back: three plates that bend round the spring."""
    for up, out in ((0.8, 0.5), (0.0, 1.0), (-0.8, 0.5)):
        length = float(np.hypot(up, out))
        axis = (0.0, up / length, out / length)
        centre = (0, y + axis[1] * radius, z + axis[2] * radius)
        form.slab("wing", centre, 1.15 * radius, 2 * half, thickness=thick, axis=axis)


def head_loop(form: Form, y: float, z: float, radius: float = 2.6, wire: float = 0.75) -> None:
    """A loop above the head for a chain, standing in the plane of the front."""
    form.ring("loop", (0, y + radius, z), radius, wire)


def ring_and_dot(form: Form, x: float, y: float, radius: float = 1.2) -> None:
    """The common punched mark: a sunk circle around a sunk dot."""
    form.front.circle((x, y), radius, 0.45, -0.35)
    form.front.dot((x, y), 0.35, -0.4)


def bars(
    form: Form, ys: Iterable[float], half: float, *, width: float = 0.7, height: float = 0.5
) -> None:
    """Ribs (or, with a negative height, grooves) straight across the front."""
    for y in ys:
        form.front.line((-half, y), (half, y), width, height)


def reeds(
    form: Form, xs: Iterable[float], top: float, low: float, *, taper: float = 1.0,
    width: float = 0.8, height: float = 0.5,
) -> None:  # fmt: skip
    """Ribs (or grooves) along the front from y = ``top`` to ``low``, drawing in by ``taper``."""
    for x in xs:
        form.front.line((x, top), (x * taper, low), width, height)


def wing_grooves(
    form: Form, rng: np.random.Generator, y: float, half: float, radius: float
) -> None:
    """Grooves round the ends of the wings, one to three a side, or none."""
    for x in (0.94, 0.78, 0.62)[: int(rng.integers(0, 4))]:
        for sign in (-1, 1):
            form.front.line((sign * x * half, y - radius), (sign * x * half, y + radius), 0.6, -0.4)


def foot_knob(form: Form, bow: Line, size: float, *, part: str = "foot knob") -> None:
    """A moulded knob below the foot: a collar and a ball."""
    y, z, w, t = bow.at(1.0)
    form.ball(part, (0, y - 0.3, z), (max(w / 2 + 0.3, 0.8 * size), 0.6, t / 2 + 0.4))
    form.ball(part, (0, y - 0.75 * size - 0.4, z), (size, 0.8 * size, 0.9 * size))
