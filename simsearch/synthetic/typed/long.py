"""Early medieval long brooches: a head-plate, a bow and a foot in one line."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Finish, Form, arch
from simsearch.synthetic.typed import makes, vary
from simsearch.synthetic.typed.fixings import animal_limbs, box, lug_and_catch, ring_and_dot


@makes("cruciform")
def cruciform(rng: np.random.Generator) -> Form:
    """Narrow head-plate with three knobs, arched bow, long foot ending in a horse's head."""
    form = Form("cruciform", finish=Finish(gilt=0.08, tinned=0.08))
    k, wide = vary(rng, 0.9, 0.2), vary(rng, 1.0, 0.1)
    panel, wing = 11 * k * wide, vary(rng, 25, 0.12) * k * wide
    form.slab("head", (0, 31 * k, 1.4 * k), 18 * k, panel, thickness=2.8 * k)
    form.slab("head", (0, 30 * k, 0.9 * k), 14 * k, wing, thickness=1.7 * k)
    size = vary(rng, 3.7, 0.12) * k
    for x, y, dx, dy in ((0, 40 * k, 0, 1), (wing / 2, 30 * k, 1, 0), (-wing / 2, 30 * k, -1, 0)):
        neck = (x + 3.5 * k * dx, y + 3.5 * k * dy, 1.2 * k)
        form.rod("knob", (x - k * dx, y - k * dy, 1.2 * k), neck, size * 0.72, ridges=(0.35 * k, 2))
        long, short = size * vary(rng, 1.25, 0.1), size
        ball = (long, short, short) if dx else (short, long, short)
        form.ball("knob", (neck[0] + 2.6 * k * dx, neck[1] + 2.6 * k * dy, 1.2 * k), ball)
    bow = arch((0, 23 * k, 2 * k), (0, -1 * k, 1.5 * k), vary(rng, 9, 0.12) * k, steps=6)
    form.sweep("bow", bow, [4.8 * k, 5.4 * k, 4.6 * k], flat=0.55)
    end = _horse_foot(form, rng, k)
    form.front.line((0, 21 * k), (0, 2 * k), 1.0 * k, 0.6)
    for y in (23.5, 38.5, -1.5, -3.5, -18):
        form.front.line((-panel / 2, y * k), (panel / 2, y * k), 0.8 * k, 0.45)
    if rng.random() < 0.6:
        sides = form.front.layer(1, mirror=True)
        for i in range(5):
            form.front.dot((wing / 2 - 1.4 * k, (24.6 + 2.7 * i) * k), 0.7 * k, -0.5, layer=sides)
    lug_and_catch(form, rng, 30 * k, -9 * k, size=1.15 * k)
    return end


def _horse_foot(form: Form, rng: np.random.Generator, k: float) -> Form:
    """Faceted foot with or without lappets, then bulging eyes, a long face, flaring nostrils."""
    form.slab("foot", (0, -9.5 * k, 1.3 * k), 19 * k, 8 * k, 9 * k, thickness=2.6 * k,
              bevel=0.8 * k)  # fmt: skip
    if rng.random() < 0.35:
        for x in (-1, 1):
            form.ball("lappet", (6.5 * x * k, -8 * k, 0.9 * k), (3.6 * k, 4.2 * k, 0.9 * k))
    long = vary(rng, 1.0, 0.12)
    nose = (-21 - 19 * long) * k
    form.sweep("horse head", [(0, -18 * k, 1.6 * k), (0, -25 * k, 2 * k), (0, nose, 1.4 * k)],
               [3.6 * k, 4.6 * k, 2.7 * k], flat=0.6)  # fmt: skip
    nostril = vary(rng, 2.5, 0.15) * k
    for x in (-1, 1):
        form.ball("horse head", (3.5 * x * k, -25 * k, 2.6 * k), 2.0 * k)
        form.ball("horse head", (2.5 * x * k, nose - 1.2 * k, 1.4 * k),
                  (nostril, nostril * 1.25, nostril * 0.7), turn=-25 * x)  # fmt: skip
        form.front.dot((2.7 * x * k, nose - 1.6 * k), 0.9 * k, -0.6)
    if rng.random() < 0.4:
        form.slab("horse head", (0, nose - 4.5 * k, k), 5 * k, 6.5 * k, 3 * k, thickness=1.8 * k)
    form.front.path([(-2.2 * k, -28 * k), (0, nose + 3 * k), (2.2 * k, -28 * k)], 0.7 * k, 0.5)
    for y in (0.5, -20.5):
        form.front.line((-4 * k, y * k), (4 * k, y * k), 0.7 * k, -0.4)
    return form


