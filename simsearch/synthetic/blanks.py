"""Solids of forms of no type that are made flat or of wire: flans, openwork, coils."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Form, spiral

Rng = np.random.Generator


def flan(rng: Rng) -> Form:
    """What coins, counters, seals and pendants are made of: near-discs, some out of round."""
    form = Form("endless")
    r, thick = 10.0, rng.uniform(0.5, 1.8)
    kind = rng.integers(6)
    if kind < 3:
        form.drum("flan", (0, 0, 0), r, r * rng.uniform(0.93, 1.0), height=thick)
    elif kind == 3:
        for _ in range(3):
            x, y = rng.normal(0, 0.6, 2)
            form.drum("flan", (x, y, 0), r * rng.uniform(0.9, 1.0), height=thick)
    elif kind == 4:
        form.ball("flan", (0, 0, 0), (r, r * rng.uniform(0.75, 1.0), thick))
    else:
        for turn in np.arange(int(rng.integers(1, 4))) * 45.0 + 7:
            form.slab("flan", (0, 0, 0), 15, 15, 15, thickness=thick, turn=float(turn))
    if rng.random() < 0.15:
        form.drum("hole", (0, r * rng.uniform(0.75, 0.9), 0), 0.9, height=8, cut=True)
    if rng.random() < 0.12:
        form.ring("loop", (0, r + 1.0, 0), 1.6, 0.6, axis=(1, 0, 0))
    return form


def openwork(rng: Rng) -> Form:
    """A frame with spokes, rings or bars across its opening, n-fold or from side to side."""
    form = Form("endless")
    r, bar, flat = 10.0, rng.uniform(0.6, 1.5), rng.uniform(0.4, 0.9)
    if rng.random() < 0.7:
        form.ring("frame", (0, 0, 0), r, rng.uniform(0.8, 2.0), flat=flat)
    n = int(rng.integers(3, 9))
    hub = rng.uniform(1.5, 4)
    kind = rng.integers(4)
    swirl = rng.uniform(-0.9, 0.9) if rng.random() < 0.5 else 0.0
    for t in np.arange(n) * 2 * np.pi / n:
        way = np.array([np.cos(t), np.sin(t)])
        turned = np.array([np.cos(t + swirl), np.sin(t + swirl)])
        if kind < 3 or n > 6:
            a, b = hub * way, r * turned
            form.rod("spoke", (*a, 0), (*b, 0), bar, bar * rng.uniform(0.5, 1.5), flat=flat)
        if kind == 1 and n <= 7:
            form.ball("knob", (*(r * turned), 0), (1.6, 1.6, 1.0))
        if kind == 3 and n <= 6:
            form.ring("loop", (*(0.55 * r * way), 0), r * 0.3, bar, flat=flat)
    form.drum("hub", (0, 0, 0), hub, height=2) if kind != 2 else form.ring(
        "hub", (0, 0, 0), hub, bar, flat=flat
    )
    return form


def coil(rng: Rng) -> Form:
    """Wire wound into a spring, a spiral or two spirals, with an end that runs on."""
    form = Form("endless")
    wire, turns = rng.uniform(0.5, 1.1), rng.uniform(1.5, 3.2)
    if rng.random() < 0.5:
        long, wide = rng.uniform(8, 16), rng.uniform(2.0, 4.0)
        form.rod("spring", (-long / 2, 0, 0), (long / 2, 0, 0), wide,
                 ridges=(wide * 0.3, int(rng.integers(4, 14))))  # fmt: skip
        end = rng.uniform(10, 26)
        form.rod("pin", (0, 0, wide), (rng.uniform(-3, 3), -end, 1), wire)
        form.rod("arm", (long / 2, 0, wide), (long / 2, rng.uniform(-8, 12), wide), wire)
        return form
    two = rng.random() < 0.4
    turns = min(turns, 1.7) if two else min(turns, 2.6)
    for sign in (-1, 1) if two else (1,):
        at = (sign * 7.0, 0) if two else (0.0, 0.0)
        points = spiral(at, 6 if two else 9, turns, start=90 * (1 - sign), steps=13 if two else 24)
        form.sweep("coil", [(x, y, 0.0) for x, y in points], [wire, wire * 0.8])
    form.rod("stem", (0 if two else 9, 0, 0), (rng.uniform(-4, 4), -rng.uniform(8, 24), 0),
             wire * rng.uniform(0.8, 1.5))  # fmt: skip
    return form
