"""Ring-shaped dress fasteners: penannular and annular brooches, buckles."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from simsearch.synthetic.form import Finish, Form
from simsearch.synthetic.typed import makes, vary
from simsearch.synthetic.typed.fixings import Point, box


def _free_pin(
    form: Form, start: Point, end: Point, hoop: float, *, radius: float = 0.9, arch: float = 0.0,
    flat: float = 0.8,
) -> None:  # fmt: skip
    """A pin wrapped round a hoop or bar of section radius ``hoop`` at ``start``, lying in front
    as far as ``end``."""
    (ax, ay), (bx, by) = start, end
    way = np.array([bx - ax, by - ay]) / np.hypot(bx - ax, by - ay)
    across = (float(-way[1]), float(way[0]), 0.0)
    form.ring("pin", (ax, ay, 0), hoop + radius * 0.6, radius * 0.75, axis=across)
    lift = hoop + radius * 0.5
    mid = ((ax + bx) / 2, (ay + by) / 2, lift + arch)
    form.sweep("pin", [(ax, ay, lift), mid, (bx, by, lift * 0.9)],
               [radius * 1.15, radius, radius * 0.35], flat=flat, side=across)  # fmt: skip


@makes("penannular-a")
def penannular_a(rng: np.random.Generator) -> Form:
    """Open ring with round or moulded knobs at the ends and a free pin round the hoop."""
    form = Form("penannular-a", finish=Finish((("copper alloy", 0.85), ("iron", 0.15))))
    r, section = vary(rng, 14, 0.18), vary(rng, 1.5, 0.15)
    gap = float(rng.uniform(40, 70))
    form.ring("hoop", (0, 0, 0), r, section, gap=gap, flat=float(rng.choice([1.0, 1.0, 0.8])))
    knob = section * vary(rng, 1.75, 0.1)
    moulded = rng.random() < 0.5
    for s in (-1, 1):
        a = np.radians(-90 + s * gap / 2)
        along = np.array([np.sin(a), -np.cos(a)]) * s  # away from the gap is negative
        end = np.array([r * np.cos(a), r * np.sin(a)])
        centre = end + along * knob * 0.5
        tilt = float(np.degrees(np.arctan2(along[1], along[0])))
        long = knob * float(rng.uniform(0.85, 1.2))
        form.ball("knob", (*centre, 0), (long, knob, knob), turn=tilt)
        if moulded:
            a0, a1 = end - along * 1.2, end - along * 3.2
            form.rod("knob", (*a0, 0), (*a1, 0), section * 1.2, ridges=(section * 0.2, 2))
    if rng.random() < 0.4:
        milled = form.front.layer(int(rng.integers(36, 60)))
        form.front.line((0, r - section), (0, r + section), 0.7, -0.5, layer=milled)
    elif rng.random() < 0.2:
        form.ball("swelling", (r, 0, 0), (section * 1.5, section * 2, section * 1.4))
    at = float(rng.uniform(65, 115))
    start = (r * np.cos(np.radians(at)), r * np.sin(np.radians(at)))
    _free_pin(form, start, (float(rng.uniform(-4, 4)), -r - vary(rng, 4, 0.4)), section,
              arch=float(rng.choice([0.0, 3.0])))  # fmt: skip
    return form


@makes("penannular-c")
def penannular_c(rng: np.random.Generator) -> Form:
    """Open ring whose flattened ends are rolled up at right angles to the plane of the ring."""
    form = Form("penannular-c")
    r, section = vary(rng, 11.5, 0.22), vary(rng, 1.25, 0.12)
    gap = float(rng.uniform(28, 60))
    form.ring("hoop", (0, 0, 0), r, section, gap=gap, flat=float(rng.choice([1.0, 0.75])))
    size, wide = section * vary(rng, 1.6, 0.1), section * vary(rng, 2.9, 0.1)
    for s in (-1, 1):
        a = np.radians(-90 + s * gap / 2)
        out = np.array([np.cos(a), np.sin(a), 0.0])
        ahead = np.array([np.sin(a), -np.cos(a), 0.0]) * s
        # The strip runs out of the hoop under a coil that stands up from the ring's plane.
        axis = out * r + ahead * section * 0.6 + np.array([0, 0, size * 0.75])
        form.drum("coil tip", axis, size, height=wide, axis=out, bevel=0.3)
        form.drum("coil tip", axis, size * 0.3, height=wide * 1.2, axis=out, cut=True)
        for end in (-1, 1):
            face = axis + out * end * wide / 2
            form.ring("coil tip", face, size * 0.66, 0.22, axis=out, cut=True)
        lip = axis + np.array([0, 0, size * 0.8]) - ahead * size * 0.75
        form.rod("coil tip", lip - out * wide * 0.4, lip + out * wide * 0.4, 0.35)
        neck = out * r - ahead * 2.2
        form.rod("hoop", neck, out * r + ahead * 0.6, section, wide * 0.45, flat=0.5, side=out)
    if rng.random() < 0.25:
        milled = form.front.layer(int(rng.integers(30, 46)))
        form.front.line((0, r - section), (0, r + section), 0.6, -0.45, layer=milled)
    at = float(rng.uniform(65, 115))
    start = (r * np.cos(np.radians(at)), r * np.sin(np.radians(at)))
    _free_pin(form, start, (float(rng.uniform(-3, 3)), -r - vary(rng, 3, 0.4)), section, radius=0.8,
              arch=float(rng.choice([0.0, 2.0])))  # fmt: skip
    return form


@makes("medieval-annular")
def medieval_annular(rng: np.random.Generator) -> Form:
    """Small closed frame narrowed at one place for the pin; plain, twisted, ribbed or bossed."""
    form = Form("medieval-annular",
                finish=Finish((("copper alloy", 0.8), ("silver", 0.15), ("gold", 0.05)), 
                              gilt=0.08))  # fmt: skip
    r, section = vary(rng, 10.5, 0.2), vary(rng, 1.7, 0.15)
    flat, gap = float(rng.choice([0.45, 0.6, 0.9])), float(rng.uniform(20, 28))
    form.ring("frame", (0, 0, 0), r, section, gap=gap, gap_at=90, flat=flat)
    thin = section * 0.5
    half = np.radians(gap / 2 + 6)
    x, y = r * np.sin(half), r * np.cos(half)
    form.rod("frame", (-x, y, 0), (x, y, 0), thin)
    kind = str(rng.choice(["plain", "twisted", "ribbed", "bossed", "lettered"],
                          p=[0.25, 0.2, 0.2, 0.2, 0.15]))  # fmt: skip
    if kind == "twisted":
        around = form.front.layer(int(rng.integers(20, 32)))
        form.front.line((-0.8, r - section), (0.8, r + section), 0.7, -0.6, layer=around)
    elif kind == "ribbed":
        around = form.front.layer(int(rng.choice([4, 6, 8])), mirror=True)
        for x in (0.0, 1.1, 2.2):
            form.front.line((x, r - section), (x, r + section), 0.5, -0.5, layer=around)
    elif kind == "bossed":
        count = int(rng.choice([4, 6]))
        for i in range(count):
            a = 2 * np.pi * (i + 0.5) / count
            at = (r * np.sin(a), r * np.cos(a))
            form.ball("boss", (*at, 0.4), (section * 1.35, section * 1.35, section * 0.9))
            form.front.circle(at, section * 0.7, 0.5, -0.4)
    elif kind == "lettered":
        for edge in (-0.75, 0.75):
            form.front.circle((0, 0), r + edge * section, 0.35, -0.35)
        around = form.front.layer(int(rng.integers(5, 9)))
        for a in (-0.2, 0.1, 0.32):
            way = np.array([np.sin(a), np.cos(a)])
            low, high = (r - 0.45 * section) * way, (r + 0.45 * section) * way
            form.front.line(low, high, 0.45, -0.4, layer=around)
            if rng.random() < 0.6:
                form.front.line(low, high + np.array([0.9, -0.2]), 0.4, -0.4, layer=around)
    _free_pin(form, (0, r * np.cos(half * 0.7)), (0, -r - section * 0.6), thin,
              radius=vary(rng, 0.95, 0.1))  # fmt: skip
    if rng.random() < 0.6:
        form.rod("pin", (-1.5, r - 3.4, thin + 0.8), (1.5, r - 3.4, thin + 0.8), 0.75)
    return form


def _frame(form: Form, points: Sequence[Point], radius: float, flat: float) -> None:
    """A closed frame through points in the plane, its section flattened front to back."""
    closed = [*points, points[0]]
    for i in range(len(points)):
        (ax, ay), (bx, by) = closed[i], closed[i + 1]
        form.rod("frame", (ax, ay, 0), (bx, by, 0), radius, flat=flat, side=(ay - by, bx - ax, 0))


def _power(value: float, power: float) -> float:
    """A power that keeps the sign."""
    return float(np.sign(value) * abs(value) ** power)


@makes("buckle-single-loop")
def buckle_single_loop(rng: np.random.Generator) -> Form:
    """D-shaped or oval frame with a narrow bar set back, a stout outer edge with a pin rest,
    sometimes a riveted plate."""
    form = Form("buckle-single-loop")
    form.finish = Finish((("copper alloy", 0.88), ("iron", 0.12)), gilt=0.04, tinned=0.08)
    tall, wide = vary(rng, 11.5, 0.18), vary(rng, 15, 0.15)
    squareness = float(rng.uniform(0.55, 1.0))
    angles = np.radians(np.linspace(-78, 78, 11))
    shape = [(wide * _power(np.cos(t), squareness), tall * _power(np.sin(t), squareness))
             for t in angles]  # fmt: skip
    thick = vary(rng, 1.6, 0.12)
    outer = [thick * (1 + 0.45 * np.cos(t) ** 4) for t in angles]
    flat = float(rng.choice([0.6, 0.75, 0.9]))
    for i in range(len(shape) - 1):
        (ax, ay), (bx, by) = shape[i], shape[i + 1]
        form.rod("frame", (ax, ay, 0), (bx, by, 0), outer[i], outer[i + 1], flat=flat,
                 side=(ay - by, bx - ax, 0))  # fmt: skip
    bar = (-2.8, vary(rng, 0.72, 0.1) * tall)
    for s, corner in ((-1, shape[0]), (1, shape[-1])):
        form.rod("frame", (*corner, 0), (bar[0], s * bar[1], 0), thick, 1.0)
    form.rod("bar", (bar[0], -bar[1], 0), (bar[0], bar[1], 0), 1.0)
    lip = rng.random()
    if lip < 0.45:
        for y in (-2.2, 2.2):
            form.ball("lip", (wide + 0.4, y, 0), (thick * 1.35, 1.6, thick * 0.9))
    elif lip < 0.65:
        form.rod("lip", (wide + 0.5, -tall * 0.42, 0), (wide + 0.5, tall * 0.42, 0), thick * 1.25,
                 ridges=(0.25, 5))  # fmt: skip
    elif lip < 0.8:
        form.slab("lip", (wide + thick * 1.6, 0, 0), 3, 4.5, 1, thickness=2, turn=-90)
    _free_pin(form, (bar[0], 0), (wide + thick * 1.2, 0), 1.0, radius=vary(rng, 1.15, 0.1))
    if rng.random() < 0.4:
        _buckle_plate(form, rng, bar)
    return form


def _buckle_plate(form: Form, rng: np.random.Generator, bar: Point) -> None:
    """A folded plate round the bar, slotted for the pin, held by rivets."""
    long, tall = vary(rng, 19, 0.2), bar[1] * 1.75
    x = bar[0] - long / 2
    for z in (1.1, -1.1):
        form.slab("plate", (x, 0, z), tall, long + 1.5, thickness=0.7)
    form.rod("plate", (bar[0], -tall / 2, 0), (bar[0], tall / 2, 0), 1.45)
    form.slab("plate", (bar[0], 0, 0.8), 3.2, 6, thickness=5, cut=True)
    form.rod("bar", (bar[0], -2, 0), (bar[0], 2, 0), 0.9)
    rivets = [(x - long * 0.3, s * tall * 0.3) for s in (-1, 1)]
    if rng.random() < 0.5:
        rivets.append((x + long * 0.12, 0))
    for at in rivets:
        form.front.dot(at, 1.0, 0.5)
        form.back.dot(at, 0.8, 0.4)
    if rng.random() < 0.5:
        box(form.front, (x, 0), long * 0.85, tall * 0.82, 0.5, -0.35)


@makes("buckle-double-loop")
def buckle_double_loop(rng: np.random.Generator) -> Form:
    """Two like loops on a straight middle bar, flat bevelled frame; oval, kidney or angular."""
    form = Form("buckle-double-loop")
    form.finish = Finish((("copper alloy", 0.9), ("lead", 0.06), ("iron", 0.04)), tinned=0.1)
    reach, tall = vary(rng, 20, 0.18), vary(rng, 14, 0.15)
    kind = str(rng.choice(["oval", "waisted", "angular"], p=[0.35, 0.4, 0.25]))
    waist = {"oval": 0.97, "waisted": 0.62, "angular": 0.75}[kind]
    power = {"oval": 0.9, "waisted": 1.0, "angular": 0.45}[kind]
    angles = np.radians(np.linspace(0, 360, 20, endpoint=False) + 9)
    points = []
    for t in angles:
        x, y = reach * _power(np.cos(t), power), tall * _power(np.sin(t), power)
        pinch = 1 - (1 - waist) * np.exp(-((x / (0.35 * reach)) ** 2))
        points.append((float(x), float(y * pinch)))
    thick = vary(rng, 1.9, 0.12)
    _frame(form, points, thick, flat=vary(rng, 0.55, 0.1))
    end = tall * waist * 0.97
    form.rod("bar", (0, -end, 0), (0, end, 0), 1.1)
    ornament = rng.random()
    if ornament < 0.35:
        for x in (-reach, reach):
            form.ball("knop", (x * 1.05, 0, 0), (2.3, 2.0, 1.2))
        for y in (-end, end):
            form.ball("knop", (0, y * 1.06, 0), (2.0, 2.2, 1.2))
    elif ornament < 0.55:
        for x in (-reach, reach):
            for y in (-2.4, 0, 2.4):
                form.ball("knop", (x * (1.02 if y else 1.1), y, 0), (1.8, 1.6, 1.1))
    elif ornament < 0.75:
        sides = form.front.layer(2, mirror=True)
        for i in range(4):
            t = np.radians(62 + 9 * i)
            a, b = np.array([np.sin(t) * reach, np.cos(t) * tall]), 0.88
            form.front.line(a * b, a * 1.12, 0.6, -0.5, layer=sides)
    if rng.random() < 0.85:
        _free_pin(form, (0, 0), (reach + thick, 0), 1.1, radius=vary(rng, 1.15, 0.12))
    return form
