"""How often each rule of thumb speaks on photos of the shipped set and on spoilt copies of them.

    python -m tests.measure.advice_rates [PHOTOS]

The limits in ``simsearch/measure/advice.py`` were chosen by what this prints.
"""

from __future__ import annotations

import sys
from collections import Counter

import cv2
import numpy as np
from PIL import Image, ImageFilter

from simsearch.measure.advice import advise

Rng = np.random.Generator


def spoilt_copies(photo: Image.Image) -> dict[str, Image.Image]:
    """A photo as it is and in ways that advice should be given for."""
    pixels = np.asarray(photo, np.float32)
    broad = cv2.GaussianBlur(pixels, (0, 0), photo.width / 13)
    flat = np.clip(broad + 0.3 * (pixels - broad), 0, 255).astype(np.uint8)
    return {
        "as it is": photo,
        "blurred": photo.filter(ImageFilter.GaussianBlur(photo.width / 120)),
        "dark": photo.point(lambda level: level * 0.3),
        "overexposed": photo.point(lambda level: min(255, level * 2.2)),
        "flattened": Image.fromarray(flat),
        "cut in half": photo.crop((0, 0, photo.width // 2, photo.height)),
        "small": photo.resize((photo.width // 3, photo.height // 3)),
    }


def advice_rates(count: int, rng: Rng) -> None:
    """Print which advice is given on photos of the shipped set and on spoilt copies."""
    from simsearch import open_set
    from simsearch.encode import load_encoder
    from simsearch.photo import open_photo

    reference, encoder = open_set(), load_encoder("built-in")
    told: dict[str, Counter[str]] = {}
    for row in rng.choice(np.array(reference.photos, object), count, replace=False):
        for way, copy in spoilt_copies(open_photo(reference.path_of(row))).items():
            told.setdefault(way, Counter()).update({one.kind for one in advise(copy, encoder)})
    for way, kinds in told.items():
        said = ", ".join(f"{kind} {n}" for kind, n in kinds.most_common() if kind != "no scale")
        print(f"{way} ({count} rendered photos): {said or 'nothing'}")


if __name__ == "__main__":
    advice_rates(int(sys.argv[1]) if len(sys.argv) > 1 else 40, np.random.default_rng(1))
