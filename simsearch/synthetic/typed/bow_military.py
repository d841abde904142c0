"""Bow brooches of the Roman army and its officials: Aucissa, Hod Hill, knee and crossbow."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Finish, Form
from simsearch.synthetic.typed import makes, vary
from simsearch.synthetic.typed.fittings import (
    bars,
    catch,
    foot_knob,
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


@makes("aucissa")
def aucissa(rng: Random) -> Form:
    """High half-round strip with a beaded spine, head-plate rolled over the hinge, foot-knob."""
    form = Form("aucissa", finish=Finish(tinned=0.2))
    rise, half, foot = vary(rng, 14.5, 0.1), vary(rng, 3.9, 0.12), vary(rng, 13, 0.12)
    thick = vary(rng, 1.1, 0.1)
    for x in (-0.6, 0.0, 0.6):  # a fluted strip
        form.ring("bow", (x * half, 0, 4), rise, thick, flat=0.44 * half / thick, gap=176,
                  gap_at=0, axis=(1, 0, 0))  # fmt: skip
    top, plate = rise + 4.2, vary(rng, 4.7, 0.1)
    form.slab("head plate", (0, rise + 1.6, 4), 5.0, 2 * plate, thickness=1.5)
    tube(form, "head plate", top, 3.4, plate, 1.8)
    form.drum("hinge", (0, top, 3.4), 0.7, height=2 * plate + 3, axis=(1, 0, 0))
    if rng.random() < 0.7:
        for name, sign in (("left knob", -1), ("right knob", 1)):
            form.ball(name, (sign * (plate + 1.4), top, 3.4), 1.3)
    bars(form, [rise - 0.5, rise + 3.2], plate, width=0.7, height=0.5)
    for sign in (-1, 1):
        form.front.circle((sign * plate * 0.6, rise + 1.4), 0.9, 0.5, -0.5)
    leg = line([(-rise + 0.6, 4.2, 5, 2.4), (-rise - 1.5, 4, 4.2, 2), (-rise - foot, 3, 2.6, 1.8)],
               corner=0.02)  # fmt: skip
    lay(form, "foot", leg, steps=3)
    bars(form, [-rise, -rise - 1.5], 2.8, width=0.7, height=0.5)
    foot_knob(form, leg, vary(rng, 2.2, 0.12))
    end = catch(form, leg, 0.15, 0.95, back=-1.0, lower=0.3)
    pin(form, (top, 2.4), (end[0] - 3, -0.5), radius=0.75)
    reeds(form, (-0.8 * half, 0.8 * half), rise - 2, -rise + 2, width=0.7, height=0.45)
    if rng.random() < 0.65:
        reeds(form, (-0.28 * half, 0.28 * half), rise - 2, -rise + 2, width=0.5, height=0.4)
        for y in np.linspace(rise - 2.5, -rise + 2.5, 13):
            form.front.dot((0, y), 0.55, 0.6)
    else:
        reeds(form, (0,), rise - 2, -rise + 2, width=1.1, height=0.6)
    return form


@makes("hod-hill")
def hod_hill(rng: Random) -> Form:
    """Low ribbed panel, often with side lugs, a pinched waist, a tapering foot with a knob."""
    form = Form("hod-hill", finish=Finish(tinned=0.6))
    long, panel = vary(rng, 1.0, 0.14), vary(rng, 4.4, 0.14)
    top, waist, low = 20 * long, vary(rng, 1.5) * long, -21 * long
    tube(form, "head roll", top, 2.6, panel * vary(rng, 0.95), 1.7)
    rise, taper = vary(rng, 7.5, 0.12), float(rng.uniform(0.6, 1.0))
    strap(form, "bow", [(top - 0.5, 3.4, 1.7 * panel, 1.8), (top - 3.5, rise, 2 * panel, 2),
                        ((top + waist) / 2, rise + 1.6, panel * (1 + taper), 2.2),
                        (waist + 1, rise, 2 * panel * taper, 2)])  # fmt: skip
    span = (top - 4, waist + 2.5)
    count = int(rng.integers(3, 6))
    xs = np.linspace(-0.8, 0.8, count) * panel
    reeds(form, xs, *span, taper=taper, width=0.95, height=0.75)
    bars(form, [top - 3.4, waist + 1.6], 1.2 * panel, width=0.9, height=0.6)
    bars(form, [waist - 0.6, waist - 2.2], 4, width=0.9, height=0.7)
    lugs = rng.integers(4)
    if lugs:
        y = waist + 1.6 if lugs == 1 else (top - 3.4 if lugs == 2 else sum(span) / 2)
        for name, sign in (("left lug", -1), ("right lug", 1)):
            form.rod(name, (0, y, rise), (sign * (panel + 2), y, rise), 1.0)
            form.ball(name, (sign * (panel + 2.6), y, rise), 1.5)
    foot = line([(waist + 1, rise, 4.6, 2.2), (waist - 3, rise - 1.8, 5.2, 2),
                 (low, 2.6, 2.4, 1.7)], corner=0.06)  # fmt: skip
    lay(form, "foot", foot, steps=7)
    if rng.random() < 0.5:
        reeds(form, (0,), waist - 4, low + 2, width=0.8, height=0.5)
    foot_knob(form, foot, vary(rng, 1.9, 0.12))
    end = catch(form, foot, 0.35, 0.96)
    pin(form, (top, 1.2), (end[0] - 5, -0.2), radius=0.75)
    return form


@makes("knee")
def knee(rng: Random) -> Form:
    """Short and stout: half-round head-plate or spring-cover, a sharp knee, a kicked-out foot."""
    form = Form("knee", finish=Finish(tinned=0.3))
    size, wide = vary(rng, 0.92, 0.12), vary(rng, 1.0, 0.12)
    top, low = 13 * size, -18 * size
    bow = line(
        [(13, 2.4, 7, 4), (12.5, 8.5, 7, 4.2), (9.5, 12, 6.6, 4.6), (2, 9.5, 5, 4),
         (-9, 5.2, 4.4, 3.4), (-15, 5.0, 5.2, 3.2), (-18, 6.6, 6.4, 2.6)],
        long=size, high=size, wide=wide, corner=0.05,
    )  # fmt: skip
    lay(form, "bow", bow)
    plate = vary(rng, 8.6, 0.1)
    if rng.random() < 0.6:
        form.drum("head plate", (0, top - 0.5, 2.6), plate, height=1.5)
        form.slab("head plate", (0, top - 0.5 - plate, 2.6), 2 * plate, 3 * plate, thickness=2.4,
                  cut=True)  # fmt: skip
        form.front.circle((0, top - 0.5), plate * 0.82, 0.6, -0.4)
        if rng.random() < 0.4:
            form.front.circle((0, top - 0.5), plate * 0.6, 0.6, 0.4)
        spring(form, top + 1.4, 0, plate * 0.85, radius=1.8, turns=11)
    else:
        tube(form, "spring cover", top, 2.6, plate, 2.7)
        bars(form, [top - 1.8, top + 1.8], plate, width=0.5, height=-0.35)
        form.rod("spring", (-plate * 0.95, top, 0.9), (plate * 0.95, top, 0.9), 1.7,
                 ridges=(0.28, 11))  # fmt: skip
    form.slab("rear lug", (0, top + 1.0, 0), 3.2, 4, thickness=1.4, axis=(1, 0, 0))
    form.slab("catch", (0, low + 5, 2.0), 5.6, 5.2 * wide, thickness=1.1, axis=(0, 1, 0))
    form.rod("catch", (-2.2, low + 5.4, -0.8), (2.2, low + 5.4, -0.8), 0.8)
    pin(form, (top, -1), (low + 4.6, 0.2), radius=0.75)
    if rng.random() < 0.4:
        reeds(form, (-1.6, 1.6), 7 * size, low + 5, taper=0.8, width=0.5, height=-0.4)
    if rng.random() < 0.4:
        bars(form, [low + 2.0], 3.5, width=0.6, height=-0.4)
    return form


@makes("crossbow")
def crossbow(rng: Random) -> Form:
    """Cross-arm with three onion knobs, high stout arch, long flat foot with punched ornament."""
    form = Form("crossbow", finish=Finish(gilt=0.25, tinned=0.0))
    size, knob = vary(rng, 1.08, 0.13), vary(rng, 3.9, 0.14)
    arm, foot = vary(rng, 19, 0.08) * size, vary(rng, 30, 0.14) * size
    width, rise = vary(rng, 5.2, 0.12), vary(rng, 17, 0.1) * size
    top = 24 * size
    span = 21 * size
    bow = line(
        [(top, 3.5, width, 5), (top - 0.5, rise * 0.72, width, 5),
         (top - 0.32 * span, rise, width, 5), (top - 0.72 * span, rise * 0.88, width, 4.8),
         (top - span, 4.0, width * 0.95, 4)],
        corner=0.14,
    )  # fmt: skip
    lay(form, "bow", bow)
    for name, sign in (("left", -1), ("right", 1)):
        form.slab(f"{name} wing", (sign * arm / 2, top, 3.6), 4.2, arm, thickness=4.6, bevel=1.4)
        form.drum(f"{name} knob", (sign * (arm + 0.6), top, 3.6), 2.6, height=1.4, axis=(1, 0, 0))
        form.ball(f"{name} knob", (sign * (arm + knob), top, 3.6), (knob, knob, knob))
        form.ball(f"{name} knob", (sign * (arm + 1.95 * knob), top, 3.6), (1.2, 0.9, 0.9))
        form.ball(f"{name} wing", (sign * arm * 0.35, top + 2.2, 3.6), (arm * 0.3, 1.4, 1.2))
    form.drum("head knob", (0, top + 2.6, 4), 2.5, height=1.4, axis=(0, 1, 0))
    form.ball("head knob", (0, top + 2.4 + knob, 4), knob)
    form.ball("head knob", (0, top + 2.4 + 1.95 * knob, 4), (0.9, 1.2, 0.9))
    start = top - span
    flare = float(rng.uniform(0.85, 1.25))
    half = vary(rng, 3.6, 0.1)
    form.slab("foot", (0, start - foot / 2, 2.6), foot, 2 * half * flare, 2 * half, thickness=3.6,
              bevel=0.7)  # fmt: skip
    form.rod("bow", (-half, start, 3.4), (half, start, 3.4), 1.3)
    _foot_ornament(form, rng, start - 2.5, start - foot + 1.5, half)
    if rng.random() < 0.6:
        y0, y1 = bow.at(0.3)[0], start + 2
        form.front.line((0, y0), (0, y1), 1.2, -0.35)
        for y in np.linspace(y0, y1, 7):
            form.front.line((-0.7, y), (0.7, y), 0.5, 0.3)
    form.rod("catch", (-1.6, start - 2, 0.6), (-1.6, start - foot + 2, 0.6), 1.1)
    pin(form, (top, 0.9), (start - foot * 0.8, 0.4), radius=0.8)
    return form


def _foot_ornament(form: Form, rng: Random, top: float, low: float, half: float) -> None:
    """Ring-and-dot in pairs, facets along the edges, or bars, as on the feet of crossbows."""
    kind = rng.integers(3)
    if kind == 0:
        for y in (*np.linspace(top, top - 4, 2), *np.linspace(low + 4, low, 2)):
            for x in (-0.5 * half, 0.5 * half):
                ring_and_dot(form, x, float(y), 0.9)
    elif kind == 1:
        for y in np.linspace(top, low, int(rng.integers(6, 10))):
            for sign in (-1, 1):
                form.front.line((sign * 1.25 * half, y), (sign * 0.75 * half, y), 2.0, -0.6)
        reeds(form, (0,), top, low, width=0.8, height=-0.4)
    else:
        bars(form, [*np.linspace(top, top - 5, 4), *np.linspace(low + 5, low, 4)], half,
             width=0.7, height=-0.45)  # fmt: skip
        reeds(form, (-0.5 * half, 0.5 * half), top - 6, low + 6, width=0.5, height=-0.4)
