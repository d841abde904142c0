"""Bow brooches of the late Iron Age and Roman period."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Form, arch
from simsearch.synthetic.typed import makes, vary


@makes("colchester")
def colchester(rng: np.random.Generator) -> Form:
    """One-piece Colchester: long tapering bow, short wings, forward hook, pierced catch-plate."""
    form = Form("colchester")
    length, head = vary(rng, 52, 0.15), vary(rng, 3.0)
    top, foot = length / 2 - 4, -length / 2
    bow = arch((0, top, 4), (0, foot, 1), vary(rng, 9, 0.12), lean=-0.5)
    form.sweep("bow", bow, [head, head * 0.9, head * 0.65, 0.9], flat=vary(rng, 0.75))
    wing = vary(rng, 7)
    form.rod("wing", (-wing, top, 3), (wing, top, 3), 2.0, flat=0.8)
    form.rod("spring", (-wing, top - 0.5, 0), (wing, top - 0.5, 0), 2.1, ridges=(0.5, 8))
    form.rod("hook", (0, top + 1, 4), (0, top + 3.5, 2), 1.0)
    form.rod("pin", (0, top, -1.2), (0, foot + 2, -0.5), 0.6)
    form.slab("catch", (0, foot + 7, -0.5), 11, 2.5, 5.5, thickness=0.9, axis=(1, 0, 0))
    form.drum("catch", (0, foot + 7, -0.8), 1.2, height=3, axis=(1, 0, 0), cut=True)
    if rng.random() < 0.5:
        form.front.line((0, top - 3), (0, foot + 4), 0.6, -0.3)
    return form
