"""Render freshly damaged fragments to practise with: python scripts/make_practice.py FOLDER NUMBER

Writes FOLDER/TYPE/N.jpg for NUMBER new specimens of every type that has a form (or of those named
with --types) and the table FOLDER/practice.csv. --series names the specimens: take another name
each evening, and no specimen is one of the shipped photos, which are the series "shipped". Then:

    simsearch practice --player NAME --fresh FOLDER

A third of the specimens keep most of the object, a third about half, a third about a third; views
and wear are drawn anew. With --device cuda it takes seconds instead of minutes.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

from simsearch.practice.fresh import COLUMNS, TABLE
from simsearch.sets.write import write_csv
from simsearch.synthetic.kernels import compile_kernels
from simsearch.synthetic.render import Shot
from simsearch.synthetic.specimens import USUAL, Picture, photograph
from simsearch.synthetic.typed import typed_ids

SIZE, QUALITY = 320, 90
KEPT = ((0.65, 0.85), (0.45, 0.6), (0.25, 0.4))
WEAR = {
    "clean": {"worn": (0.0, 0.15), "corroded": (0.0, 0.15), "soiled": (0.0, 0.2)},
    "worn": {"worn": (0.6, 0.9), "corroded": (0.1, 0.4)},
    "corroded": {"worn": (0.2, 0.5), "corroded": (0.65, 0.95)},
}
VIEWS = ("front", "front", "back", "front", "side")


def shot_of(number: int) -> tuple[Shot, str, str]:
    """How specimen ``number`` is photographed: the shot, its view and its condition in words."""
    view = VIEWS[number % len(VIEWS)]
    condition = tuple(WEAR)[number // len(KEPT) % len(WEAR)]
    shot = replace(USUAL, view=view, kept=KEPT[number % len(KEPT)], **WEAR[condition])
    return shot, view, condition


def keep(picture: Picture, folder: Path, view: str, condition: str, series: str) -> dict[str, str]:
    """Write one picture; return its row of the table."""
    file = f"{picture.type_id}/{picture.number + 1}.jpg"
    (folder / picture.type_id).mkdir(parents=True, exist_ok=True)
    picture.image.save(folder / file, quality=QUALITY)
    cells = (file, picture.type_id, view, f"{picture.kept:.2f}", condition, series)
    return dict(zip(COLUMNS, cells, strict=True))


def main() -> None:
    """Render and write the table last, so that a folder with one is whole."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("number", type=int)
    parser.add_argument("--types", nargs="+", default=typed_ids(), metavar="TYPE")
    parser.add_argument("--series", default="practice")
    parser.add_argument("--size", type=int, default=SIZE)
    parser.add_argument("--device", default="cpu")
    options = parser.parse_args()
    unknown = sorted(set(options.types).difference(typed_ids()))
    if unknown:
        sys.exit(f"error: no form of {', '.join(unknown)}. Forms: {', '.join(typed_ids())}")
    if options.number < 1 or options.series == "shipped" or (options.folder / TABLE).exists():
        sys.exit("error: NUMBER is 1 or more, the series another than 'shipped', FOLDER a new one.")
    compile_kernels()
    rows = []
    for number in range(options.number):
        shot, view, condition = shot_of(number)
        pictures = photograph(
            options.types, options.series, number, shot, options.size, device=options.device
        )
        rows += [keep(one, options.folder, view, condition, options.series) for one in pictures]
        print(f"specimen {number + 1} of {options.number}", flush=True)
    write_csv(options.folder / TABLE, COLUMNS, rows)


if __name__ == "__main__":
    main()
