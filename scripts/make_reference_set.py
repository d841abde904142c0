"""Render the shipped reference photos and write photos.csv and datapackage.json.

python scripts/make_reference_set.py reference_index [--device cuda] [--points FOLDER]

Twelve photos of six specimens of every type that has a form; types.csv and sources.csv must be
there already. Takes many minutes on two cores, seconds on a GPU, whose pictures are other ones.
``--points`` also writes PHOTO_ID.npz with the surface points that each photo shows, to measure
placings with. Build the index afterwards: simsearch index.
"""

from __future__ import annotations

import argparse
import hashlib
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.write import write_csv
from simsearch.synthetic.kernels import compile_kernels
from simsearch.synthetic.render import Shot
from simsearch.synthetic.specimens import Picture, photograph
from simsearch.synthetic.typed import typed_ids

SIZE, QUALITY = 320, 82
SERIES = "shipped"
_CLEAN = {"worn": (0.0, 0.15), "corroded": (0.0, 0.15), "soiled": (0.0, 0.2)}
_WORN = {"worn": (0.45, 0.7), "corroded": (0.2, 0.4), "soiled": (0.1, 0.5)}
_ROTTEN = {"worn": (0.2, 0.5), "corroded": (0.6, 0.85), "soiled": (0.2, 0.7)}


@dataclass(frozen=True)
class Wanted:
    """One photo of every type: which specimen, how taken, and what its row says."""

    specimen: int
    view: str
    condition: str
    shot: Shot
    completeness: str = "complete"


def _shot(view: str, look: dict[str, tuple[float, float]], **more: object) -> Shot:
    settings = {"tilt": 8.0, "roll": 12.0, "fill": (0.8, 0.9), "losses": 0.0, "plain": True}
    return Shot(view=view, **(settings | look | more))  # type: ignore[arg-type]


WANTED = (
    Wanted(0, "front", "clean", _shot("front", _CLEAN)),
    Wanted(0, "back", "clean", _shot("back", _CLEAN)),
    Wanted(0, "side", "clean", _shot("side", _CLEAN)),
    Wanted(1, "front", "clean", _shot("front", _CLEAN, tilt=15.0)),
    Wanted(1, "back", "clean", _shot("back", _CLEAN, tilt=15.0)),
    Wanted(1, "side", "clean", _shot("side", _CLEAN, tilt=15.0)),
    Wanted(2, "front", "worn", _shot("front", _WORN, losses=1.0)),
    Wanted(2, "side", "worn", _shot("side", _WORN, losses=1.0)),
    Wanted(3, "front", "corroded", _shot("front", _ROTTEN, losses=1.0, plain=False)),
    Wanted(3, "back", "corroded", _shot("back", _ROTTEN, losses=1.0)),
    Wanted(4, "front", "worn", _shot("front", _WORN, kept=(0.5, 0.6), losses=1.0), "fragment"),
    Wanted(5, "front", "corroded", _shot("front", _ROTTEN, kept=(0.4, 0.55), losses=1.0),
           "fragment"),
)  # fmt: skip


def _row(folder: Path, wanted: Wanted, number: int, picture: Picture) -> dict[str, str]:
    """Write the photo and return its row."""
    photo_id = f"{picture.type_id}-{number + 1}"
    data = io.BytesIO()
    picture.image.save(data, "WEBP", quality=QUALITY, method=6)
    file = f"photos/{photo_id}.webp"
    (folder / file).write_bytes(data.getvalue())
    return {
        "id": photo_id,
        "file": file,
        "type": picture.type_id,
        "specimen": f"{picture.type_id}-r{wanted.specimen + 1}",
        "view": wanted.view,
        "completeness": wanted.completeness,
        "condition": wanted.condition,
        "kind": "rendered",
        "creator": "simsearch maintainers",
        "licence": "CC0-1.0",
        "source": "rendered by scripts/make_reference_set.py, an invented specimen",
        "sha256": hashlib.sha256(data.getvalue()).hexdigest(),
        "labelled_by": "simsearch maintainers",
        "label_basis": "rendered as this type",
        "labelled_on": "2026-11-25",
        "note": "rendered, not a photograph of a find",
    }


def main() -> None:
    """Write the photos of every wanted kind, then the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--points", type=Path)
    options = parser.parse_args()
    folder = options.folder
    compile_kernels()
    for place in (folder / "photos", options.points):
        if place:
            place.mkdir(parents=True, exist_ok=True)
    rows = []
    for number, wanted in enumerate(WANTED):
        pictures = photograph(
            typed_ids(), SERIES, wanted.specimen, wanted.shot, SIZE, take=number,
            device=options.device,
        )  # fmt: skip
        for picture in pictures:
            row = _row(folder, wanted, number, picture)
            rows.append(row)
            if options.points:
                name = options.points / f"{row['id']}.npz"
                np.savez_compressed(name, point=picture.point, mask=picture.mask)
        print(f"{len(rows)} photos", flush=True)
    rows.sort(key=lambda r: r["id"])
    write_csv(folder / "photos.csv", PHOTO_COLUMNS, rows)
    write_datapackage(
        folder,
        name="simsearch-shipped-set",
        title="Shipped reference set (rendered pictures)",
        description="Types of small finds with date ranges; every picture is rendered.",
        licence="CC0-1.0",
    )


if __name__ == "__main__":
    main()
