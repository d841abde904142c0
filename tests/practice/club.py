"""A small set of drawn finds on plain ground, for practice. Everything in it is invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.tiny_set import (
    GridEncoder,
    photo_row,
    source_row,
    type_row,
    write_photos,
    write_sources,
    write_types,
)

SIDE = 160
SHAPES = {
    "knee": ("bar", (70, 110, 80)),
    "dolphin": ("bar", (90, 80, 60)),
    "jetton": ("disc", (60, 90, 140)),
    "thimble": ("disc", (120, 60, 50)),
    "slide-key": ("bar", (40, 40, 40)),
    "crotal-bell": ("ring", (80, 60, 110)),
}
_LINKS = {"knee": "dolphin", "dolphin": "knee"}


def drawn(shape: str, colour: tuple[int, int, int], seed: int = 0) -> Image.Image:
    """A find on light ground that shades a little from side to side, with some noise."""
    rng = np.random.default_rng(seed)
    ground = 190 + 20 * np.linspace(0, 1, SIDE)[None, :, None] + rng.normal(0, 1.5, (SIDE, SIDE, 3))
    picture = Image.fromarray(ground.clip(0, 255).astype(np.uint8))
    picture.paste(colour, mask=outline(shape))
    return picture


def outline(shape: str) -> Image.Image:
    """The drawn object's true outline, as a picture of 0 and 255."""
    mask = Image.new("L", (SIDE, SIDE))
    pen = ImageDraw.Draw(mask)
    if shape == "bar":
        pen.rectangle((20, 65, 139, 94), fill=255)
    else:
        pen.ellipse((30, 30, 129, 129), fill=255)
        if shape == "ring":
            pen.ellipse((55, 55, 104, 104), fill=0)
    return mask


def make_club(folder: Path, *, index: bool = True) -> ReferenceSet:
    """A set of six types with two complete objects and one fragment each."""
    (folder / "photos").mkdir(parents=True)
    rows, types = [], []
    for number, (type_id, (shape, colour)) in enumerate(SHAPES.items()):
        for copy, state in enumerate(("clean", "worn", "corroded")):
            photo_id = f"{type_id}-{copy + 1}"
            drawn(shape, colour, 10 * number + copy).save(folder / f"photos/{photo_id}.png")
            part = "fragment" if state == "corroded" else "complete"
            row = photo_row(folder, photo_id, type_id, completeness=part, condition=state)
            rows.append(row | {"kind": "photo"})
        link = _LINKS.get(type_id)
        more = {
            "look_alikes": f"{link}: what separates {type_id} from {link}" if link else "",
            "back": f"The back of {type_id}.",
            "checks": f"Check the {type_id}",
            "survives": "Most of it.",
        }
        types.append(type_row(type_id, **more))
    write_sources(folder, [source_row()])
    write_types(folder, types)
    write_photos(folder, rows)
    reference = open_set(folder)
    if index:
        reference.rebuild_index(GridEncoder())
    return reference
