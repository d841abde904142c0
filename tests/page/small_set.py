"""A small set for the page and the commands: cautions, look-alikes, a type without photos.

Everything in it is invented. One type's texts are hostile, to see them escaped.
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from simsearch.leads.calibration_file import save_calibration
from simsearch.sets.reference_set import open_set
from tests.tiny_set import (
    GridEncoder,
    calibration,
    photo_row,
    picture,
    source_row,
    type_row,
    write_photos,
    write_sources,
    write_types,
)

HOSTILE = "<img src=x onerror=\"document.title='broken in'\">&amp;"
COLOURS = {
    "knee": (200, 40, 40),
    "dolphin": (40, 200, 40),
    "lead-shot": (40, 40, 200),
    "early-disc": (200, 40, 200),
    "odd": (40, 200, 200),
}
FAR_COLOUR = (210, 210, 30)
"""A colour that the small calibration calls far from every type above."""

_CHANGES = {
    "knee": {
        "name": "Knee brooch",
        "other_names": "bent-bow brooch; second name",
        "look_alikes": "dolphin: the bow is smooth, not ribbed",
        "checks": "Look for a spring case | Feel for a rib",
        "back": "A short catch.",
        "survives": "The bow.",
        "breaks": "The pin.",
        "date_note": "Another author gives AD 120 - 180.",
    },
    "dolphin": {"name": "Dolphin brooch", "look_alikes": "knee: the bow has a rib"},
    "lead-shot": {
        "name": "Lead shot",
        "group": "weight and shot",
        "cautions": "ammunition; lead",
        "date_edtf": "1500~/1850~",
    },
    "early-disc": {
        "name": "Early disc brooch",
        "group": "disc brooch",
        "cautions": "precious-metal",
        "date_edtf": "-0049~/0060",
    },
    "odd": {"name": HOSTILE, "other_names": HOSTILE, "front": HOSTILE, "checks": HOSTILE},
    "no-photo": {"name": "Thimble", "group": "household", "date_edtf": "1400/.."},
}


def make_small_set(folder: Path) -> Path:
    """Write the set with its index and odds; return its folder."""
    (folder / "photos").mkdir(parents=True)
    rows = []
    for number, (type_id, colour) in enumerate(COLOURS.items()):
        for copy in range(4):
            photo_id = f"{type_id}-{copy + 1}"
            picture(colour, 100 * number + copy, 64).save(folder / f"photos/{photo_id}.png")
            kind = "photo" if copy == 3 else "rendered"
            rows.append(photo_row(folder, photo_id, type_id, kind=kind))
    write_sources(folder, [source_row()])
    write_types(folder, [type_row(type_id, **new) for type_id, new in _CHANGES.items()])
    write_photos(folder, rows)
    reference = open_set(folder)
    reference.rebuild_index(GridEncoder())
    # A best similarity below 0.6 is called far.
    save_calibration(calibration(reference, close_from=0.6), reference.index_folder)
    return folder


def save_find(path: Path, colour: tuple[int, int, int] = COLOURS["knee"]) -> Path:
    """Save a photo of a find of about one colour."""
    find = Image.new("RGB", (80, 60), colour)
    find.save(path)
    return path
