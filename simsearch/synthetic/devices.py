"""Devices as on coins, seals and counters: busts, figures, animals, crosses, shields, signs.

Each is a handful of strokes in a square of side 2 (x right, y up) drawn from random numbers, so
that two of a kind differ in pose and proportions.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from simsearch.synthetic.figures import Drawing, free, letter
from simsearch.synthetic.form import spiral


def bust(d: Drawing) -> None:
    """A head in profile: face, nose, chin, neck, drapery, hair and what it wears."""
    u = d.between
    side = 1.0 if d.rng.random() < 0.6 else -1.0
    head, long = u(0.26, 0.4), u(0.9, 1.3)
    top = u(0.2, 0.35)
    d.line((0, top + 0.06), (side * 0.06, top - 0.2 * long), 2 * head, 1.5 * head, 1.0)
    nose = u(0.08, 0.2)
    edge = side * (head + 0.02)
    d.line((edge * 0.8, top + 0.05), (edge + side * nose, top - 0.14), 0.1, u(0.1, 0.2), 1.0)
    d.line((edge * 0.6, top - 0.34 * long), (edge * 0.95, top - 0.38 * long), 0.2, 0.16)
    d.line((edge * 0.7, top - 0.25), (edge * 1.02, top - 0.25), 0.07, 0.05, 1.3)
    d.blob((edge * 0.55, top - 0.0), u(0.04, 0.07), 1.6)
    d.line((-side * 0.05, top - 0.2), (-side * u(0.0, 0.15), -0.55), u(0.3, 0.45), u(0.4, 0.6), 0.8)
    for i in range(int(d.rng.integers(1, 4))):
        y = -0.62 - 0.13 * i
        d.line((-0.5 + 0.05 * i, y + u(-0.1, 0.1)), (0.5, y + u(-0.1, 0.1)), 0.14, u(0.05, 0.2))
    wear = d.rng.integers(6)
    crown = top + head
    if wear == 0:  # rays
        for k in range(int(d.rng.integers(3, 7))):
            x = side * (-0.2 + 0.12 * k)
            d.line((x, crown - 0.08), (x * 1.3, crown + 0.25), 0.09, 0.02, 1.2)
    elif wear in (1, 2):  # wreath or band, tied behind
        d.line((-side * head, top), (side * head * 0.8, top + head * 0.8), 0.12, 0.09, 1.5)
        for y in (-0.1, -0.22):
            d.line((-side * head, top), (-side * (head + u(0.1, 0.25)), top + y), 0.06, 0.03)
    elif wear == 3:  # helmet with crest
        d.path([(-side * 0.45, top - 0.1), (-side * 0.3, crown + 0.1), (side * 0.2, crown + 0.18)],
               0.14, 0.1, 1.3)  # fmt: skip
    elif wear == 4:  # knot of hair
        d.blob((-side * (head + 0.08), top - u(0.0, 0.2)), u(0.1, 0.18), 1.2)
    for _ in range(int(d.rng.integers(3, 7))):  # hair
        x, y = -side * u(-0.12, head), top + u(-0.1, head)
        d.line((x, y), (x - side * u(0.05, 0.2), y - u(0.05, 0.2)), 0.07, 0.04, 1.4)


def standing(d: Drawing) -> None:
    """A standing figure with something in its hands."""
    u = d.between
    lean, wide = u(-0.12, 0.12), u(0.16, 0.28)
    hip = (lean, -0.1)
    d.blob((lean * 0.5, 0.68), u(0.12, 0.17), 1.2)
    d.line((lean * 0.5, 0.5), hip, wide * 1.6, wide * 1.2)
    robe = d.rng.random() < 0.4
    for s in (-1, 1):
        foot = (lean + s * u(0.08, 0.3), -0.92)
        d.line(hip, foot, wide * (1.3 if robe else 0.8), wide * (1.5 if robe else 0.4))
        elbow = (lean * 0.5 + s * u(0.2, 0.45), u(0.05, 0.5))
        hand = (elbow[0] + s * u(-0.05, 0.3), elbow[1] + u(-0.35, 0.45))
        d.path([(lean * 0.5 + s * 0.12, 0.45), elbow, hand], 0.15, 0.09)
        held = d.rng.integers(5)
        if held == 0:
            d.line((hand[0], -0.9), (hand[0], u(0.6, 0.95)), 0.06, 0.05)
        elif held == 1:
            d.blob(hand, u(0.08, 0.15), 1.2)
        elif held == 2:
            d.ring((hand[0], hand[1] + 0.1), u(0.1, 0.18), 0.06)
        elif held == 3:
            d.line(hand, (hand[0] + s * 0.15, hand[1] + 0.4), 0.16, 0.05)
    if robe:
        for x in (-0.1, 0.02, 0.14):
            d.line((lean + x, -0.15), (lean + 1.6 * x, -0.85), 0.04, 0.05, 1.5)
    if d.rng.random() < 0.25:
        for s in (-1, 1):
            d.line((lean + s * 0.1, 0.45), (s * u(0.5, 0.8), u(0.3, 0.85)), 0.2, 0.05, 0.8)


def quadruped(d: Drawing) -> None:
    """A beast walking, running or looking back."""
    u = d.between
    side = 1.0 if d.rng.random() < 0.5 else -1.0
    thick, tall = u(0.25, 0.45), u(0.35, 0.6)
    front, rear = (side * u(0.3, 0.45), u(-0.05, 0.15)), (-side * u(0.3, 0.5), u(-0.1, 0.1))
    d.line(front, rear, thick, thick * u(0.6, 1.1))
    back = -1 if d.rng.random() < 0.2 else 1
    head = (front[0] + back * side * u(0.15, 0.35), front[1] + u(0.2, 0.55))
    d.line(front, head, thick * 0.7, 0.18)
    d.line(head, (head[0] + back * side * u(0.12, 0.3), head[1] - u(0, 0.2)), 0.2, 0.09, 1.1)
    for s in (0.0, 0.07):
        d.line(head, (head[0] - s - 0.05 * side, head[1] + u(0.1, 0.35)), 0.07, 0.03)
    run = u(-0.2, 0.35)
    for base, way in ((front, side), (front, side * 0.6), (rear, -side), (rear, -side * 0.5)):
        knee = (base[0] + way * u(0, 0.15) + way * run * 0.5, base[1] - tall * 0.55)
        d.path([base, knee, (knee[0] + way * run, base[1] - tall - u(0, 0.15))], 0.16, 0.06)
    tail = d.rng.integers(3)
    end = (rear[0] - side * u(0.2, 0.45), rear[1] + (u(0.1, 0.6) if tail else -0.4))
    d.path([rear, (rear[0] - side * 0.22, rear[1] + 0.1), end], 0.08, 0.05)
    if tail == 2:
        d.blob(end, 0.07)
    if d.rng.random() < 0.4:
        d.line((-0.8, -0.75), (0.8, -0.75), 0.06)


def bird(d: Drawing) -> None:
    """A bird: closed wings in profile, or wings spread."""
    u = d.between
    side = 1.0 if d.rng.random() < 0.5 else -1.0
    if d.rng.random() < 0.5:
        d.line((0, 0.25), (0, -0.25), 0.35, 0.25)
        for s in (-1, 1):
            tip = (s * u(0.6, 0.9), u(0.2, 0.8))
            d.line((s * 0.1, 0.25), tip, 0.2, 0.1)
            for k in range(4):
                v = 0.3 + 0.22 * k
                p = (s * 0.1 + (tip[0] - s * 0.1) * v, 0.25 + (tip[1] - 0.25) * v)
                d.line(p, (p[0] + s * 0.05, p[1] - u(0.3, 0.6)), 0.09, 0.04, 1.2)
        d.blob((side * 0.08, 0.52), 0.13)
        d.line((side * 0.15, 0.52), (side * 0.33, 0.48), 0.08, 0.02)
        for x in (-0.18, 0.0, 0.18):
            d.line((0, -0.2), (x, -0.8), 0.1, 0.1)
        return
    d.line((side * 0.25, 0.15), (-side * 0.35, -0.15), u(0.4, 0.6), 0.2)
    d.line((side * 0.25, 0.2), (side * u(0.3, 0.5), u(0.5, 0.75)), 0.3, 0.2)
    d.line((side * 0.45, 0.65), (side * 0.72, u(0.5, 0.7)), 0.1, 0.02)
    d.line((side * 0.1, 0.1), (-side * u(0.5, 0.8), u(-0.3, 0.2)), 0.3, 0.08, 1.4)
    for k in range(3):
        d.line((-side * 0.3, -0.15), (-side * (0.75 + 0.05 * k), -0.25 - 0.15 * k), 0.1, 0.08)
    for x in (0.0, 0.15):
        d.path([(x, -0.2), (x + 0.03, -0.55), (x + side * 0.15, -0.62)], 0.07, 0.05)


def cross(d: Drawing) -> None:
    """A cross: short or long, plain, forked or with cross bars, something in its quarters."""
    u = d.between
    layer = d.relief.layer(4, mirror=True, centre=d.centre) if free(d.relief) else d.layer
    e = Drawing(d.relief, d.rng, d.centre, d.size, d.depth, layer, 0.0, d.thick)
    reach, thick = u(0.55, 0.95), u(0.08, 0.3)
    double = d.rng.random() < 0.3
    x = thick * 0.8 if double else 0.0
    e.line((x, 0.0), (x, reach), thick * (0.5 if double else 1), thick * u(0.4, 2.2))
    end = d.rng.integers(4)
    if end == 0:
        e.line((0, reach), (u(0.15, 0.35), reach), thick * 0.8, thick * 0.5)
    elif end == 1:
        e.blob((u(0.08, 0.16), reach), u(0.06, 0.14))
    elif end == 2:
        e.path([(0, reach * 0.9), (0.15, reach), (0.28, reach * 0.85)], thick * 0.6, 0.05)
    q, r = u(0.28, 0.42), u(0.06, 0.12)
    quarter = d.rng.integers(5)
    if quarter == 0:
        e.blob((q, q), r)
    elif quarter == 1:
        for a, b in ((0, 0.13), (0.13, -0.08)):
            e.blob((q + a, q + b), r * 0.8)
        e.blob((q - 0.02, q - 0.02), r * 0.8)
    elif quarter == 2:
        e.ring((q, q), r * 1.2, 0.06)
    elif quarter == 3:
        e.line((q * 0.7, q * 0.7), (q * 1.5, q * 1.5), 0.08, 0.16)


def shield(d: Drawing) -> None:
    """A shield with a charge."""
    u = d.between
    wide, top, low = u(0.45, 0.65), u(0.5, 0.75), u(0.6, 0.85)
    line = u(0.06, 0.12)
    for s in (-1, 1):
        d.path([(0, top), (s * wide, top), (s * wide, -0.05), (0, -low)], line)
    charge = d.rng.integers(5)
    if charge == 0:
        d.line((0, top), (0, -low), line)
        d.line((-wide, 0.15), (wide, 0.15), line)
        for x, y in ((-0.5, 0.4), (0.5, -0.1)):
            d.blob((x * wide, y), 0.12)
    elif charge == 1:
        for k in range(int(d.rng.integers(2, 4))):
            y = 0.4 - 0.32 * k
            d.line((-wide * (0.9 - 0.2 * k), y), (wide * (0.9 - 0.2 * k), y), u(0.1, 0.2))
    elif charge == 2:
        d.line((-wide, top), (wide * 0.5, -0.4), u(0.12, 0.25))
    elif charge == 3:
        for x, y in ((-0.25, 0.35), (0.25, 0.35), (0, 0.05), (0, -0.35)):
            d.blob((x, y), u(0.06, 0.12))
    else:
        d.path([(-wide * 0.8, -0.2), (0, 0.3), (wide * 0.8, -0.2)], u(0.1, 0.2))


def ship(d: Drawing) -> None:
    """A hull with mast, stays, sail, oars and waves."""
    u = d.between
    low, high = -0.35, u(-0.1, 0.15)
    d.path([(-0.75, high), (-0.4, low), (0.4, low), (0.75, high)], u(0.12, 0.25))
    d.line((0, low), (0, 0.8), 0.07)
    if d.rng.random() < 0.6:
        d.line((-0.4, 0.6), (0.4, 0.6), 0.07)
        for x in np.linspace(-0.35, 0.35, int(d.rng.integers(2, 6))):
            d.line((float(x), 0.58), (float(x) * 1.1, 0.1), 0.08)
    for s in (-1, 1):
        d.line((0, 0.75), (s * 0.7, high), 0.04)
    for k in range(int(d.rng.integers(0, 6))):
        d.line((-0.4 + 0.16 * k, low), (-0.5 + 0.16 * k, low - 0.3), 0.05)
    for k in range(int(d.rng.integers(0, 3))):
        d.line((-0.7, -0.62 - 0.14 * k), (0.7, -0.62 - 0.14 * k), 0.05)


def sign(d: Drawing) -> None:
    """A large letter-like sign or a monogram of a few bars and bows."""
    u = d.between
    width = u(0.12, 0.26)
    for _ in range(int(d.rng.integers(1, 3))):
        x = u(-0.5, 0.5)
        d.line((x, -0.7), (x + u(-0.2, 0.2), 0.7), width, width * u(0.6, 1.3))
    for _ in range(int(d.rng.integers(1, 4))):
        kind, y = d.rng.integers(3), u(-0.6, 0.6)
        if kind == 0:
            d.line((-0.5, y), (0.5, y + u(-0.5, 0.5)), width * 0.8)
        elif kind == 1:
            d.ring((u(-0.3, 0.3), y * 0.6), u(0.15, 0.35), width * 0.6)
        else:
            turn = u(0, 6.28)
            t = turn + np.linspace(0, u(2, 4.5), 5)
            d.path([(0.4 * float(np.cos(a)), y * 0.5 + 0.4 * float(np.sin(a))) for a in t], width)


def plant(d: Drawing) -> None:
    """A stem with leaves, buds or ears, both sides alike or alternating."""
    u = d.between
    bend = u(-0.3, 0.3)
    d.path([(0, -0.85), (bend, 0), (0, 0.75)], u(0.06, 0.12), 0.05)
    n, up, long = int(d.rng.integers(2, 6)), u(0.0, 0.5), u(0.25, 0.6)
    for k in range(n):
        y = -0.6 + 1.2 * k / n
        x = bend * (1 - abs(y) / 0.8)
        for s in (-1, 1):
            end = (x + s * long * (1 - 0.4 * k / n), y + up)
            d.line((x, y), end, u(0.04, 0.08), u(0.08, 0.2))
    d.blob((0, 0.8), u(0.06, 0.16))


def inscription(d: Drawing) -> None:
    """Two to four rows of letter-like signs."""
    rows = int(d.rng.integers(2, 5))
    for r in range(rows):
        y = 0.6 - 1.2 * r / max(1, rows - 1)
        n = int(d.rng.integers(2, 5))
        for k in range(n):
            x = 0.6 * (2 * k / max(1, n - 1) - 1)
            letter(d, x, y, 0.34, 0.22)


def crossing(d: Drawing) -> None:
    """Bands that cross over and under: each crossing has a gap in one of them."""
    u = d.between
    n, width = int(d.rng.integers(2, 4)), u(0.1, 0.18)
    place = np.linspace(-0.55, 0.55, n)
    turn = d.turn
    d.turn = turn + (np.pi / 4 if d.rng.random() < 0.6 else 0.0)
    for i, x in enumerate(place):
        start = -0.8
        for j, y in enumerate(place):
            if (i + j) % 2:
                d.line((float(x), start), (float(x), float(y) - width * 1.1), width)
                start = float(y) + width * 1.1
        d.line((float(x), start), (float(x), 0.8), width)
    for j, y in enumerate(place):
        start = -0.8
        for i, x in enumerate(place):
            if not (i + j) % 2:
                d.line((start, float(y)), (float(x) - width * 1.1, float(y)), width)
                start = float(x) + width * 1.1
        d.line((start, float(y)), (0.8, float(y)), width)
    d.turn = turn


def punched(d: Drawing) -> None:
    """Rows or a lattice of punched dots or small rings."""
    u = d.between
    n, m = int(d.rng.integers(2, 6)), int(d.rng.integers(1, 5))
    radius, ring = u(0.05, 0.1), d.rng.random() < 0.4
    for x in np.linspace(-0.7, 0.7, n):
        for y in np.linspace(-0.6, 0.6, m) if m > 1 else (u(-0.5, 0.5),):
            p = (float(x), float(y))
            d.ring(p, radius * 1.4, radius * 0.6) if ring else d.blob(p, radius)


def curls(d: Drawing) -> None:
    """Spirals that run into each other."""
    n = int(d.rng.integers(1, 4))
    for k in range(n):
        t = 2 * np.pi * k / n + 0.4
        at = (0.45 * float(np.cos(t)), 0.45 * float(np.sin(t))) if n > 1 else (0.0, 0.0)
        steps = max(5, d.room() // (n - k) - 1)
        points = spiral(at, 0.4 if n > 1 else 0.8, d.between(1, 2.2), start=d.between(0, 360),
                        steps=min(steps, 14))  # fmt: skip
        d.path(points, d.between(0.08, 0.14))


def triangles(d: Drawing) -> None:
    """Chip-carved triangles in rows, sunk between their ridges."""
    n, rows = int(d.rng.integers(3, 6)), int(d.rng.integers(1, 3))
    for r in range(rows):
        y = d.between(-0.3, 0.3) if rows == 1 else -0.45 + 0.9 * r
        for k in range(n):
            x = -0.75 + 1.5 * k / (n - 1)
            d.line((x, y - 0.22), (x, y + 0.22), 0.42, 0.02, -1.0)


DEVICES: tuple[tuple[Callable[[Drawing], None], float], ...] = (
    (bust, 0.24), (standing, 0.13), (quadruped, 0.12), (bird, 0.07), (cross, 0.11),
    (shield, 0.06), (ship, 0.04), (sign, 0.06), (plant, 0.05), (inscription, 0.03),
    (crossing, 0.03), (punched, 0.02), (curls, 0.02), (triangles, 0.02),
)  # fmt: skip
_ODDS = np.cumsum([share for _, share in DEVICES])


def device(d: Drawing) -> None:
    """One of the devices."""
    DEVICES[min(int(np.searchsorted(_ODDS, d.rng.random() * _ODDS[-1])), len(DEVICES) - 1)][0](d)
