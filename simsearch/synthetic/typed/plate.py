"""Plate and disc brooches: flat fronts, a lug and a catch behind."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Finish, Form, spiral
from simsearch.synthetic.typed import makes, vary
from simsearch.synthetic.typed.fixings import (
    animal_limbs,
    lug_and_catch,
    ribbon,
    ring_and_dot,
)


@makes("dragonesque")
def dragonesque(rng: np.random.Generator) -> Form:
    """Flat S body swelling in the middle, at each end a head with an ear and a curled snout."""
    form = Form("dragonesque")
    k, fat, lean = vary(rng, 1.0, 0.14), vary(rng, 1.0, 0.12), vary(rng, 1.0, 0.1)
    half = [(0, 0), (-4.6, 4), (-7.6, 9), (-6.8, 14.5), (-2.2, 17.4), (2.6, 16)]
    width = [5.2 * fat, 4.8 * fat, 3.0, 1.9, 2.4, 3.6]
    curl = [(2.6, 16), (6.2, 13), (8.6, 11.6), (10.4, 13), (9.8, 15)]
    for s in (k, -k):

        def at(points: list[tuple[float, float]], s: float = s) -> list[tuple[float, float]]:
            return [(x * s * lean, y * s) for x, y in points]

        ribbon(form, "body", at(half), [w * k for w in width], 2.4 * k)
        ribbon(form, "snout tip", at(curl), [2.8 * k, 1.7 * k, 1.2 * k, 1.2 * k, 1.5 * k], 2.1 * k)
        ribbon(form, "ear", at([(0.2, 17), (2.6, 21.5), (6.4, 24.6)]), [2.0 * k, 2.5 * k, 0.8 * k],
               2.0 * k)  # fmt: skip
    _dragon_ornament(form, rng, k, lean)
    form.ring("pin", (-7.3 * k * lean, 12 * k, 0), 2.3 * k, 0.6, flat=1, axis=(-0.2, 1, 0))
    form.rod("pin", (-6.6 * k * lean, 12 * k, -2.2 * k), (7 * k, -15 * k, -1.8), 0.8, 0.4)
    return form


def _dragon_ornament(form: Form, rng: np.random.Generator, k: float, lean: float) -> None:
    """Eyes and neck bars always; on two thirds an enamelled middle of one of three kinds."""
    twice = form.front.layer(2)
    ring_and_dot(form.front, (2.2 * k * lean, 16 * k), 1.6 * k, layer=twice)
    for y in (10.5, 12.0):
        form.front.line((-9.6 * k * lean, y * k), (-5 * k * lean, y * k), 0.5, -0.35, layer=twice)
    if rng.random() < 0.3:
        return
    kind = int(rng.integers(3))
    form.front.path([(-2.8 * k, 0), (-6.4 * k * lean, 7.5 * k)], 0.6, -0.3, layer=twice)
    if kind == 0:
        form.front.line((-1.6 * k, 1.8 * k), (-6.2 * k * lean, 7 * k), 3.6 * k, -0.35,
                        end_width=1.4 * k, enamel=1, layer=twice)  # fmt: skip
        form.front.dot((0, 0), 2.0 * k, 0.4)
        form.front.dot((0, 0), 1.2 * k, -0.4, enamel=2)
    else:
        for i in range(3):
            at = (-1.9 * i * k * lean - 0.6 * k, (1.8 * i + 0.6) * k)
            r = (1.7 - 0.25 * i) * k if kind == 1 else 1.3 * k
            form.front.dot(at, r, -0.4, enamel=1 + (i + kind) % 2, layer=twice)


@makes("umbonate-disc")
def umbonate_disc(rng: np.random.Generator) -> Form:
    """Disc with a hollow dome in the middle, enamelled rays or petals, round lobes at the rim."""
    form = Form("umbonate-disc")
    r, dome = vary(rng, 15, 0.14), vary(rng, 0.56, 0.1)
    rise = vary(rng, 5.5, 0.15)
    form.drum("plate", (0, 0, 0.8), r, height=1.6)
    form.ball("dome", (0, 0, 1.0), (dome * r, dome * r, rise))
    form.ball("dome", (0, 0, -0.6), (dome * r - 1.6, dome * r - 1.6, rise - 0.6), cut=True)
    form.drum("dome", (0, 0, rise + 0.7), 1.9, 1.5, height=1.4)
    lobes = int(rng.choice([0, 4, 6, 6, 8]))
    for i in range(lobes):
        a = 2 * np.pi * i / lobes
        form.ball("lobe", ((r + 0.6) * np.sin(a), (r + 0.6) * np.cos(a), 0.8), (2.3, 2.3, 1.1))
    form.front.circle((0, 0), r - 0.7, 1.2, 0.5)
    form.front.circle((0, 0), dome * r + 0.6, 0.9, 0.4)
    form.front.dot((0, 0), 1.1, -0.3, enamel=2)
    rays = int(rng.choice([6, 7, 8, 10]))
    around = form.front.layer(rays, mirror=True)
    wide = 2 * np.pi * dome * r / rays
    first, last = (0.3, wide * 0.62) if rng.random() < 0.5 else (wide * 0.55, 0.3)
    form.front.line((0, 3.2), (0, dome * r - 1.0), first, -0.5, end_width=last, enamel=1,
                    layer=around)  # fmt: skip
    rim = form.front.layer(int(rng.choice([rays, 2 * rays])), mirror=True)
    mid = (r + dome * r) / 2
    cell = (r - dome * r) * 0.45
    form.front.line((0, mid - 0.4), (0, mid + 0.4), cell, -0.5, enamel=2, layer=rim)
    lug_and_catch(form, rng, r * 0.76, -r * 0.76, lugs=int(rng.choice([1, 2])), size=0.9)
    return form


@makes("lozenge-plate")
def lozenge_plate(rng: np.random.Generator) -> Form:
    """Lozenge with a raised stepped middle, enamel cells, and round knobs at the angles."""
    form = Form("lozenge-plate")
    tall, wide = vary(rng, 33, 0.12), vary(rng, 27, 0.12)
    form.lozenge("plate", (0, 0, 0.8), tall, wide, thickness=1.6)
    step = vary(rng, 0.62, 0.1)
    form.lozenge("plate", (0, 0, 1.6), tall * step, wide * step, thickness=1.8)
    for x, y in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        at = (x * (wide / 2 + 0.6), y * (tall / 2 + 0.8))
        form.drum("knob", (*at, 0.8), 2.6, height=1.7)
        if rng.random() < 0.85:
            form.front.dot(at, 1.3, -0.4, enamel=2)
    _lozenge_cells(form, rng, tall * step, wide * step)
    quarter = form.front.layer(2, mirror=True)
    form.front.path([(0, tall * 0.43), (wide * 0.43, 0)], 0.7, 0.5, layer=quarter)
    if rng.random() < 0.6:
        form.front.path([(0, tall * 0.37), (wide * 0.37, 0)], 1.2, -0.4, layer=quarter, enamel=2)
    lug_and_catch(form, rng, tall * 0.3, -tall * 0.3, lugs=2 if rng.random() < 0.8 else 1)
    return form


def _lozenge_cells(form: Form, rng: np.random.Generator, tall: float, wide: float) -> None:
    """Enamel of the middle: a chequer of small lozenges, nested lozenges, or a central roundel."""
    kind = rng.integers(3)
    if kind == 0:
        for i in range(3):
            for j in range(3):
                x, y = (i - j) * wide * 0.145, (i + j - 2) * tall * 0.145
                form.front.dot((x, y), wide * 0.105, -0.5, enamel=1 + (i + j) % 2)
    elif kind == 1:
        form.front.line((0, tall * 0.22), (0, 0), 0.6, -0.5, end_width=wide * 0.42, enamel=1)
        form.front.line((0, -tall * 0.22), (0, 0), 0.6, -0.5, end_width=wide * 0.42, enamel=1)
        form.front.dot((0, 0), wide * 0.09, 0.5)
    else:
        form.front.dot((0, 0), wide * 0.25, -0.5, enamel=1)
        form.front.circle((0, 0), wide * 0.15, 0.7, 0.5)
        form.front.dot((0, 0), wide * 0.08, -0.4, enamel=2)


@makes("early-disc")
def early_disc(rng: np.random.Generator) -> Form:
    """Thin flat disc with punched ring-and-dot, often tinned; small lug and catch behind."""
    form = Form("early-disc", finish=Finish(tinned=0.5))
    r = vary(rng, 17, 0.13)
    form.drum("plate", (0, 0, 0.6), r, height=vary(rng, 1.2, 0.1), bevel=0.3)
    ring_and_dot(form.front, (0, 0), vary(rng, 2.6), rings=int(rng.integers(1, 3)), height=-0.5)
    count = int(rng.integers(3, 7))
    around = form.front.layer(count)
    ring_and_dot(form.front, (0, r * 0.58), vary(rng, 2.3, 0.12), height=-0.5, layer=around)
    if rng.random() < 0.4:
        form.front.line((0, r * 0.2), (0, r * 0.38), 0.7, -0.4, layer=around)
    edge = rng.random()
    if edge < 0.65:
        form.front.circle((0, 0), r - 1.5, 0.6, -0.4)
    if edge < 0.35:
        form.front.circle((0, 0), r - 2.6, 0.5, -0.4)
    elif edge > 0.5:
        rim = form.front.layer(int(rng.integers(24, 44)))
        form.front.line((0, r - 1.6), (0, r + 1), 0.9, -0.5, layer=rim)
    lug_and_catch(form, rng, r * 0.68, -r * 0.7, size=0.95)
    return form


@makes("saucer")
def saucer(rng: np.random.Generator) -> Form:
    """Dished disc with an upturned rim, chip-carved spirals, star or animals in the floor."""
    form = Form("saucer", finish=Finish(gilt=0.65))
    r, deep = vary(rng, 20, 0.16), vary(rng, 5.0, 0.15)
    floor = r * vary(rng, 0.8, 0.04)
    form.drum("dish", (0, 0, deep / 2), floor, r, height=deep)
    form.drum("dish", (0, 0, deep / 2 + 1.6), floor - 0.9, r - 0.2, height=deep, cut=True)
    form.front.circle((0, 0), floor * 0.92, 0.8, 0.7)
    form.front.circle((0, 0), floor * 0.82, 0.5, 0.5)
    form.front.dot((0, 0), floor * 0.13, 0.9)
    form.front.circle((0, 0), floor * 0.24, 0.8, 0.7)
    kind = rng.integers(3)
    if kind == 0:
        count = int(rng.integers(4, 7))
        around = form.front.layer(count)
        size = floor * min(0.26, 1.5 / count)
        curl = spiral((0, floor * 0.53), size, 1.9, start=-100, steps=18, inner=0.08)
        form.front.path(curl, 0.75, 0.8, layer=around)
    elif kind == 1:
        points = int(rng.choice([5, 6, 8]))
        around = form.front.layer(points, mirror=True)
        valley = (np.sin(np.pi / points) * floor * 0.4, np.cos(np.pi / points) * floor * 0.4)
        form.front.path([(0, floor * 0.76), valley], 1.1, 0.8, layer=around)
        form.front.line((0, floor * 0.3), (0, floor * 0.6), 0.6, 0.6, layer=around)
        far = (np.sin(np.pi / points) * floor * 0.66, np.cos(np.pi / points) * floor * 0.66)
        form.front.dot(far, floor * 0.08, 0.7, layer=around)
    else:
        around = form.front.layer(int(rng.integers(3, 6)))
        animal_limbs(form.front, rng, (-floor * 0.5, floor * 0.32), (floor * 0.5, floor * 0.72), 13,
                     layer=around, width=0.9, height=0.8)  # fmt: skip
    lug_and_catch(form, rng, floor * 0.72, -floor * 0.74)
    return form


@makes("button-brooch")
def button_brooch(rng: np.random.Generator) -> Form:
    """Tiny disc with a low upturned rim and a chip-carved face: brows, T nose, eyes, cheeks."""
    form = Form("button-brooch", finish=Finish(gilt=0.6))
    r = vary(rng, 9.6, 0.08)
    floor = r * 0.8
    form.drum("dish", (0, 0, 1.2), floor + 0.3, r, height=2.4)
    form.drum("dish", (0, 0, 2.6), floor - 0.4, r - 0.2, height=2.8, cut=True)
    face = form.front.layer(1, mirror=True)
    form.front.circle((0, 0), floor * 0.93, 0.5, 0.6)
    brow = vary(rng, 0.34, 0.1) * floor
    form.front.path([(0, brow), (floor * 0.34, brow + 0.7), (floor * 0.66, brow - 0.6)], 1.0, 0.8,
                    layer=face)  # fmt: skip
    form.front.line((0, brow), (0, -floor * 0.2), 0.9, 0.9, end_width=1.7, layer=face)
    form.front.dot((floor * 0.34, floor * 0.1), 0.95, 0.8, layer=face)
    form.front.path([(floor * 0.62, 0), (floor * 0.5, -floor * 0.36), (floor * 0.26, -floor * 0.4)],
                    0.9, 0.7, layer=face)  # fmt: skip
    form.front.line((0, -floor * 0.5), (floor * 0.3, -floor * 0.56), 0.7, 0.6, layer=face)
    for i in range(3):
        form.front.line((0.8 + 1.5 * i, floor * 0.6), (0.9 + 1.7 * i, floor * (0.82 - 0.06 * i)),
                        0.6, 0.6, layer=face)  # fmt: skip
    lug_and_catch(form, rng, floor * 0.7, -floor * 0.7, size=0.65)
    return form


@makes("trefoil")
def trefoil(rng: np.random.Generator) -> Form:
    """Three equal squared arms around a small middle, each with lengthwise leaf ornament."""
    form = Form("trefoil", finish=Finish(gilt=0.1, tinned=0.1))
    reach, wide = vary(rng, 19, 0.15), vary(rng, 10.5, 0.1)
    end = wide * vary(rng, 1.15, 0.06)
    for turn in (0.0, 120.0, 240.0):
        a = np.radians(turn)
        mid = (-reach / 2 * np.sin(a), reach / 2 * np.cos(a), 1.0)
        form.slab("arm", mid, reach, wide, end, thickness=2.0, turn=turn, bevel=0.5)
    form.drum("middle", (0, 0, 1.2), wide * 0.56, wide * 0.48, height=2.6)
    arm = form.front.layer(3, mirror=True)
    side, base = end / 2 - 1.0, wide * 0.55
    form.front.path([(0, reach - 1), (side, reach - 1), (side * 0.9, base)], 0.8, 0.6, layer=arm)
    form.front.line((0, base), (0, reach - 1), 0.9, 0.7, layer=arm)
    leaves = int(rng.integers(3, 6))
    for i in range(leaves):
        y = base + (reach - base - 2) * (i + 0.15) / leaves
        form.front.path([(0.2, y), (side * 0.5, y + 1.2), (side * 0.75, y + 2.4)], 0.8, 0.6,
                        layer=arm)  # fmt: skip
    form.front.circle((0, 0), wide * 0.4, 0.7, 0.6)
    if rng.random() < 0.5:
        form.front.dot((0, 0), wide * 0.16, 0.6)
    else:
        form.front.line((0, 0), (0, wide * 0.35), 0.6, 0.6, layer=arm)
    lug_and_catch(form, rng, -wide * 0.45, reach - 3.5, lugs=2, size=0.95)
    if rng.random() < 0.3:
        form.ring("loop", (-reach * 0.8, -reach * 0.46, -1.6), 1.5, 0.5, axis=(1, 0, 0))
    return form
