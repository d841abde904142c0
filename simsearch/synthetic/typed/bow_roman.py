"""Bow brooches of Roman Britain: Colchester derivatives, T-shaped, trumpet, headstud, fantail."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Finish, Form
from simsearch.synthetic.typed import makes, vary
from simsearch.synthetic.typed.fittings import (
    bars,
    catch,
    collar,
    foot_knob,
    head_loop,
    lay,
    line,
    pin,
    reeds,
    ring_and_dot,
    spring,
    trough,
    wing_grooves,
    wings,
)

Random = np.random.Generator


@makes("colchester-derivative-harlow")
def harlow(rng: Random) -> Form:
    """Short half-round wings, a crest over the head, a two-holed lug behind it for the spring."""
    form = Form("colchester-derivative-harlow")
    long, high, wide = vary(rng, 0.95, 0.13), vary(rng, 1.0, 0.1), vary(rng, 1.0, 0.12)
    bow = line(
        [(20, 4, 5.6, 4), (19, 10, 6.4, 4.6), (12, 12.5, 6.2, 4.4), (0, 9.5, 4.6, 3.4),
         (-12, 5, 3, 2.4), (-23, 2.2, 1.6, 1.6)], long=long, high=high, wide=wide, corner=0.09,
    )  # fmt: skip
    lay(form, "bow", bow)
    top, half = 20 * long, vary(rng, 8, 0.13)
    trough(form, top, 2.2, half, 2.3)
    wing_grooves(form, rng, top, half, 2.2)
    form.slab("rear lug", (0, top + 1.8, 0.4), 7.0, 5.6, 4.0, thickness=1.6, axis=(1, 0, 0))
    form.drum("rear lug", (0, top + 3.6, 0.6), 0.75, height=3, axis=(1, 0, 0), cut=True)
    form.rod("spring", (-half * 0.9, top, 0.2), (half * 0.9, top, 0.2), 1.7,
             ridges=(0.28, round(half)))  # fmt: skip
    form.rod("spring", (-half * 0.85, top + 2.8, -0.9), (half * 0.85, top + 2.8, -0.9), 0.5)
    crest = line([(top + 3.4, 5.5, 1.2, 1.4), (top + 1.6, 9.8 * high, 1.5, 1.6),
                  (top - 4, 14.2 * high, 1.2, 1.5), (top - 10, 13.4 * high, 0.8, 1)])  # fmt: skip
    lay(form, "bow", crest, steps=5)
    if rng.random() < 0.5:
        for i in range(4):
            form.front.line((-0.8, top - 1 - 2 * i), (0.8, top - 1.6 - 2 * i), 0.5, -0.4)
    end = catch(form, bow, 0.62, 0.96)
    pin(form, (top - 1, -1), (end[0] - 4, -0.4))
    if rng.random() < 0.3:
        reeds(form, (-1.8, 1.8), top - 3, top - 16, taper=0.6, width=0.5, height=-0.35)
    return form


@makes("polden-hill")
def polden_hill(rng: Random) -> Form:
    """Wide half-round wings with closed pierced ends, humped head, flanges beside the bow."""
    form = Form("polden-hill")
    long, high, wide = vary(rng, 1.0, 0.16), vary(rng, 1.0, 0.1), vary(rng, 1.0, 0.12)
    bow = line(
        [(23, 4, 6, 4), (22.5, 11, 6.6, 4.6), (17, 14.5, 6.2, 4.8), (7, 11.5, 5, 3.8),
         (-6, 6, 3.6, 2.6), (-27, 2.2, 1.8, 1.6)], long=long, high=high, wide=wide, corner=0.07,
    )  # fmt: skip
    lay(form, "bow", bow)
    top, half, radius = 23 * long, vary(rng, 11.5, 0.12), vary(rng, 3.0, 0.08)
    trough(form, top, 1.2, half, radius)
    for name, sign in (("left end", -1), ("right end", 1)):
        form.drum(name, (sign * (half - 0.2), top, 1.0), radius + 0.9, height=1.4, axis=(1, 0, 0))
    form.rod("spring", (-half, top, 0.2), (half, top, 0.2), 1.8, ridges=(0.28, round(1.3 * half)))
    form.rod("hook", (0, top + radius, 5), (0, top + radius + 2.6, 1.5), 1.0)
    form.rod("spring", (-half * 0.8, top + 3, 1.6), (half * 0.8, top + 3, 1.6), 0.55)
    wing_grooves(form, rng, top, half, radius)
    if rng.random() < 0.7:  # crescent flanges where bow and wings meet
        for sign in (-1, 1):
            form.ball("bow", (sign * 4.6 * wide, top - 2.6, 5.2), (2.6, 2.4, 1.2), turn=-40 * sign)
    if rng.random() < 0.6:
        y = top - 4
        form.front.line((0, y), (0, y - 0.45 * 50 * long), 1.0, 0.6, end_width=0.5)
    elif rng.random() < 0.6:
        reeds(form, (-1.3, 0, 1.3), top - 4, top - 22, taper=0.5, width=0.5, height=-0.4)
    end = catch(form, bow, 0.62, 0.97)
    pin(form, (top - 1.5, -1.2), (end[0] - 5, -0.4))
    if rng.random() < 0.4:
        foot_knob(form, bow, 1.5)
    return form


@makes("dolphin")
def dolphin(rng: Random) -> Form:
    """Hinged: tubular wings, a thick bow that arches like a diving dolphin and tapers fast."""
    form = Form("dolphin")
    long, high, wide = vary(rng, 1.0, 0.15), vary(rng, 1.0, 0.1), vary(rng, 1.0, 0.12)
    bow = line(
        [(20, 2.5, 5.5, 4.5), (20.5, 8, 7, 5.6), (15, 13.5, 8, 6.4), (5, 12, 6.6, 5.2),
         (-6, 5.5, 4, 3.2), (-14, 2.8, 2.8, 2.2), (-23, 2.6, 2.2, 1.8)],
        long=long, high=high, wide=wide, corner=0.09,
    )  # fmt: skip
    lay(form, "bow", bow)
    top, half, radius = 20.5 * long, vary(rng, 10, 0.14), vary(rng, 2.5, 0.1)
    wings(form, top, 2.5, half, radius)
    for sign in (-1, 1):
        for x in (0.93, 0.72)[: int(rng.integers(1, 3))]:
            form.drum("left wing" if sign < 0 else "right wing", (sign * x * half, top, 2.5),
                      radius + 0.5, height=0.9, axis=(1, 0, 0))  # fmt: skip
    form.slab("hinge", (0, top, 0.2), 3.4, 2.6, thickness=2.2, cut=True)
    pin(form, (top, 0.2), (-14 * long, -0.3), radius=0.75)
    catch(form, bow, 0.66, 0.98)
    if rng.random() < 0.6:  # the pinched mouldings of the head
        bars(form, [top - 4, top - 5.6], 3.2 * wide, width=0.8, height=0.5)
    if rng.random() < 0.5:
        form.front.line((0, top - 6), (0, -6 * long), 1.0, 0.5, end_width=0.5)
    if rng.random() < 0.35:
        foot_knob(form, bow, 1.6)
    return form


@makes("t-shaped-initial")
def t_shaped(rng: Random) -> Form:
    """A plain T: closed cylinder, straight-sided tapering bow, slight foot knop, no loop."""
    form = Form("t-shaped-initial")
    long, high, wide = vary(rng, 1.08, 0.12), vary(rng, 1.0, 0.12), vary(rng, 1.0, 0.12)
    bow = line(
        [(18, 2.4, 5.6, 2.6), (16.5, 6.6, 5.6, 2.6), (9, 8.6, 5.2, 2.4), (-4, 7, 4.2, 2.2),
         (-20, 3, 2.8, 1.9)], long=long, high=high, wide=wide, corner=0.1,
    )  # fmt: skip
    lay(form, "bow", bow, steps=11)
    top, half, radius = 18 * long, vary(rng, 11, 0.1), vary(rng, 2.1, 0.1)
    wings(form, top, 2.2, half, radius)
    wing_grooves(form, rng, top, half, radius)
    form.slab("hinge", (0, top - 0.3, 0.2), 3.2, 2.6, thickness=1.8, cut=True)
    pin(form, (top, 0.3), (-15 * long, -0.3), radius=0.75)
    catch(form, bow, 0.66, 0.98)
    collar(form, bow, 0.985, grow=vary(rng, 0.4), long=0.7)
    if rng.random() < 0.7:
        collar(form, bow, 0.955, grow=0.25, long=0.5)
    kind = rng.integers(3)
    if kind == 1:
        bars(form, [top - 3.2, top - 4.6, top - 6.0], 2.8 * wide, width=0.6, height=0.45)
    elif kind == 2:
        reeds(form, (-1.5, 1.5), top - 3, -12 * long, taper=0.55, width=0.5, height=-0.4)
    return form


@makes("trumpet")
def trumpet(rng: Random) -> Form:
    """Trumpet-mouthed head, waist knob between petals, slim leg, moulded foot, wire loop."""
    form = Form("trumpet", finish=Finish(tinned=0.05))
    long, high = vary(rng, 0.93, 0.14), vary(rng, 1.0, 0.1)
    mouth, waist = vary(rng, 7.6, 0.12), vary(rng, 4.8, 0.1)
    bow = line(
        [(22, 4.5, 10, 5), (18, 9.5, 7, 5.5), (11, 12.5, 5, 4.6), (4, 12, 4.2, 4.2),
         (0, 9.8, 4.4, 4.2), (-6, 7, 4.6, 3.6), (-16, 4.4, 3.4, 2.8), (-26, 3.2, 2.6, 2.4)],
        long=long, high=high, corner=0.05,
    )  # fmt: skip
    lay(form, "bow", bow)
    top = 22 * long
    axis, tilt = (0.0, -0.8, 0.6), np.array([0.0, -0.8, 0.6])
    rim = np.array([0.0, top + 3.0, 2.0])
    form.drum("head", rim, mouth, height=1.2, axis=axis)
    form.drum("head", rim + 2.2 * tilt, mouth - 0.4, 0.66 * mouth, height=4, axis=axis)
    form.drum("head", rim + 5.8 * tilt, 0.66 * mouth, 0.42 * mouth, height=4.4, axis=axis)
    y, z, *_ = bow.at_y(2.0 * long)
    form.ball("bow", (0, y, z), (waist, 1.7, waist))
    for sign in (-1, 1):  # petals that spring from both sides of the knob
        form.rod("bow", (0, y + sign * 1.4, z - sign * -0.8), (0, y + sign * 4.2, z + sign * 1.2),
                 waist * 0.9, waist * 0.55)  # fmt: skip
        for x in np.linspace(-0.7, 0.7, 5) * waist:
            form.front.line((x, y + sign * 1.7), (x * 0.7, y + sign * 5.2), 0.5, -0.5)
    for dy in (-6.0, 6.0):
        _, z1, w, t = bow.at_y(y + dy)
        form.ball("bow", (0, y + dy, z1), (w / 2 + 0.8, 0.7, t / 2 + 0.8))
    if rng.random() < 0.4:
        reeds(form, (0,), y - 7, -24 * long, width=0.7, height=0.5)
    foot_knob(form, bow, vary(rng, 2.2, 0.12))
    form.slab("rear lug", (0, top, 0.4), 3.5, 3.5, thickness=1.4, axis=(1, 0, 0))
    spring(form, top - 0.5, -0.4, vary(rng, 4.5, 0.1), radius=1.6)
    if rng.random() < 0.75:
        head_loop(form, top + 6.8, 1.5, vary(rng, 2.7), 0.65)
        form.slab("loop", (0, top + 6.4, 1.5), 2.2, 4.2, thickness=1.8)
    end = catch(form, bow, 0.68, 0.97)
    pin(form, (top - 1.5, -1.2), (end[0] - 5, -0.4))
    if rng.random() < 0.4:  # grooves that follow the rim of the mouth
        form.front.circle((0, top - 2.5), 0.75 * mouth, 0.6, -0.5, enamel=int(rng.integers(2)))
    return form


@makes("headstud")
def headstud(rng: Random) -> Form:
    """A round stud high on the bow, a row of enamelled cells down the leg, head-loop, foot-knob."""
    form = Form("headstud")
    long, high, wide = vary(rng, 0.94, 0.1), vary(rng, 1.0, 0.1), vary(rng, 1.0, 0.1)
    bow = line(
        [(19, 3, 5.4, 4), (18.5, 8.5, 5.4, 3.8), (14, 12, 5.4, 3.6), (4, 9.8, 5.6, 3),
         (-9, 6.2, 4.4, 2.4), (-23, 3, 2.8, 2)], long=long, high=high, wide=wide, corner=0.06,
    )  # fmt: skip
    lay(form, "bow", bow)
    top, half, radius = 19 * long, vary(rng, 9.5, 0.12), vary(rng, 2.3, 0.1)
    wings(form, top, 2.6, half, radius)
    wing_grooves(form, rng, top, half, radius)
    form.slab("hinge", (0, top, 0.2), 3.2, 2.6, thickness=2, cut=True)
    if rng.random() < 0.8:
        form.slab("loop", (0, top + 2.6, 2.8), 2.0, 5, 4, thickness=2)
        head_loop(form, top + 3.2, 2.8, vary(rng, 2.2), 0.9)
    y, z, *_ = bow.at(0.3)
    stud, colour = vary(rng, 3.4, 0.1), int(rng.integers(1, 3))
    form.drum("stud knob", (0, y, z + 1.2), stud * 0.6, height=4, axis=(0, 0.3, 0.95))
    form.drum("stud knob", (0, y + 0.8, z + 3.6), stud, height=1.6, axis=(0, 0.3, 0.95))
    form.front.circle((0, y + 1), stud * 0.78, 0.7, 0.5)
    form.front.dot((0, y + 1), stud * 0.5, -0.3, enamel=colour)
    y0, y1 = y - stud - 2.2, -18 * long
    count = int(rng.integers(4, 8))
    step = (y0 - y1) / count
    for i in range(count):
        w = (2.2 - 1.1 * i / count) * wide
        at = y0 - (i + 0.5) * step
        cell = 1 + (colour + i) % 2 if rng.random() < 0.3 else colour
        for sign in (1, -1):
            form.front.line((0, at), (0, at + sign * 0.42 * step), 2 * w * 0.7, -0.35,
                            end_width=0.2, enamel=cell)  # fmt: skip
    bars(form, [y0 + 0.6], 3 * wide, width=0.7, height=0.5)
    reeds(form, (-2.6 * wide, 2.6 * wide), y0, y1, taper=0.62, width=0.6, height=0.4)
    collar(form, bow, 0.96, grow=0.5, long=0.6)
    foot_knob(form, bow, vary(rng, 2.1, 0.1))
    end = catch(form, bow, 0.66, 0.97)
    pin(form, (top, 0.3), (end[0] - 5, -0.4), radius=0.75)
    return form


@makes("bow-and-fantail")
def fantail(rng: Random) -> Form:
    """Winged head with a loop, a short arched bow, a cross-moulding, a flat fan-shaped foot."""
    form = Form("bow-and-fantail")
    size, fan = vary(rng, 0.95, 0.12), vary(rng, 8.2, 0.13)
    bow = line(
        [(18, 3, 7.5, 3.2), (17.5, 8, 6.4, 3.6), (12, 11.5, 5, 3.6), (5, 8.5, 4, 3.2),
         (1, 3.6, 3.8, 2.8)], long=size, high=vary(rng, size, 0.08), corner=0.1,
    )  # fmt: skip
    lay(form, "bow", bow, steps=10)
    top, half = 18 * size, vary(rng, 7.2, 0.15)
    wings(form, top, 2.6, half, vary(rng, 2.0, 0.1))
    form.slab("head", (0, top - 1, 4.4), 4, 6, half * 1.5, thickness=1.6, axis=(0, 0.3, 1))
    form.slab("loop", (0, top + 2.4, 2.8), 2.0, 5, 4, thickness=2)
    head_loop(form, top + 3, 2.8, vary(rng, 2.3), 0.9)
    waist, low = 1 * size, -18 * size
    form.rod("bow", (-3.8, waist, 3.6), (3.8, waist, 3.6), 1.6)
    for y in (waist + 2.2, waist - 2.0)[: int(rng.integers(1, 3))]:
        form.rod("bow", (-2.9, y, 3.4), (2.9, y, 3.4), 1.0)
    form.slab("foot", (0, (waist + low) / 2, 3), waist - low, 2 * fan, 4, thickness=1.8)
    if rng.random() < 0.6:  # a rounded lower edge
        form.ball("foot", (0, low + 0.4, 3), (fan, vary(rng, 3.2, 0.25), 0.95))
    _fan_ornament(form, rng, waist - 3.5, low + 1.5, fan)
    form.slab("catch", (0, low + 7, 0.8), 9, 3.6, thickness=0.9, axis=(1, 0, 0))
    form.rod("catch", (-0.5, low + 3, -1), (-0.5, low + 11, -1), 0.75)
    pin(form, (top, 0.3), (low + 4, -0.8), radius=0.75)
    return form


def _fan_ornament(form: Form, rng: Random, top: float, low: float, fan: float) -> None:
    """Enamel cells or ring-and-dot on the fan, inside a raised edge."""
    kind, colour = rng.integers(3), int(rng.integers(1, 3))
    for sign in (-1, 1):
        form.front.line((sign * 1.6, top), (sign * fan * 0.85, low), 0.7, 0.4)
    if kind == 0:
        form.front.line((0, top - 1), (0, low + 1.5), 1.0, -0.4, end_width=fan, enamel=colour)
    elif kind == 1:
        for x, y in ((0, 0.45), (-0.42, 0.15), (0.42, 0.15), (0, 0.1)):
            ring_and_dot(form, x * fan, low + y * (top - low) + 1, 1.3)
    else:
        for x in (-0.4, 0.0, 0.4):
            form.front.line((0.5 * x * fan, (top + low) / 2), (x * fan, low + 1.4), 0.8, -0.4,
                            end_width=2.4, enamel=1 + (colour + (x == 0)) % 2)  # fmt: skip
