"""Forms of no type: an endless supply of invented objects with the structure of real ones.

An encoder trained on a few dozen types alone would learn those types. These forms teach it to
compare: each is an arbitrary object put together from the same parts, with symmetry, repeated
motifs and figures in relief. They come in groups of sisters; the sisters of some groups share
their solids and differ by relief alone, so that outline is no help in telling them apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simsearch.synthetic.blanks import coil, flan, openwork
from simsearch.synthetic.devices import device
from simsearch.synthetic.figures import Drawing, beaded, legend
from simsearch.synthetic.form import Finish, Form, Relief, arch, spiral

Rng = np.random.Generator
_METALS = ("copper alloy", "copper alloy", "copper alloy", "iron", "silver", "lead", "bone", "gold")


def sisters(rng: Rng, count: int) -> list[Form]:
    """``count`` different forms; in half of the groups, and most groups of discs, they share
    their solids."""
    family = _FAMILIES[min(int(np.searchsorted(_ODDS, rng.random())), len(_FAMILIES) - 1)]
    flat = family in _FLAT
    shared = rng.random() < (0.85 if flat else 0.25)
    base = family(rng)
    low, high = base.bounds()
    forms = []
    for _ in range(count):
        form = replace(base) if shared else family(rng)
        if not shared:
            low, high = form.bounds()
        form.front, form.back = Relief(), Relief()
        metal = _METALS[rng.integers(len(_METALS))]
        other = _METALS[rng.integers(len(_METALS))]
        form.finish = Finish(((metal, 0.7), (other, 0.31)), tinned=0.1, gilt=0.1)
        if flat and rng.random() < 0.75:
            struck(form, rng, low, high)
        else:
            decorate(form, rng, low, high, rich=shared)
        forms.append(form)
    return forms


# ---- solids ---------------------------------------------------------------------------------
def _between(rng: Rng, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def _disc(rng: Rng) -> Form:
    form = Form("endless")
    r = 10.0
    form.drum("disc", (0, 0, 0), r, r * _between(rng, 0.85, 1.0), height=_between(rng, 0.6, 2.5))
    kind = rng.integers(6)
    if kind == 1:
        form.ball("boss", (0, 0, 0.6), (r * _between(rng, 0.2, 0.6),) * 2 + (2.2,))
    elif kind == 2:
        form.ring("rim", (0, 0, 0.6), r - 0.6, _between(rng, 0.5, 1.4))
    elif kind == 3:
        n = int(rng.integers(3, 9))
        for t in np.arange(n) * 2 * np.pi / n:
            form.ball(
                "lobe", (r * np.cos(t), r * np.sin(t), 0), _between(rng, 1.0, 1.1) * 16 / n / 2
            )
    elif kind == 4:
        hole = r * _between(rng, 0.12, 0.45)
        form.drum("hole", (0, 0, 0), hole, height=8, cut=True)
    _back_fittings(form, rng, r * 0.6)
    return form


def _plate(rng: Rng) -> Form:
    """A flat outline from a few plates, lobes and discs, usually mirrored left and right."""
    form = Form("endless")
    thick = _between(rng, 0.8, 2.0)
    y = -10.0
    for _ in range(int(rng.integers(2, 5))):
        length = _between(rng, 3, 10)
        form.slab(
            "plate", (0, y + length / 2, 0), length + 0.5, _between(rng, 2, 13),
            _between(rng, 1, 13), thickness=thick,
        )  # fmt: skip
        y += length
        if rng.random() < 0.35:
            form.drum("disc", (0, y, 0), _between(rng, 2, 5), height=thick * 1.2)
    for _ in range(int(rng.integers(0, 4))):
        at, side, r = _between(rng, -9, y), _between(rng, 2, 7), _between(rng, 0.8, 2.2)
        for sign in (-1, 1) if rng.random() < 0.85 else (1,):
            form.ball("knob", (sign * side, at, 0), (r, r * _between(rng, 0.7, 1.4), thick))
    for _ in range(int(rng.integers(0, 3))):
        side = _between(rng, 0, 3)
        hole, at = _between(rng, 0.4, 1.6), _between(rng, -8, y - 2)
        for sign in (-1, 1) if side > 0.8 else (0,):
            form.drum("hole", (sign * side, at, 0), hole, height=8, cut=True)
    _back_fittings(form, rng, 6)
    return form


def _bow(rng: Rng) -> Form:
    form = Form("endless")
    top, foot = _between(rng, 12, 20), -_between(rng, 14, 26)
    rise, flat = _between(rng, 4, 16), _between(rng, 0.35, 1.0)
    widths = [_between(rng, 0.8, 5) for _ in range(4)]
    end = _between(rng, -1, 3)
    form.sweep(
        "bow", arch((0, top, 3), (0, foot, end), rise, lean=_between(rng, -0.9, 0.9)), widths,
        flat=flat,
    )  # fmt: skip
    wing = _between(rng, 3, 12)
    head = rng.integers(5)
    if head == 0:
        form.rod("wing", (-wing, top, 2), (wing, top, 2), _between(rng, 1.2, 3), flat=0.8)
    elif head == 1:
        form.slab("head", (0, top + 2, 2), _between(rng, 5, 14), _between(rng, 4, 16),
                  _between(rng, 4, 18))  # fmt: skip
    elif head == 2:
        form.drum("head", (0, top, 2.5), _between(rng, 3, 8), height=2)
    elif head == 3:
        form.ball("knob", (0, top + 2, 3), _between(rng, 2, 4))
        for sign in (-1, 1):
            form.ball("knob", (sign * wing, top - 1, 2), _between(rng, 1.2, 3))
    form.rod("spring", (-wing * 0.8, top, -0.5), (wing * 0.8, top, -0.5), 1.8,
             ridges=(0.5 * (rng.random() < 0.6), int(rng.integers(4, 12))))  # fmt: skip
    form.rod("pin", (0, top, -1.2), (0, foot, -0.5), 0.6)
    form.slab("catch", (0, foot + 6, 0), _between(rng, 6, 13), 2, _between(rng, 3, 7),
              thickness=0.9, axis=(1, 0, 0))  # fmt: skip
    ending = rng.integers(5)
    if ending == 0:
        form.ball("tip", (0, foot, end), _between(rng, 1.2, 3))
    elif ending == 1:
        form.slab("foot", (0, foot, end), _between(rng, 6, 14), _between(rng, 3, 12),
                  _between(rng, 2, 5))  # fmt: skip
    elif ending == 2:
        form.drum("foot", (0, foot, end), _between(rng, 2, 5), height=1.6)
    if rng.random() < 0.35:
        crest = _between(rng, -0.4, 0.6)
        form.ball("boss", (0, top * crest, rise * 0.9 + 2), _between(rng, 2, 4.5))
    return form


def _ring(rng: Rng) -> Form:
    form = Form("endless")
    r, section = 12.0, _between(rng, 0.9, 3.0)
    gap = _between(rng, 15, 80) if rng.random() < 0.5 else 0.0
    form.ring("ring", (0, 0, 0), r, section, gap=gap, flat=_between(rng, 0.3, 1.0))
    t = np.radians(gap / 2)
    size = section * _between(rng, 1.1, 2.2)
    kind = rng.integers(3)
    for sign in (-1, 1) if gap else ():
        x, y = sign * r * np.sin(t), -r * np.cos(t)
        if kind == 0:
            form.ball("terminal", (x, y, 0), (size, size, size))
        elif kind == 1:
            form.drum("terminal", (x, y, 0), size, height=section * 1.5)
        else:
            form.rod("terminal", (x, y, -size), (x, y, size), section * 0.8)
    if not gap and rng.random() < 0.5:
        form.rod("bar", (0, -r, 0), (0, r, 0), _between(rng, 0.8, 1.6))
    if not gap and rng.random() < 0.4:
        n = int(rng.integers(2, 9))
        for a in np.arange(n) * 2 * np.pi / n:
            form.ball("lobe", (r * np.cos(a), r * np.sin(a), 0), section * 1.5)
    form.rod("pin", (0, r, section), (_between(rng, -3, 3), -r * _between(rng, 0.9, 1.5), section),
             _between(rng, 0.6, 1.2))  # fmt: skip
    return form


def _stem(rng: Rng) -> Form:
    """Pins, keys, straps and the like: a stem with something at its ends."""
    form = Form("endless")
    length, thick = 25.0, _between(rng, 0.9, 3.0)
    bend = _between(rng, -3, 3)
    points = [(bend * np.sin(u * 3.1), length * (1 - 2 * u), 0.0) for u in np.linspace(0, 1, 7)]
    form.sweep("stem", points, [thick, thick * _between(rng, 0.4, 1.5), thick * 0.7],
               flat=_between(rng, 0.3, 1.0))  # fmt: skip
    for y, sign in ((length, 1), (-length, -1)):
        kind, size = rng.integers(6), _between(rng, 2, 6)
        if kind == 0:
            form.ball("knob", (0, y, 0), (size, size * _between(rng, 0.6, 1.4), size * 0.8))
        elif kind == 1:
            form.ring("loop", (0, y + sign * size, 0), size, _between(rng, 0.8, 1.6))
        elif kind == 2:
            form.slab("end", (0, y, 0), size * 2, size * _between(rng, 0.7, 2), size, thickness=2)
        elif kind == 3:
            for i in range(int(rng.integers(2, 5))):
                form.drum("collar", (0, y - sign * i * 2.4, 0), thick * _between(rng, 1.2, 2.2),
                          height=1.2, axis=(0, 1, 0))  # fmt: skip
        elif kind == 4:
            form.slab("bit", (size * 0.8, y, 0), size * 1.2, size * 1.6, thickness=1.6)
            for at in (-0.25, 0.25):
                form.slab("ward", (size * 1.4, y + at * size, 0), 0.9, size, thickness=6, cut=True)
    return form


def _creature(rng: Rng) -> Form:
    """A flat figure of blobs and limbs, not symmetric."""
    form = Form("endless")
    points = np.cumsum(rng.normal(0, 4.5, (int(rng.integers(4, 8)), 2)), axis=0)
    points -= points.mean(0)
    radii = [_between(rng, 1.0, 4.5) for _ in range(3)]
    form.sweep("body", [(x, y, 0.0) for x, y in points], radii, flat=0.45)
    for _ in range(int(rng.integers(1, 5))):
        x, y = points[rng.integers(len(points))]
        dx, dy = rng.normal(0, 5, 2)
        form.rod("limb", (x, y, 0), (x + dx, y + dy, 0), _between(rng, 0.8, 2),
                 _between(rng, 0.4, 2), flat=0.7)  # fmt: skip
    x, y = points[0]
    form.drum("head", (x, y, 0), _between(rng, 1.5, 4), height=2.4)
    _back_fittings(form, rng, 4)
    return form


def _back_fittings(form: Form, rng: Rng, reach: float) -> None:
    """What plates and discs have behind: lug, catch and pin, a loop, or nothing."""
    kind = rng.integers(3)
    if kind == 0:
        form.slab("lug", (0, reach, -1.8), 2.5, 1.0, thickness=2.5)
        form.slab("catch", (0, -reach, -1.5), 2.2, 2.4, thickness=2)
        form.rod("pin", (0, reach, -2.4), (0, -reach * 1.2, -2), 0.5)
    elif kind == 1:
        form.ring("loop", (0, 0, -2.0), 2.0, 0.6, axis=(1, 0, 0))


_FAMILIES: tuple[Callable[[Rng], Form], ...] = (
    flan, _disc, _plate, _bow, _ring, _stem, _creature, openwork, coil
)  # fmt: skip
_ODDS = np.cumsum((0.27, 0.17, 0.13, 0.14, 0.07, 0.07, 0.05, 0.06, 0.04))
#: Families whose sisters mostly differ by relief alone.
_FLAT = (flan, _disc)


# ---- relief ---------------------------------------------------------------------------------
def struck(form: Form, rng: Rng, low: np.ndarray, high: np.ndarray) -> None:
    """Designs as on coins, seals and counters: a device, a legend, circles and a rim."""
    reach = (high[:2] - low[:2]) / 2
    centre = (float(high[0] + low[0]) / 2, float(high[1] + low[1]) / 2)
    unit = float(reach.min())
    for relief in (form.front, form.back):
        if relief is form.back and rng.random() < 0.15:
            continue
        depth = unit * _between(rng, 0.025, 0.065) * (1 if rng.random() < 0.9 else -1)
        written = rng.random() < 0.65
        if rng.random() < 0.8:
            beaded(relief, rng, centre, unit, depth * 0.8)
        inner = _between(rng, 0.52, 0.66) if written else _between(rng, 0.75, 0.9)
        layer = relief.layer(1, centre=centre) if written and len(relief.repeats) < 4 else 0
        if written:
            where = Drawing(relief, rng, centre, (unit, unit), depth, layer)
            legend(where, _between(rng, 0.74, 0.82))
            if rng.random() < 0.5:
                where.ring((0, 0), inner, 0.04)
        off = rng.normal(0, 0.03, 2) * unit
        at = (centre[0] + float(off[0]), centre[1] + float(off[1]))
        # Dies are not always laid out the same way up.
        turn = float(rng.normal(0, 0.1)) if rng.random() < 0.8 else _between(rng, 0, 6.28)
        size = inner * unit * _between(rng, 0.95, 1.25)
        device(Drawing(relief, rng, at, (size, size), depth, 0, turn, _between(rng, 0.85, 1.6)))


def decorate(form: Form, rng: Rng, low: np.ndarray, high: np.ndarray, *, rich: bool) -> None:
    """Draw relief on both faces; ``rich`` forms always get figures, others may stay plain.

    ``low`` and ``high`` are the corners of the form's box.
    """
    reach = (high[:2] - low[:2]) / 2
    middle = (high[:2] + low[:2]) / 2
    for relief in (form.front, form.back):
        if not rich and rng.random() < (0.25 if relief is form.front else 0.7):
            continue
        unit = float(min(reach.min() * 1.3, reach.max()))
        depth = unit * _between(rng, 0.02, 0.07) * (1 if rng.random() < 0.75 else -1)
        if rng.random() < 0.6:
            _border(relief, rng, middle, unit, depth)
        for _ in range(int(rng.integers(1, 4))):
            _MOTIFS[rng.integers(len(_MOTIFS))](relief, rng, middle, reach, depth)


def _device(relief: Relief, rng: Rng, c: np.ndarray, reach: np.ndarray, depth: float) -> None:
    """One of the devices of coins somewhere on the face, long or broad as the face is."""
    size = reach * _between(rng, 0.4, 0.95)
    short = float(size.min())
    size = np.minimum(size, 2.2 * short)
    at = c + rng.uniform(-0.2, 0.2, 2) * reach
    turn = _between(rng, -0.2, 0.2) if rng.random() < 0.7 else _between(rng, 0, 6.28)
    place = (float(at[0]), float(at[1]))
    device(Drawing(relief, rng, place, (float(size[0]), float(size[1])), depth, 0, turn))


def _border(relief: Relief, rng: Rng, c: np.ndarray, unit: float, depth: float) -> None:
    relief.circle(c, unit * _between(rng, 0.7, 0.95), unit * _between(rng, 0.02, 0.08), depth)
    if rng.random() < 0.6 and len(relief.repeats) < 4:
        layer = relief.layer(int(rng.integers(6, 40)), mirror=rng.random() < 0.5, centre=c)
        r = unit * _between(rng, 0.6, 0.92)
        for _ in range(int(rng.integers(1, 4))):
            dx, dy = rng.normal(0, unit * 0.06, 2)
            relief.line(
                (c[0], c[1] + r), (c[0] + dx, c[1] + r + dy), unit * 0.05, depth, layer=layer
            )


def _width(rng: Rng, reach: np.ndarray) -> float:
    return float(min(reach.min() * 2, reach.max())) * _between(rng, 0.025, 0.12)


def _figure(relief: Relief, rng: Rng, c: np.ndarray, reach: np.ndarray, depth: float) -> None:
    """Chains of strokes that join into a figure, perhaps mirrored."""
    room = 22 - sum(s.layer == 0 for s in relief.strokes)
    layer = 0
    if rng.random() < 0.5 and len(relief.repeats) < 4:
        layer, room = relief.layer(1, mirror=True, centre=c), 20
    at = c + rng.normal(0, 0.25, 2) * reach
    heading = _between(rng, 0, 6.28)
    for _ in range(min(room, int(rng.integers(5, 18)))):
        heading += rng.normal(0, 0.9)
        step = reach * _between(rng, 0.08, 0.4)
        to = at + step * (np.cos(heading), np.sin(heading))
        relief.line(at, to, _width(rng, reach), depth * _between(rng, 0.5, 1.6),
                    end_width=_width(rng, reach), layer=layer)  # fmt: skip
        far = (np.abs(to - c) > 0.8 * reach).any() or rng.random() < 0.15
        at = c + rng.normal(0, 0.35, 2) * reach if far else to


def _wheel(relief: Relief, rng: Rng, c: np.ndarray, reach: np.ndarray, depth: float) -> None:
    """A motif repeated around the middle."""
    if len(relief.repeats) >= 4:
        return
    unit = float(min(reach.min() * 1.3, reach.max()))
    layer = relief.layer(int(rng.integers(2, 13)), mirror=rng.random() < 0.6, centre=c)
    at = c + np.array([0, unit * _between(rng, 0.15, 0.6)])
    for _ in range(int(rng.integers(1, 5))):
        to = at + rng.normal(0, 0.2, 2) * unit
        relief.line(
            at,
            to,
            unit * _between(rng, 0.03, 0.14),
            depth * _between(rng, 0.6, 1.5),
            end_width=unit * _between(rng, 0.02, 0.1),
            enamel=int(rng.integers(3)) if rng.random() < 0.3 else 0,
            layer=layer,
        )
        at = to


def _bands(relief: Relief, rng: Rng, c: np.ndarray, reach: np.ndarray, depth: float) -> None:
    """Ribs or grooves across or along."""
    n = int(rng.integers(2, 8))
    long = rng.random() < 0.4
    for u in np.linspace(-0.85, 0.85, n) * _between(rng, 0.4, 1.0):
        a, b = ((u, -0.9), (u, 0.9)) if long else ((-1.0, u), (1.0, u))
        if sum(s.layer == 0 for s in relief.strokes) < 22:
            relief.line(c + a * reach, c + b * reach, _width(rng, reach) * 0.6, depth)


def _rings(relief: Relief, rng: Rng, c: np.ndarray, reach: np.ndarray, depth: float) -> None:
    """Ring-and-dot or concentric rings at a few places."""
    unit = float(reach.min())
    for _ in range(int(rng.integers(1, 4))):
        at = c + rng.uniform(-0.6, 0.6, 2) * reach
        r = unit * _between(rng, 0.1, 0.45)
        if sum(s.layer == 0 for s in relief.strokes) < 21:
            relief.circle(at, r, r * 0.25, depth, enamel=int(rng.integers(3)))
            relief.dot(at, r * 0.3, depth)


def _curl(relief: Relief, rng: Rng, c: np.ndarray, reach: np.ndarray, depth: float) -> None:
    """A spiral, perhaps repeated."""
    if len(relief.repeats) >= 4:
        return
    unit = float(min(reach.min() * 1.3, reach.max()))
    layer = relief.layer(int(rng.integers(1, 6)), centre=c)
    at = c + np.array([0, unit * _between(rng, 0.0, 0.5)])
    points = spiral(at, unit * _between(rng, 0.2, 0.4), _between(rng, 1, 2.2), steps=14)
    relief.path(points, unit * 0.06, depth, layer=layer)


def _letters(relief: Relief, rng: Rng, c: np.ndarray, reach: np.ndarray, depth: float) -> None:
    """Letter-like marks round the rim, no two alike, as in a legend."""
    unit = float(reach.min())
    layer = relief.layer(1, centre=c) if len(relief.repeats) < 4 else 0
    room = 25 - sum(s.layer == layer for s in relief.strokes)
    for t in np.linspace(0, 2 * np.pi, max(1, room // 2), endpoint=False):
        r = unit * 0.8
        for _ in range(2):
            a, b = rng.normal(0, 0.05, 2) * unit, rng.normal(0, 0.07, 2) * unit
            o = c + r * np.array([np.cos(t), np.sin(t)])
            relief.line(o + a, o + b, unit * 0.03, depth, layer=layer)


_MOTIFS = (_figure, _device, _device, _wheel, _bands, _rings, _curl, _letters)
