"""Render finds to measure with: python scripts/render_held_out.py FOLDER SERIES NUMBER [SLICE...]

Writes FOLDER/SLICE/TYPE/N.jpg for NUMBER specimens of every type that has a form and, with
--points, beside each an N.npz with the surface points that it shows. SERIES names the
specimens: use one series to calibrate and another to measure; the shipped photos are the series
"shipped". Slices:

complete, half, third    whole, 45-60 % and 25-40 % left; usual wear, light and ground
clean, worn, corroded    whole
back, side               whole, from there
plain                    whole, on even light grey
several                  N-front, N-back and N-side: three photos of one find
instances                N-a and N-b: one specimen photographed twice

With --device cuda it takes seconds instead of many minutes; the pictures are other ones then.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np

from simsearch.synthetic.kernels import compile_kernels
from simsearch.synthetic.render import Shot
from simsearch.synthetic.specimens import AMOUNTS, USUAL, photograph
from simsearch.synthetic.typed import typed_ids

SIZE, QUALITY = 192, 86
#: The pictures of each slice: what follows the number in the file's name, and how it is taken.
SLICES: dict[str, dict[str, Shot]] = {
    **{name: {"": shot} for name, shot in AMOUNTS.items()},
    "clean": {"": replace(USUAL, worn=(0, 0.15), corroded=(0, 0.15), soiled=(0, 0.2))},
    "worn": {"": replace(USUAL, worn=(0.6, 0.9), corroded=(0.1, 0.4))},
    "corroded": {"": replace(USUAL, worn=(0.2, 0.5), corroded=(0.65, 0.95))},
    "back": {"": replace(USUAL, view="back")},
    "side": {"": replace(USUAL, view="side")},
    "plain": {"": replace(USUAL, plain=True)},
    "several": {f"-{v}": replace(USUAL, view=v) for v in ("front", "back", "side")},
    "instances": {"-a": USUAL, "-b": USUAL},
}
_TAKES = [(name, suffix) for name, shots in SLICES.items() for suffix in shots]


def main() -> None:
    """Write the pictures of the named slices, or of the first three."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("series")
    parser.add_argument("number", type=int)
    parser.add_argument("slices", nargs="*", default=["complete", "half", "third"])
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--points", action="store_true")
    options = parser.parse_args()
    compile_kernels()
    for n in range(options.number):
        for take, (name, suffix) in enumerate(_TAKES):
            if name not in options.slices:
                continue
            shot = SLICES[name][suffix]
            some = photograph(
                typed_ids(), options.series, n, shot, SIZE, take=take, device=options.device
            )
            for picture in some:
                place = options.folder / name / picture.type_id
                place.mkdir(parents=True, exist_ok=True)
                picture.image.save(place / f"{n}{suffix}.jpg", quality=QUALITY)
                if options.points:
                    points = place / f"{n}{suffix}.npz"
                    np.savez_compressed(points, point=picture.point, mask=picture.mask)
        print(f"specimen {n + 1} of {options.number}", flush=True)


if __name__ == "__main__":
    main()
