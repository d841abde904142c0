"""Render a contact sheet of typed forms: one row a type, columns front, back, side, worn, broken.

python scripts/preview_forms.py sheet.png colchester aucissa ...
"""

from __future__ import annotations

import sys

import numpy as np
import torch
from PIL import Image

from simsearch.synthetic.batch import pack
from simsearch.synthetic.render import Shot, render
from simsearch.synthetic.typed import typed_form, typed_ids

SIZE = 160
CLEAN = {"worn": (0.0, 0.1), "corroded": (0.0, 0.1), "soiled": (0.0, 0.1)}
SHOTS = [
    Shot(view="front", tilt=5, roll=0, losses=0, plain=True, **CLEAN),
    Shot(view="front", tilt=15, roll=10, losses=0, plain=True, **CLEAN),
    Shot(view="back", tilt=5, roll=0, losses=0, plain=True, **CLEAN),
    Shot(view="side", tilt=5, roll=0, losses=0, plain=True, **CLEAN),
    Shot(view="front", worn=(0.5, 0.9), corroded=(0.4, 0.9)),
    Shot(view="any", kept=(0.4, 0.6)),
]


def main(path: str, ids: list[str]) -> None:
    """Write the sheet; without ids, all types that have a form."""
    ids = ids or typed_ids()
    columns = []
    for i, shot in enumerate(SHOTS):
        device = "cuda" if torch.cuda.is_available() else "cpu"
        forms = [typed_form(t, np.random.default_rng([i > 0, n])) for n, t in enumerate(ids)]
        shots = render(pack(forms).to(device), shot, SIZE, seed=i)
        columns.append((shots.picture.permute(0, 2, 3, 1).cpu().numpy() * 255).astype(np.uint8))
    rows = [np.concatenate([c[i] for c in columns], axis=1) for i in range(len(ids))]
    Image.fromarray(np.concatenate(rows)).save(path)
    print(path, "rows:", ", ".join(ids))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