@makes("small-long")
def small_long(rng: np.random.Generator) -> Form:
    """Small and flat: trefoil, square, cross or lozenge head, short bow, plain splayed foot."""
    form = Form("small-long", finish=Finish(tinned=0.08))
    k = vary(rng, 1.0, 0.12)
    kind = str(rng.choice(["trefoil", "square", "cross", "lozenge"]))
    _small_head(form, rng, k, kind)
    bow = arch((0, 13 * k, 1.2 * k), (0, -3 * k, 1.2 * k), vary(rng, 5.5, 0.15) * k, steps=6)
    form.sweep("bow", bow, [3.3 * k, 3.8 * k, 3.2 * k], flat=0.5)
    end = vary(rng, 14, 0.15) * k
    foot = rng.integers(3)
    form.slab("foot", (0, -6.5 * k, 0.9 * k), 8 * k, 6.5 * k, thickness=1.9 * k, bevel=0.5)
    if foot == 0:
        form.slab("foot", (0, -20 * k, 0.7 * k), 20 * k, end, 4.5 * k, thickness=1.5 * k)
    elif foot == 1:
        form.slab("foot", (0, -19 * k, 0.7 * k), 19 * k, end * 1.15, 4.5 * k, thickness=1.5 * k)
        form.drum("foot", (0, -32.5 * k, 0.7 * k), 6.4 * k, height=8 * k, cut=True)
    else:
        form.lozenge("foot", (0, -19 * k, 0.7 * k), 21 * k, end * 0.95, thickness=1.5 * k)
        form.ball("foot", (0, -29.5 * k, 0.7 * k), (3 * k, 2.2 * k, 0.9 * k))
    for y in (12, 10.6, -3.2, -4.8, -9.5):
        form.front.line((-3.3 * k, y * k), (3.3 * k, y * k), 0.6 * k, -0.4)
    if rng.random() < 0.5:
        sides = form.front.layer(1, mirror=True)
        for i in range(4):
            form.front.dot((end * (0.1 + 0.085 * i), (-15 - 3.4 * i) * k), 0.55 * k, -0.4,
                           layer=sides)  # fmt: skip
    lug_and_catch(form, rng, 20 * k, -9 * k, size=0.95 * k)
    return form


def _small_head(form: Form, rng: np.random.Generator, k: float, kind: str) -> None:
    wide, tall = vary(rng, 19, 0.1) * k, vary(rng, 15, 0.1) * k
    mid = 13 * k + tall / 2
    if kind == "square":
        form.slab("head", (0, mid, 0.8 * k), tall, wide, thickness=1.5 * k)
        box(form.front, (0, mid), wide * 0.85, tall * 0.8, 0.5 * k, -0.4)
        for x in (-1, 1):
            ring_and_dot(form.front, (x * wide * 0.27, mid), 1.5 * k)
            if rng.random() < 0.4:
                notch = (x * wide / 2, 13 * k + tall * 0.3, 0)
                form.drum("head", notch, 1.6 * k, height=9, cut=True)
    elif kind == "trefoil":
        form.slab("head", (0, mid - k, 0.9 * k), tall * 0.85, 9 * k, thickness=1.8 * k)
        for x, y in ((0, 1), (1, 0), (-1, 0)):
            at = (x * 7.6 * k, mid - k + y * 8.8 * k)
            form.drum("head", (*at, 0.7 * k), vary(rng, 4.3, 0.06) * k, height=1.4 * k)
            ring_and_dot(form.front, at, 1.6 * k)
    elif kind == "cross":
        form.slab("head", (0, mid - k, 0.9 * k), tall * 0.7, 8 * k, thickness=1.8 * k)
        for turn, x, y in ((0, 0, 1), (90, -1, 0), (-90, 1, 0)):
            arm = (x * 7 * k, mid - k + y * 8 * k, 0.7 * k)
            form.slab("head", arm, 8 * k, 5 * k, 10.5 * k, thickness=1.4 * k, turn=turn)
    else:
        form.lozenge("head", (0, mid + 1.5 * k, 0.8 * k), tall * 1.35, wide, thickness=1.5 * k)
        ring_and_dot(form.front, (0, mid + 1.5 * k), 2.2 * k)


