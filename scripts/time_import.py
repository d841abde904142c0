"""Time import and index: python scripts/time_import.py 500 2000 [--width 2400] [--folder DIR]

Makes photos up (blobs on a plain ground, rendered, of no find), brings them into new sets of the
sizes given, each in a fresh process, and builds their indexes with the built-in encoder. Prints
for each: photos a second of import and index together and of the index alone, the encoder's own
speed in the same run (photos in memory, before and after, nothing else going on), the ratios,
and the peak memory. Last comes the growth of peak memory from the smallest set to the largest.

The aim is a ratio of 0.8 or more on two cores with memory flat.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from simsearch.care.encoder_measure import peak_memory_mb
from simsearch.encode import load_encoder
from simsearch.encode.protocol import Encoder
from simsearch.index import PHOTO_SIDE
from simsearch.making.add import add_photos
from simsearch.making.from_folder import plan_from_folder
from simsearch.making.new_set import make_set
from simsearch.making.plan import Defaults
from simsearch.photo import list_photos, open_photo
from simsearch.sets.reference_set import open_set

_TYPES = ("knee", "dolphin", "headstud", "trumpet", "aucissa")
_OWN = 64  # photos with which the encoder's own speed is measured
_AT_ONCE = 8  # what the built-in encoder works on at a time
_DEFAULTS = Defaults(
    creator="scripts/time_import.py",
    licence="CC0-1.0",
    source="made up for timing",
    labelled_by="scripts/time_import.py",
    label_basis="made up",
    kind="rendered",
    note="rendered for timing, of no find",
)


def make_photos(folder: Path, first: int, last: int, width: int) -> None:
    """Write photos ``first`` to ``last`` (not included) as JPEGs, in a folder for each type."""
    height = width * 3 // 4
    grain = np.random.default_rng(0).integers(-12, 13, (height, width, 3), dtype=np.int16)
    for number in range(first, last):
        rng = np.random.default_rng(number)
        ground = rng.integers(150, 230, 3)
        small = np.tile(ground, (24, 32, 1)).astype(np.uint8)
        top, left, tall, wide = rng.integers((4, 4, 6, 6), (10, 14, 14, 16))
        small[top : top + tall, left : left + wide] = rng.integers(20, 140, (tall, wide, 3))
        large = Image.fromarray(small).resize((width, height), Image.Resampling.BICUBIC)
        pixels = np.asarray(large, np.int16) + np.roll(grain, number, axis=1)
        target = folder / _TYPES[number % len(_TYPES)]
        target.mkdir(parents=True, exist_ok=True)
        photo = Image.fromarray(pixels.clip(0, 255).astype(np.uint8))
        photo.save(target / f"photo-{number}.jpg", quality=88)


def own_speed(encoder: Encoder, folder: Path) -> float:
    """Photos a second that the encoder itself encodes, of photos that are in memory."""
    paths = list_photos(folder)[:_OWN]
    photos = [open_photo(path, max_side=PHOTO_SIDE) for path in paths]
    encoder.embed(photos[:_AT_ONCE])
    began = time.perf_counter()
    for start in range(0, len(photos), _AT_ONCE):
        batch = [photo.copy() for photo in photos[start : start + _AT_ONCE]]
        encoder.embed(batch)
        encoder.patches(batch)
    return len(photos) / (time.perf_counter() - began)


def run_one(photos: Path, folder: Path) -> dict[str, Any]:
    """Import and index the photos of a folder into a new set and measure both."""
    encoder = load_encoder()
    before = own_speed(encoder, photos)
    make_set(folder, "Made up for timing")
    began = time.perf_counter()
    plan = plan_from_folder(open_set(folder), photos, _DEFAULTS)
    for line in plan.lines()[:5]:
        print(line, file=sys.stderr)
    count = add_photos(folder, plan).count
    imported = time.perf_counter() - began
    memory_imported = peak_memory_mb()
    began = time.perf_counter()
    reference = open_set(folder)
    reference.rebuild_index(encoder)
    indexed = time.perf_counter() - began
    memory = peak_memory_mb()
    own = (before + own_speed(encoder, photos)) / 2
    return {
        "photos": count,
        "import_s": imported,
        "index_s": indexed,
        "own_photos_per_s": own,
        "ratio": count / (imported + indexed) / own,
        "index_ratio": count / indexed / own,
        "peak_mb_after_import": memory_imported,
        "peak_mb": memory,
    }


def main() -> None:
    """Measure each size in a process of its own and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("counts", type=int, nargs="*", default=[500, 2000])
    parser.add_argument("--width", type=int, default=2400, help="of the photos, in pixels")
    parser.add_argument("--folder", type=Path, help="where to work; a temporary one without")
    parser.add_argument("--one", nargs=2, type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        print(json.dumps(run_one(*given.one)))
        return
    with tempfile.TemporaryDirectory(dir=given.folder) as work:
        measured = [_apart(Path(work), count, given.width) for count in sorted(given.counts)]
    peaks = [one["peak_mb"] for one in measured]
    if len(peaks) > 1 and None not in peaks:
        more = measured[-1]["photos"] - measured[0]["photos"]
        print(f"peak memory grew by {peaks[-1] - peaks[0]:.0f} MB over {more} photos more")


def _apart(work: Path, count: int, width: int) -> dict[str, Any]:
    photos, folder = work / f"photos-{count}", work / f"set-{count}"
    make_photos(photos, 0, count, width)
    command = [sys.executable, __file__, "--one", str(photos), str(folder)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    print(
        f"{found['photos']} photos {width} wide: import {found['import_s']:.0f} s, "
        f"index {found['index_s']:.0f} s, encoder alone {found['own_photos_per_s']:.2f} a second; "
        f"import and index at {found['ratio']:.2f} of that, index alone at "
        f"{found['index_ratio']:.2f}; peak memory {found['peak_mb'] or 0:.0f} MB "
        f"({found['peak_mb_after_import'] or 0:.0f} MB after import)",
        flush=True,
    )
    return found


if __name__ == "__main__":
    main()
