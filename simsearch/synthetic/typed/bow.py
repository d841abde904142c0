"""Bow brooches of the Iron Age and of the years about the conquest, one-piece and sheet forms."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Finish, Form
from simsearch.synthetic.typed import makes, vary
from simsearch.synthetic.typed.fittings import (
    bars,
    catch,
    coils,
    collar,
    lay,
    line,
    pin,
    reeds,
    ring_and_dot,
    spring,
    strap,
    tube,
)

Random = np.random.Generator

_IRON = Finish(metals=(("copper alloy", 0.7), ("iron", 0.3)), tinned=0.0)


@makes("la-tene-i-bow")
def la_tene_i(rng: Random) -> Form:
    """High C-shaped bow; the foot turns back towards it and ends in a disc or knob, free."""
    form = Form("la-tene-i-bow", finish=_IRON)
    long, high, wide = vary(rng, 1.0, 0.16), vary(rng, 1.0, 0.1), vary(rng, 1.0, 0.2)
    wire = vary(rng, 0.9, 0.12)
    bow = line(
        [(21, 4.5, 2.2, 2.2), (19, 11, 3.5, 2.6), (10, 16.5, 5.5, 3.2), (-4, 15, 5.5, 3.2),
         (-13, 8, 3.2, 2.4), (-17, 1.5, 2.2, 2)], long=long, high=high, wide=wide,
    )  # fmt: skip
    lay(form, "bow", bow)
    foot = line(
        [(-17, 1.5, 2.2, 2), (-25, 1.2, 2.2, 2), (-27.5, 4.5, 2, 1.9), (-24, 8, 2, 1.9),
         (-20.5, 10.5, 2, 1.9)], long=long, high=high, corner=0.12,
    )  # fmt: skip
    lay(form, "foot", foot, steps=8)
    y, z, *_ = foot.at(1.0)
    if rng.random() < 0.6:
        disc = vary(rng, 3.6, 0.2)
        form.drum("foot", (0, y, z), disc, height=1.8, axis=(0, -0.35, 0.94))
        form.front.circle((0, y), disc * 0.72, 0.6, 0.4)
        form.front.dot((0, y), disc * 0.4, 0.5, enamel=int(rng.random() < 0.4))
    else:
        form.ball("foot", (0, y, z), (vary(rng, 2.3), 2.6, 2.2))
        form.ball("foot tip", (0, y + 2.6, z + 1.2), 1.2)
    coils(form, 20 * long, 2.4, int(rng.choice([4, 4, 6])), radius=2.3, wire=wire,
          outside=bool(rng.random() < 0.5))  # fmt: skip
    pin(form, (20 * long, -0.2), (-22 * long, -0.6), radius=0.75)
    form.slab("catch", (0, -21 * long, 0), 7 * long, 2.2, 3.0, thickness=0.8, axis=(1, 0, 0))
    _bow_ornament(form, rng, top=15 * long, low=-9 * long, half=1.9 * wide)
    return form


def _bow_ornament(form: Form, rng: Random, *, top: float, low: float, half: float) -> None:
    """What Iron Age bows carry: nothing, grooves along, ribs across, or ring-and-dot."""
    kind = rng.integers(4)
    if kind == 1:
        reeds(form, (-half / 2, half / 2), top, low, taper=0.6, width=0.5, height=-0.4)
    elif kind == 2:
        bars(form, np.linspace(top, low, int(rng.integers(5, 10))), 2.2 * half, height=-0.45)
    elif kind == 3:
        for y in np.linspace(top, low, int(rng.integers(3, 5))):
            ring_and_dot(form, 0, float(y), 1.0)


@makes("la-tene-ii-bow")
def la_tene_ii(rng: Random) -> Form:
    """Long low bow; the foot returns to it and is clasped to it by a collar half-way."""
    form = Form("la-tene-ii-bow", finish=_IRON)
    long, high, wide = vary(rng, 1.0, 0.16), vary(rng, 1.0, 0.12), vary(rng, 1.0, 0.15)
    bow = line(
        [(27, 4.5, 2.4, 2.4), (25, 9.5, 3, 2.6), (14, 12, 3.8, 2.8), (-4, 10, 3.4, 2.6),
         (-16, 6, 2.6, 2.2), (-22, 1.4, 2.2, 2)], long=long, high=high, wide=wide,
    )  # fmt: skip
    lay(form, "bow", bow)
    foot = line(
        [(-22, 1.4, 2.2, 2), (-30, 1.2, 2.2, 2), (-32.5, 4.5, 2, 1.9), (-28, 8.5, 2, 1.9),
         (-12, 11.5, 2.1, 1.9), (2, 12.4, 2.3, 1.6)], long=long, high=high, corner=0.08,
    )  # fmt: skip
    lay(form, "foot", foot, steps=9)
    y, z, w, _ = bow.at_y(0)
    for i, dy in enumerate((0.0, -2.4)[: int(rng.integers(1, 3))]):
        form.ball("collar", (0, y + dy, z + 1.2), (w / 2 + 1.2, 1.3 - 0.3 * i, 3.0))
    if rng.random() < 0.5:
        y, z, *_ = foot.at(0.5)
        form.ball("foot", (0, y, z), (2.2, 2.0, 2.0))
    wire = vary(rng, 0.9, 0.1)
    coils(form, 26 * long, 2.4, 4, radius=2.4, wire=wire, outside=True)
    pin(form, (26 * long, -0.2), (-27 * long, -0.6), radius=0.75)
    form.slab("catch", (0, -26 * long, 0), 7 * long, 2.2, 3.0, thickness=0.8, axis=(1, 0, 0))
    if rng.random() < 0.4:
        bars(form, np.linspace(18, 8, 5) * long, 3, height=-0.4)
    return form


@makes("nauheim-derivative")
def nauheim_derivative(rng: Random) -> Form:
    """Small one-piece brooch: strip or wire bow, four coils, solid catch, pointed foot."""
    form = Form("nauheim-derivative", finish=_IRON)
    long, high = vary(rng, 0.95, 0.16), vary(rng, 1.0, 0.2)
    head = float(rng.choice([1.9, vary(rng, 3.4), vary(rng, 5.2)]))
    thick = 1.9 if head < 2 else vary(rng, 1.4)
    dip = 2.0 if rng.random() < 0.35 else 0.0  # the reverse curve of some
    bow = line(
        [(18, 4.2, 1.8, 1.8), (16.5, 7.4, head, thick), (9, 9.5, head, thick),
         (-4, 8 - dip, head * 0.7, thick), (-13, 4 - 0.6 * dip, max(1.5, head * 0.4), 1.4),
         (-20, 2.2, 1.0, 1.1)], long=long, high=high, corner=0.08,
    )  # fmt: skip
    lay(form, "bow", bow)
    coils(form, 17 * long, 2.2, int(rng.choice([3, 4, 4])), radius=2.1, wire=vary(rng, 0.8))
    end = catch(form, bow, 0.76, 0.97)
    pin(form, (17 * long, -0.1), (end[0] - 2, -0.3), radius=0.65)
    kind = rng.integers(3) if head > 2 else 0
    if kind == 1:
        reeds(form, (-head / 4, head / 4), 14 * long, -6 * long, taper=0.5, width=0.4, height=-0.4)
    elif kind == 2:
        bars(form, np.linspace(9, 3, int(rng.integers(2, 5))) * long, head, width=0.5, height=-0.4)
    return form


@makes("langton-down")
def langton_down(rng: Random) -> Form:
    """Flat reeded strip that meets a closed cylinder at a right angle, with a rib across."""
    form = Form("langton-down", finish=Finish(tinned=0.45))
    long, width = vary(rng, 1.18, 0.13), vary(rng, 10, 0.13)
    drum, half = vary(rng, 3.1, 0.08), vary(rng, 9.5, 0.12)
    top, low = 17 * long, -20 * long
    tube(form, "spring cylinder", top, drum, half, drum)
    taper = float(rng.uniform(0.72, 0.95))
    rise = vary(rng, 6.8)
    stations = [
        (top + 1.0, drum * 1.5, width, 2.2), (top - 1.0, rise + 1.2, width, 2.0),
        (5.0 * long, rise + 1.0, width * 0.97, 1.7), (-8 * long, 5.6, width * (1 + taper) / 2, 1.6),
        (low, 3.2, width * taper, 1.4),
    ]  # fmt: skip
    strap(form, "bow", stations)
    bow = line(stations, corner=0.01)
    count = int(rng.integers(4, 7))
    xs = np.linspace(-0.44, 0.44, count) * width
    reeds(form, xs, top - 3.2, low + 1, taper=taper, width=1.1, height=0.7)
    bars(form, [top - 2.2], width / 2, width=1.1, height=0.7)
    if rng.random() < 0.4:
        bars(form, [low + 1.2], width / 2, width=0.9)
    form.back.line((-half, top - 1), (half, top - 1), 0.6, -0.5)  # where the sheet closes
    for x in np.linspace(-half + 1, half - 1, 2 if rng.random() < 0.5 else 4):
        form.front.line((x, top - drum), (x, top + drum), 0.6, 0.35)
    y, z = catch(form, bow, 0.55, 0.96)
    form.slab("catch", (0, y + 1.5, z + 0.2), 5, 0.6, 3.2, thickness=3, axis=(1, 0, 0), cut=True)
    pin(form, (top - 1, 0.6), (y - 4, -0.3))
    return form


@makes("rosette")
def rosette(rng: Random) -> Form:
    """Cylinder head, short reeded arch, a large round disc on the bow, a reeded fantail foot."""
    form = Form("rosette", finish=Finish(tinned=0.35, gilt=0.08))
    long, disc = vary(rng, 1.0, 0.14), vary(rng, 10.5, 0.12)
    half, tail = vary(rng, 10, 0.12), vary(rng, 8.5, 0.14)
    top, low = 27 * long, -30 * long
    tube(form, "spring cylinder", top, 3, half, vary(rng, 2.8))
    width = vary(rng, 7.5, 0.1)
    strap(form, "bow", [(top + 0.5, 5, width, 2), (top - 2.5, 10.5, width, 2),
                        (top - 10, 12.5, width * 0.95, 2), (top - 16, 10, width * 0.9, 2),
                        (top - 19, 4.5, width * 0.85, 2)])  # fmt: skip
    reeds(form, np.linspace(-0.4, 0.4, 4) * width, top - 2, top - 18, width=0.9, height=0.6)
    middle = top - 23 * long
    form.drum("disc", (0, middle, 3.6), disc, height=1.5)
    for share in (0.93, 0.68, 0.45)[: int(rng.integers(1, 4))]:
        form.front.circle((0, middle), share * disc, 0.9, 0.55)
    if rng.random() < 0.5:
        around = form.front.layer(int(rng.integers(10, 18)), centre=(0, middle))
        form.front.line((0, middle + 0.5 * disc), (0, middle + 0.85 * disc), 0.6, 0.4, layer=around)
    y = middle - disc + 2
    form.slab("foot", (0, (y + low) / 2, 3.0), y - low, 2 * tail, width * 0.8, thickness=1.4)
    xs = np.linspace(-0.36, 0.36, int(rng.integers(4, 7))) * width
    reeds(form, xs, y - 1, low + 0.8, taper=2.2 * tail / width, width=0.9, height=0.55)
    form.slab("catch", (0, low + 9, 1), 15, 3.4, 4.4, thickness=0.9, axis=(1, 0, 0))
    form.rod("catch", (-0.5, low + 2, -1), (-0.5, low + 16, -1), 0.75)
    form.drum("catch", (0, low + 9, 1.0), 1.1, height=3, axis=(1, 0, 0), cut=True)
    pin(form, (top - 1, 0.6), (low + 3, -0.6), radius=0.75)
    return form


@makes("colchester")
def colchester(rng: Random) -> Form:
    """One-piece: long tapering bow, short flat wings, hook over the chord, fretted catch."""
    form = Form("colchester")
    long, high, wide = vary(rng, 1.0, 0.2), vary(rng, 1.0, 0.1), vary(rng, 1.0, 0.1)
    bow = line(
        [(26, 3.5, 5.2, 4.4), (24.5, 9, 5.2, 4.2), (18, 11.5, 4.8, 3.8), (4, 10, 3.8, 3),
         (-14, 6, 2.4, 2.2), (-29, 1.8, 1.1, 1.3)], long=long, high=high, wide=wide, corner=0.07,
    )  # fmt: skip
    lay(form, "bow", bow)
    top, wing = 26 * long, vary(rng, 6.5, 0.15)
    for name, sign in (("left wing", -1), ("right wing", 1)):
        form.slab(name, (sign * wing / 2, top - 0.5, 4.2), 3.6, wing + 0.5, thickness=1.2,
                  axis=(0, 0.2, 1))  # fmt: skip
        for x in (0.55, 0.75, 0.95)[: int(rng.integers(0, 4))]:
            form.front.line((sign * x * wing, top - 2.4), (sign * x * wing, top + 1.4), 0.5, -0.4)
    spring(form, top, 1.4, wing * 1.05, radius=2.0, turns=int(rng.choice([6, 8, 8])))
    hook = line([(top, 4.5, 2.2, 1.4), (top + 3.2, 4.8, 2, 1.2), (top + 4.2, 3, 1.8, 1.1),
                 (top + 2.6, 1.5, 1.5, 1)], corner=0.1)  # fmt: skip
    lay(form, "hook", hook, steps=5)
    y, z = catch(form, bow, 0.66, 0.96)
    pin(form, (top - 1, -0.4), (y - 5, -0.3))
    for i in range(int(rng.integers(1, 4))):  # the frets
        at = (0, y + 3.5 - 3.0 * i, z + 0.6 - 0.5 * i)
        form.slab("catch", at, 2.0, 1.5, thickness=2, axis=(1, 0, 0), cut=True)
    if rng.random() < 0.5:
        y0, y1 = bow.at(0.25)[0], bow.at(0.9)[0]
        form.front.line((0, y0), (0, y1), 0.8, -0.4, end_width=0.4)
    collar(form, bow, 0.985, grow=0.2)
    return form