@makes("great-square-headed")
def great_square_headed(rng: np.random.Generator) -> Form:
    """Large gilt brooch: wide rectangular head-plate, ridged bow, lozenge foot with three lobes,
    chip-carved animals all over the front."""
    form = Form("great-square-headed",
                finish=Finish((("copper alloy", 0.85), ("silver", 0.15)), gilt=0.6))  # fmt: skip
    k = vary(rng, 1.0, 0.12)
    wide, tall = vary(rng, 54, 0.08) * k, vary(rng, 31, 0.08) * k
    mid = 26 * k + tall / 2
    form.slab("head", (0, mid, 1.2 * k), tall, wide, thickness=2.2 * k)
    bow = arch((0, 30 * k, 1.5 * k), (0, 2 * k, 1.5 * k), vary(rng, 10, 0.12) * k, steps=6)
    form.sweep("bow", bow, [8 * k, 9 * k, 8 * k], flat=0.45)
    foot, side = vary(rng, 38, 0.08) * k, vary(rng, 6, 0.12) * k
    form.lozenge("foot", (0, -23 * k, 1.2 * k), 56 * k, foot, thickness=2.2 * k)
    form.slab("foot", (0, -1 * k, 1.2 * k), 14 * k, 15 * k, 19 * k, thickness=2.2 * k)
    for x in (-1, 1):
        form.drum("foot", (x * foot * 0.5, -23 * k, 1.2 * k), side, height=2.2 * k)
        form.ball("foot", (x * 11.5 * k, -5 * k, 1.0 * k), (3.2 * k, 7 * k, 1.1 * k), turn=-20 * x)
    form.drum("foot", (0, -51 * k, 1.2 * k), side * 1.35, height=2.2 * k)
    if rng.random() < 0.4:
        form.drum("disc", (0, 16 * k, 11 * k), 6.5 * k, height=2 * k)
    _chip_carving(form, rng, k, (wide, tall, mid), foot, side)
    lug_and_catch(form, rng, mid, -6 * k, lugs=int(rng.choice([1, 2])), size=1.8 * k)
    return form


def _chip_carving(
    form: Form, rng: np.random.Generator, k: float, head: tuple[float, float, float], foot: float,
    side: float,
) -> None:  # fmt: skip
    """Framed fields of broken animals: head-plate border and panel, bow, foot and its lobes."""
    wide, tall, mid = head
    front = form.front
    box(front, (0, mid), wide * 0.95, tall * 0.92, 1.0 * k, 0.7)
    box(front, (0, mid - 0.08 * tall), wide * 0.62, tall * 0.58, 1.1 * k, 0.8)
    box(front, (0, mid - 0.12 * tall), wide * 0.34, tall * 0.34, 0.9 * k, 0.8)
    half = front.layer(1, mirror=True)
    animal_limbs(front, rng, (wide * 0.34, mid - tall * 0.4), (wide * 0.45, mid + tall * 0.4), 7,
                 layer=half, width=1.1 * k, height=0.8)  # fmt: skip
    animal_limbs(front, rng, (0, mid + tall * 0.25), (wide * 0.32, mid + tall * 0.42), 6,
                 layer=half, width=1.1 * k, height=0.8)  # fmt: skip
    low = front.layer(1, mirror=True)
    front.line((0, 28 * k), (0, 4 * k), 1.6 * k, 1.0, layer=low)
    front.line((5.5 * k, 27 * k), (5.5 * k, 5 * k), 1.0 * k, 0.7, layer=low)
    animal_limbs(front, rng, (foot * 0.08, -33 * k), (foot * 0.26, -13 * k), 7, layer=low,
                 width=1.1 * k, height=0.8)  # fmt: skip
    frame = [(0, 2 * k), (foot * 0.38, -23 * k), (0, -45 * k)]
    front.path(frame, 1.1 * k, 0.8, layer=low)
    front.line((0, -4 * k), (0, -42 * k), 1.3 * k, 0.8, layer=low)
    at = (foot * 0.5, -23 * k)
    front.circle(at, side * 0.75, 1.0 * k, 0.7, layer=low)
    front.dot(at, side * 0.3, 0.8, layer=low)
    front.circle((0, -51 * k), side, 1.0 * k, 0.7, layer=low)
    front.line((0, -47 * k), (0, -53 * k), 1.0 * k, 0.8, end_width=2.4 * k, layer=low)
    front.dot((2.6 * k, -50 * k), 1.1 * k, 0.8, layer=low)


