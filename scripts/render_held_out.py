"""Render finds to measure with: python scripts/render_held_out.py FOLDER SERIES NUMBER [SLICE...]

Writes FOLDER/SLICE/TYPE/N.jpg for NUMBER specimens of every type that has a form, in three
slices: complete, half (45-60 % of what the camera would see is left) and third (25-40 %).
Backgrounds, light, wear and corrosion are the usual mixture. SERIES names the specimens: use one
series to calibrate and another to measure; the shipped photos are the series "shipped".
"""

from __future__ import annotations

import sys
from pathlib import Path

from simsearch.synthetic.kernels import compile_kernels
from simsearch.synthetic.render import Shot
from simsearch.synthetic.specimens import photograph
from simsearch.synthetic.typed import typed_ids

SIZE, QUALITY = 192, 92
SLICES = {
    "complete": Shot(view="front", tilt=20.0, fill=(0.45, 0.9)),
    "half": Shot(view="front", tilt=20.0, fill=(0.45, 0.9), kept=(0.45, 0.6)),
    "third": Shot(view="front", tilt=20.0, fill=(0.45, 0.9), kept=(0.25, 0.4)),
}


def main(folder: Path, series: str, number: int, slices: list[str]) -> None:
    """Write the pictures of the named slices, or of all."""
    compile_kernels()
    for n in range(number):
        for take, (name, shot) in enumerate(SLICES.items()):
            if slices and name not in slices:
                continue
            for picture in photograph(typed_ids(), series, n, shot, SIZE, take=take):
                place = folder / name / picture.type_id
                place.mkdir(parents=True, exist_ok=True)
                picture.image.save(place / f"{n}.jpg", quality=QUALITY)
        print(f"specimen {n + 1} of {number}", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), sys.argv[4:])
