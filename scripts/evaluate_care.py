"""Plant copies and wrong labels in a set, look it over, and print how many were found.

    python scripts/evaluate_care.py [SET] [--seeds 3] [--photos 60]

Nothing is written to the set. Copies are made of some of its photos in each of several ways
(saved again, resized, cropped, mirrored, and others that no bar speaks of) and put among all the
photos; a false alarm is a pair that is told and of which neither is a copy of the other. Wrong
labels are given to 5 in 100 of the photos, and the list is made from the set's index as it is.
Blurred, darkened and lettered copies say how far the rules of thumb for quality can be trusted.
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont, ImageOps

from simsearch.care.copies import find_copies
from simsearch.care.duplicates import near_by_index
from simsearch.care.intervals import wilson
from simsearch.care.labels import TOP_SHARE, doubts
from simsearch.care.lookup import own_lookup
from simsearch.care.measures import measures_of
from simsearch.care.pictures import grey_square
from simsearch.care.quality import BLURRED, DARK, LETTERS
from simsearch.index import PHOTO_SIDE
from simsearch.photo import open_photo
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet, open_set

Rng = np.random.Generator
WRONG_SHARE = 0.05


def saved(photo: Image.Image, quality: int) -> Image.Image:
    """Save as JPEG and open again, as every copy is."""
    buffer = io.BytesIO()
    photo.save(buffer, "JPEG", quality=quality)
    return open_photo(buffer.getvalue(), max_side=PHOTO_SIDE)


def cropped(photo: Image.Image, rng: Rng, share: float) -> Image.Image:
    """Take ``share`` off both sides, at any place."""
    width, height = (round((1 - share) * side) for side in photo.size)
    left = int(rng.integers(0, photo.width - width + 1))
    top = int(rng.integers(0, photo.height - height + 1))
    return photo.crop((left, top, left + width, top + height))


def resized(photo: Image.Image, rng: Rng) -> Image.Image:
    """Bring to between 0.35 and 0.8 of the size."""
    factor = rng.uniform(0.35, 0.8)
    size = (round(photo.width * factor), round(photo.height * factor))
    return photo.resize(size, Image.Resampling.LANCZOS)


Planter = Callable[[Image.Image, Rng], Image.Image]
BAR: dict[str, Planter] = {
    "saved again (quality 40-79)": lambda p, rng: saved(p, int(rng.integers(40, 80))),
    "resized to 0.35-0.8": lambda p, rng: saved(resized(p, rng), 85),
    "cropped by 10 %": lambda p, rng: saved(cropped(p, rng, 0.1), 85),
    "mirrored": lambda p, rng: saved(ImageOps.mirror(p), 85),
}
BEYOND: dict[str, Planter] = {
    "cropped by 10 % and mirrored": lambda p, rng: saved(ImageOps.mirror(cropped(p, rng, 0.1)), 70),
    "cropped by 20 %": lambda p, rng: saved(cropped(p, rng, 0.2), 85),
    "cropped by 40 %": lambda p, rng: saved(cropped(p, rng, 0.4), 85),
    "a quarter turn": lambda p, rng: saved(p.transpose(Image.Transpose.ROTATE_90), 85),
    "brighter by a quarter": lambda p, rng: saved(p.point(lambda v: min(255, 1.25 * v + 10)), 80),
}


def share(found: int, count: int) -> str:
    """Write a share with its interval and n."""
    low, high = wilson(found / count if count else 0.0, count)
    return f"{found}/{count} = {found / max(count, 1):.3f} (95 %: {low:.3f} to {high:.3f})"


def evaluate_copies(
    reference: ReferenceSet, photos: list[Image.Image], each: int, seed: int
) -> None:
    """Plant ``each`` copies in every way at once and print what was found."""
    rng = np.random.default_rng(seed)
    squares = [grey_square(photo) for photo in photos]
    shown = list(range(len(photos)))
    how = [""] * len(photos)
    for name, make in (BAR | BEYOND).items():
        for place in rng.choice(len(photos), min(each, len(photos)), replace=False):
            squares.append(grey_square(make(photos[place], rng)))
            shown.append(int(place))
            how.append(name)
    # The index knows the set's own photos only, as it does when the set is looked over with an
    # index from before the copies came in; so nothing here is found by its help alone.
    also = near_by_index(reference.photos, reference.index)
    copies = find_copies(np.stack(squares), also=also)
    pairs = {(copy.first, copy.second) for copy in copies}
    print(f"\nCopies, seed {seed}: {len(photos)} photos and {len(squares) - len(photos)} planted")
    total = 0
    for name in how[len(photos) :: each]:
        places = [place for place, kind in enumerate(how) if kind == name]
        found = sum((shown[place], place) in pairs for place in places)
        total += found if name in BAR else 0
        print(f"  {name}: {share(found, len(places))}{'' if name in BAR else ' (no bar)'}")
    print(f"  the four ways of the bar together: {share(total, len(BAR) * each)}")
    false = [pair for pair in pairs if shown[pair[0]] != shown[pair[1]]]
    touched = {shown[place] for pair in false for place in pair}
    print(f"  false among the pairs told: {share(len(false), len(pairs))}")
    print(f"  photos of the set in a false pair: {share(len(touched), len(photos))}")


def plant_labels(
    rows: Sequence[PhotoRow], reference: ReferenceSet, rng: Rng, *, by_object: bool, alike: bool
) -> tuple[tuple[PhotoRow, ...], set[int]]:
    """Give 5 in 100 photos, or the photos of as many objects, another type of the set."""
    present = sorted({row.type for row in rows})
    changed = list(rows)
    wrong: set[int] = set()
    wanted = round(WRONG_SHARE * len(rows))
    for place in rng.permutation(len(rows)):
        if len(wrong) >= wanted or place in wrong:
            continue
        row = rows[place]
        others = [kind for kind in present if kind != row.type]
        if alike:
            named = {one.type_id for one in reference.types[row.type].look_alikes}
            others = [kind for kind in others if kind in named] or others
        new = str(rng.choice(others))
        same = [i for i, one in enumerate(rows) if by_object and one.specimen == row.specimen]
        for photo in same or [int(place)]:
            # One object has one type, so a photo labelled otherwise is of an object of its own.
            specimen = row.specimen if by_object else f"{row.specimen}-{photo}"
            changed[photo] = replace(rows[photo], type=new, specimen=specimen)
            wrong.add(photo)
    return tuple(changed), wrong


def evaluate_labels(reference: ReferenceSet, seeds: int) -> None:
    """Print how many planted wrong labels are in the first tenth of the list."""
    index = reference.index
    by_id = {row.id: row for row in reference.photos}
    rows = [by_id[photo_id] for photo_id in index.photo_ids]
    top = round(TOP_SHARE * len(rows))
    print(f"\nWrong labels, 5 in 100 of {len(rows)} photos, in the first {top} of the list:")
    for alike in (False, True):
        for by_object in (False, True):
            found = count = 0
            for seed in range(seeds):
                rng = np.random.default_rng(100 + seed)
                labelled, wrong = plant_labels(
                    rows, reference, rng, by_object=by_object, alike=alike
                )
                order = np.argsort(-doubts(own_lookup(labelled, index.vectors)), kind="stable")
                found += len(wrong & set(order[:top].tolist()))
                count += len(wrong)
            unit = "whole objects" if by_object else "single photos"
            kind = "a listed look-alike" if alike else "any other type"
            print(f"  {unit}, labelled as {kind}: {share(found, count)}, {seeds} seeds")


def lettered(photo: Image.Image, rng: Rng) -> Image.Image:
    """Write a line over a photo, half to nearly opaque, white or black."""
    layer = Image.new("RGBA", photo.size, (0, 0, 0, 0))
    size = max(12, round(photo.width * rng.uniform(0.045, 0.065)))
    tone = 255 if rng.random() < 0.5 else 0
    at = (photo.width * 0.04, photo.height * rng.uniform(0.05, 0.9))
    font = ImageFont.load_default(size)
    fill = (tone, tone, tone, int(rng.integers(120, 230)))
    ImageDraw.Draw(layer).text(at, "HARROW FEN FINDS CLUB", font=font, fill=fill)
    return Image.alpha_composite(photo.convert("RGBA"), layer).convert("RGB")


def evaluate_quality(photos: list[Image.Image], seed: int) -> None:
    """Print how often each rule of thumb speaks, on photos as they are and spoilt."""
    rng = np.random.default_rng(seed)
    sigma = max(photos[0].size) / 160
    spoilt: dict[str, Planter] = {
        "blur": lambda p, _: p.filter(ImageFilter.GaussianBlur(sigma)),
        "dark": lambda p, _: p.point(lambda v: int(0.35 * v)),
        "lettering": lettered,
    }
    plain = [measures_of(photo) for photo in photos]
    print("\nQuality, rules of thumb:")
    for name, spoil in spoilt.items():
        after = [measures_of(spoil(photo, rng)) for photo in photos]
        said = [
            sum(
                {
                    "blur": one.blur > BLURRED,
                    "dark": one.light < DARK,
                    "lettering": one.letters >= LETTERS,
                }[name]
                for one in measured
            )
            for measured in (after, plain)
        ]
        print(f"  {name}: told of spoilt photos {share(said[0], len(photos))};")
        print(f"    of photos as they are {share(said[1], len(photos))}")


def main() -> None:
    """Read the arguments and print all figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("set", nargs="?", type=Path, help="folder of a set; the shipped one")
    parser.add_argument("--seeds", type=int, default=3, help="how often copies are planted")
    parser.add_argument("--photos", type=int, default=60, help="copies in each way")
    parser.add_argument("--only", choices=("copies", "labels", "quality"))
    given = parser.parse_args()
    reference = open_set(given.set)
    print(f"{reference.title}: {len(reference.photos)} photos, {reference.index.encoder_name}")
    if given.only in (None, "labels"):
        evaluate_labels(reference, 20)
    if given.only == "labels":
        return
    paths = [reference.path_of(row) for row in reference.photos]
    photos = [open_photo(path, max_side=PHOTO_SIDE) for path in paths]
    if given.only in (None, "quality"):
        evaluate_quality(photos, 7)
    for seed in range(given.seeds if given.only in (None, "copies") else 0):
        evaluate_copies(reference, photos, given.photos, 1000 + seed)


if __name__ == "__main__":
    main()