@makes("ansate")
def ansate(rng: np.random.Generator) -> Form:
    """Two like terminals joined by a low bow that runs across; ring-and-dot or grooves."""
    form = Form("ansate", finish=Finish(tinned=0.08))
    k, reach = vary(rng, 1.0, 0.15), vary(rng, 20, 0.1)
    kind = str(rng.choice(["splayed", "disc", "lobed", "caterpillar"], p=[0.35, 0.2, 0.2, 0.25]))
    wide = vary(rng, 12, 0.12) * k
    inner = 6.5 * k
    end = reach * k
    for s in (1, -1):
        mid = (0, s * (inner + end) / 2, 0.8 * k)
        if kind == "disc":
            form.drum("terminal", (0, s * (inner + 5.5 * k), 0.8 * k), wide * 0.56, height=1.6 * k)
        elif kind == "lobed":
            form.slab("terminal", mid, end - inner, wide * 0.5, thickness=1.6 * k)
            for x, y in ((0, end), (wide * 0.36, mid[1] * s), (-wide * 0.36, mid[1] * s)):
                form.ball("terminal", (x, s * y, 0.8 * k), (wide * 0.25, wide * 0.25, 0.9 * k))
        else:
            narrow = wide * (0.8 if kind == "caterpillar" else 0.5)
            form.slab("terminal", mid, end - inner + k, narrow, wide, thickness=1.6 * k,
                      turn=0 if s > 0 else 180)  # fmt: skip
    bow = arch((0, inner + k, 1.2 * k), (0, -inner - k, 1.2 * k), vary(rng, 4.5, 0.2) * k, steps=6)
    strap = wide * (0.42 if kind == "caterpillar" else 0.27)
    form.sweep("bow", bow, [strap, strap * 0.95, strap], flat=0.5)
    _ansate_ornament(form, rng, k, kind, (inner, end, wide))
    lug_and_catch(form, rng, inner + 3 * k, -inner - 3 * k, size=0.85 * k)
    return form


def _ansate_ornament(
    form: Form, rng: np.random.Generator, k: float, kind: str, sizes: tuple[float, float, float]
) -> None:
    """The same on both terminals: grooves along a caterpillar's back, else ring-and-dot."""
    inner, end, wide = sizes
    both = form.front.layer(2, mirror=True)
    middle = (inner + end) / 2
    if kind == "caterpillar":
        for i in range(6):
            y = 0.6 * k + i * (inner * 1.1) / 5
            form.front.line((0, y), (wide * 0.55, y), 0.7 * k, -0.6, layer=both)
        form.front.line((0, end - 2 * k), (wide * 0.5, end - 2 * k), 0.6 * k, -0.4, layer=both)
    else:
        for y in (inner - k, inner + 0.4 * k):
            form.front.line((0, y), (wide * 0.3, y), 0.6 * k, -0.4, layer=both)
    if kind == "disc":
        ring_and_dot(form.front, (0, inner + 5.5 * k), wide * 0.3, rings=2, layer=both)
    elif rng.random() < 0.75:
        ring_and_dot(form.front, (0, middle), 1.7 * k, layer=both)
        if kind == "splayed":
            ring_and_dot(form.front, (wide * 0.24, end - 2.6 * k), 1.4 * k, layer=both)
    if rng.random() < 0.5 and kind != "caterpillar":
        form.front.line((0, inner - 2.5 * k), (0, 0), 0.8 * k, 0.4, layer=both)
