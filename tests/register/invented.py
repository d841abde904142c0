"""Registers and finds for the tests. Everything in them is invented, the Harrow Fen Finds Club too.

Findspots are the published worked examples (see test_published_positions) or lie in the sea.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from simsearch.register.grid import read_findspot
from simsearch.register.photos import NewPhoto
from simsearch.register.store import Register, open_register

WORDS = "Harrow Fen parish (invented)"
START = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)


class Clock:
    """Tells a later minute at every look, so that orders of time can be tested."""

    def __init__(self) -> None:
        self.time = START

    def __call__(self) -> datetime:
        self.time += timedelta(minutes=1)
        return self.time


def make_register(folder: Path) -> Register:
    """An empty register with a clock of its own."""
    return open_register(folder, now=Clock())


def find_fields(**changes: Any) -> dict[str, Any]:
    """Fields of a plausible invented find."""
    fields: dict[str, Any] = {
        "title": "Part of a bow brooch (invented)",
        "object_name": "brooch",
        "period": "Roman",
        "type_id": "knee",
        "type_confidence": "possible",
        "length_mm": 34.2,
        "material": "copper alloy",
        "found_on": "2026-03-14",
        "finder": "A. Finder (invented)",
        "landowner_consent": "given in writing",
        "findspot": read_findspot("TG 51409 13177", words=WORDS),
        "checked": ("Looked behind the head: two coils of a spring",),
        "unknowns": ("Whether the foot was a knob",),
    }
    return fields | changes


def picture(seed: int = 0) -> Image.Image:
    """A small picture of noise, another one for each seed."""
    noise = np.random.default_rng(seed).integers(0, 256, (24, 32, 3))
    return Image.fromarray(noise.astype(np.uint8))


def new_photo(seed: int = 0, view: str = "front") -> NewPhoto:
    """Such a picture to be copied in."""
    return NewPhoto(picture(seed), view, "front as found (invented)", 0.05)
